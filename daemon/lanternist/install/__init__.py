"""Putting the service onto a machine, and taking it off again. Sees no other part: it moves files and runs commands."""
