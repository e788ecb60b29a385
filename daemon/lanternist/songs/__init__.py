"""Offline: what a recording of music tells about its beats, bars and sections. The daemon never imports this."""
