"""Ways in: one module an input, imported only when chosen."""
