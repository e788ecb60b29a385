"""Files: TOML in, checked values out; every problem with file, line and key, all at once. Sees only the core."""
