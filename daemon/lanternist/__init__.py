"""The headless light operator for a DJ who plays alone."""
