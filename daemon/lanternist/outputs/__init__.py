"""Ways out: one module an output, imported only when a rig names it."""
