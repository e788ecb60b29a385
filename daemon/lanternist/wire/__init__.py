"""Bytes to values and back, pure: the published layouts of Art-Net, sACN, MIDI and OSC."""
