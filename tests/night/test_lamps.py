"""The lamps of a controller beside a daemon that plays: lit by what is on, dark again when it is let go."""

import select
import socket
import time
from pathlib import Path

from tests.nights import PATIENCE, connected, copy_gig, playing

LIT = """
[[bindings]]
when = { midi = "note", channel = 5, number = 20 }
toggle = "full"
shows = { on = 70, off = 3 }
"""
PRESS = bytes((0x94, 20, 127, 0x84, 20, 0))
ON, OFF = bytes((0x94, 20, 70)), bytes((0x94, 20, 3))


def hears(pads: socket.socket, wanted: bytes) -> None:
    end, heard = time.monotonic() + PATIENCE, b""
    while wanted not in heard:
        assert select.select([pads], [], [], end - time.monotonic())[0], heard
        heard += pads.recv(4096)


def test_lamps_follow_what_is_on_and_a_controller_that_comes_back_is_told_all(tmp_path: Path) -> None:
    gig = copy_gig(tmp_path, inputs='[[inputs]]\nby = "midi-tcp"\nport = 0\n', show=LIT)
    with playing(gig) as night:
        door = night.door("midi-tcp")
        with connected(door) as pads:
            hears(pads, OFF)
            pads.sendall(PRESS)
            hears(pads, ON)
        with connected(door) as pads:
            hears(pads, ON)
            night.send("stop", "full")
            hears(pads, OFF)
