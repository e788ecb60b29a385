"""What floods at the doors cost the loop: lateness of its frames with each, as a ratio to none, in one run.

`python -m tests.bench.flood`. Each flood is a process of its own that sends as fast as it may; all take turns, and the
median of the turns is told. "late" is how long after their place frames began, by the daemon's own measure; "dropped"
what the inbox had no room for; "waits" the longest that another client of the control socket waited for its answer.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder
from tests.nights import Night, copy_gig, playing

INPUTS = '[[inputs]]\nby = "osc"\nport = 0\n[[inputs]]\nby = "midi-tcp"\nport = 0\n'
NULL = '[[outputs]]\nuniverse = 1\nby = "null"\n'
DATAGRAMS = """
import socket, sys, time
host, port, message, rate = sys.argv[1], int(sys.argv[2]), bytes.fromhex(sys.argv[3]), int(sys.argv[4])
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
    begun, sent = time.monotonic(), 0
    while True:
        while sent < (time.monotonic() - begun) * rate:
            for _ in range(50):
                sock.sendto(message, (host, port))
                sent += 1
        time.sleep(0.001)
"""
STREAM = """
import socket, sys
with socket.create_connection((sys.argv[1], int(sys.argv[2]))) as sock:
    while True:
        sock.sendall(bytes.fromhex(sys.argv[3]) * 1000)
"""
LINES = """
import socket, sys, threading
with socket.socket(socket.AF_UNIX) as sock:
    sock.connect(sys.argv[1])
    def read():
        while sock.recv(1 << 16): pass
    threading.Thread(target=read, daemon=True).start()
    while True:
        sock.sendall(sys.argv[2].encode() * 500)
"""


def message(address: str, *values: str | float) -> OscMessageBuilder:
    made = OscMessageBuilder(address)
    for value in values:
        made.add_arg(value)
    return made


def bundle(of: OscMessageBuilder, count: int) -> bytes:
    made = OscBundleBuilder(IMMEDIATELY)
    for _ in range(count):
        made.add_content(of.build())
    return bytes(made.build().dgram)


TOGGLE, WRONG = message("/lanternist/toggle", "full"), message("/lanternist/start", "no such scene")
PADS = b"".join(bytes((0x99, number, 100, 0x89, number, 0)) for number in (36, 37, 38, 39, 40, 41))


def floods(night: Night) -> dict[str, list[str]]:
    """The program of each and its words."""
    host, port = night.door("osc")
    tcp = [str(word) for word in night.door("midi-tcp")]
    return {
        "nothing": ["import time; time.sleep(1e6)"],
        "osc, 50,000/s of a scene that is not there": [DATAGRAMS, host, str(port), WRONG.build().dgram.hex(), "50000"],
        "osc, 50,000/s that toggle a scene": [DATAGRAMS, host, str(port), TOGGLE.build().dgram.hex(), "50000"],
        "osc, 2,000/s bundles of 200 toggles": [DATAGRAMS, host, str(port), bundle(TOGGLE, 200).hex(), "2000"],
        "midi-tcp, pads as fast as it goes": [STREAM, *tcp, PADS.hex()],
        "control, toggles as fast as it goes": [LINES, str(night.socket), '{"do":"toggle","what":"full"}\n'],
    }


def measured(night: Night, flood: list[str], seconds: float) -> dict[str, float]:
    process = subprocess.Popen([sys.executable, "-c", *flood])
    try:
        time.sleep(0.5)
        before, end, waits = night.status(), time.monotonic() + seconds, [0.0]
        while time.monotonic() < end:
            asked = time.monotonic()
            night.send("tap")
            waits.append(time.monotonic() - asked)
            time.sleep(0.05)
        after = night.status()
    finally:
        process.kill()
        process.wait()
    frames, was = after["frames"], before["frames"]
    count = frames["begun"] - was["begun"]
    spread = [one - other for one, other in zip(frames["lateness"]["frames"], was["lateness"]["frames"], strict=True)]
    skipped = frames["skipped"] - was["skipped"]
    return {
        "late_ms": (frames["lateness"]["sum_s"] - was["lateness"]["sum_s"]) / max(1, count) * 1000,
        "over_5_ms": sum(spread[frames["lateness"]["to_s"].index(0.005) + 1 :]) / max(1, count),
        "skipped": skipped / (count + skipped),
        "dropped": after["events"]["dropped"] - before["events"]["dropped"],
        "waits_ms": max(waits) * 1000,
    }


NAMES = ("late_ms", "over_5_ms", "skipped", "dropped", "waits_ms")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=3.0)
    parser.add_argument("--turns", type=int, default=5)
    args = parser.parse_args()
    found: dict[str, list[dict[str, float]]] = {}
    with tempfile.TemporaryDirectory() as folder, playing(copy_gig(Path(folder), outputs=NULL, inputs=INPUTS)) as night:
        for _ in range(args.turns):
            for name, flood in floods(night).items():
                found.setdefault(name, []).append(measured(night, flood, args.seconds))
    middle = {name: {one: median(turn[one] for turn in turns) for one in NAMES} for name, turns in found.items()}
    print(f"{'flood':<46}" + "".join(f"{name:>11}" for name in NAMES) + f"{'late, ratio':>13}")
    for name, of in middle.items():
        ratio = of["late_ms"] / middle["nothing"]["late_ms"]
        print(f"{name:<46}" + "".join(f"{of[one]:11.3f}" for one in NAMES) + f"{ratio:13.2f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
