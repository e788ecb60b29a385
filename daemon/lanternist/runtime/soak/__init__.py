"""Soak: a lifelike night on a gig with no lamp connected, measured, and a verdict on each figure."""
