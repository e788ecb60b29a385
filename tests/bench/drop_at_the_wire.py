"""Drops of a song, from its grid to the packet: `python -m tests.bench.drop_at_the_wire`. Says pass or FAIL.

Songs without a clock give the beat themselves; a start is stamped where it arrives. Each is started over the control
socket and has one drop, at a place of its own between two frames. "pass": the first packet of every drop came within
one frame (25 ms) of where the grid has it.
"""

import argparse
import tempfile
import time
from pathlib import Path

from tests.nights import Night, copy_gig, playing
from tests.nodes import Node, node

FRAME_S = 0.025
SONG = """\
title = "Drop {number}"
file = "drop.wav"
duration = 60.0
[grid]
tempo = [{{ at = {one}, bpm = 120.0 }}]
one = {one}
[[sections]]
at = "1.1"
kind = "break"
energy = 10
[[sections]]
at = "2.1"
kind = "drop"
energy = 100
"""
SHOW = """
[[scenes]]
name = "loud"
energy = [95, 100]
priority = 140
sections = ["drop"]
layer = "top"
parts = [{ on = "wash", intensity = 100 }]
"""
OUTPUT = '[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {port}\n'
INTENSITY = 18  # of par 1, at address 1, behind the header of ArtDmx


def drop(night: Night, receiver: Node, number: int, one: float) -> float:
    """How late the first packet of one drop came, in seconds; negative: early."""
    night.send("song-over")
    while receiver.stamped()[0][INTENSITY] == 255:
        pass
    receiver.waiting()
    began = time.monotonic()
    night.send("song", f"drop-{number}")
    # The start was stamped between these two; the middle of them is off by half of what the sending took.
    began = (began + time.monotonic()) / 2
    while True:
        packet, at = receiver.stamped(10.0)
        if packet[8:10] == b"\x00\x50" and packet[INTENSITY] == 255:
            return at - (began + one + 2.0)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drops", type=int, default=20)
    args = parser.parse_args()
    late = []
    with tempfile.TemporaryDirectory() as folder, node() as receiver:
        receiver.stamp()
        gig = copy_gig(Path(folder), outputs=OUTPUT.format(port=receiver.port), show=SHOW)
        places = [0.1 + 0.0073 * number for number in range(args.drops)]
        (gig / "songs").mkdir()
        for number, one in enumerate(places):
            (gig / "songs" / f"drop-{number}.toml").write_text(SONG.format(number=number, one=one))
        with playing(gig) as night:
            night.status()
            night.send("follow")
            late += [drop(night, receiver, number, one) for number, one in enumerate(places)]
    off = sorted(abs(one) for one in late)
    print(f"{len(late)} drops: from {min(late) * 1000:+.1f} to {max(late) * 1000:+.1f} ms of their place, ", end="")
    print(f"median {off[len(off) // 2] * 1000:.1f}, mean {sum(late) / len(late) * 1000:+.1f}")
    passed = off[-1] <= FRAME_S
    print(f"{'pass' if passed else 'FAIL'}: a frame is {FRAME_S * 1000:g} ms")
    return 0 if passed else 1


if __name__ == "__main__":
    raise SystemExit(main())
