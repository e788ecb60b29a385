"""What goes wrong at a gig: said once, kept for `watch`, and no trouble of anybody else."""

import socket
import statistics
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import mido
from tests.decoded import artnet_slots, wait_for
from tests.nights import PATIENCE, Night, connected, copy_gig, install, osc, playing
from tests.nodes import Node, free_port, node
from tests.players import let_go, press

FULL = 41  # a pad of the demo's show
WHITE = {1: [255, 255, 255, 255, 255, 3, 0, 0] * 4}
HOUSE_LEVEL = 22  # 35 per cent to the eye
MIDI_TCP = '[[inputs]]\nby = "midi-tcp"\nport = 0\n'
OSC = '[[inputs]]\nby = "osc"\nport = 0\n'


def output(by: str = "artnet", universes: str = "1", **keys: object) -> str:
    lines = [f"{key} = {value!r}".replace("'", '"') for key, value in keys.items()]
    return "\n".join(["[[outputs]]", f'by = "{by}"', f"universe = {universes}", *lines, ""])


def until(night: Night, met: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    """The status that meets a condition, which must come."""
    end = time.monotonic() + PATIENCE
    while not met(status := night.status()):
        assert time.monotonic() < end, (status["outputs"], status["inputs"], night.said())
    return status


def lines(night: Night, *words: str) -> list[str]:
    return [line for line in night.said().splitlines() if all(word in line for word in words)]


def test_what_is_missing_is_said_once_and_the_rest_plays_on(tmp_path: Path) -> None:
    with node() as well, node() as taken:
        outputs = [
            output(to="127.0.0.1", port=well.port),
            output(to="127.0.0.1", port=free_port()),  # nobody listens there
            output(to="255.255.255.255"),  # Art-Net 4 forbids broadcast, and the system does
            output(to="lantern.invalid"),  # RFC 6761: a name that never resolves
        ]
        inputs = [
            MIDI_TCP,
            f'[[inputs]]\nby = "osc"\nport = {taken.port}\n',
            f'[[inputs]]\nby = "midi-raw"\ndevice = "{tmp_path}/pads"\n',
            '[[inputs]]\nby = "midi"\n',
        ]
        with playing(copy_gig(tmp_path, outputs="\n".join(outputs), inputs="\n".join(inputs))) as night:
            troubles = {
                "output 3 artnet": "255.255.255.255",
                "output 4 artnet": '"lantern.invalid"',
                "input 2 osc": "another program listens there",
                "input 3 midi-raw": f"cannot open {tmp_path}/pads",
            }
            if not Path("/dev/snd").exists():
                troubles["input 4 midi"] = "this machine has no MIDI"
            until(night, lambda status: sum(way["failures"] > 1 for way in ways(status)) >= len(troubles))
            status = until(night, lambda status: "warning" in status["outputs"][1])
            for name, error in troubles.items():
                assert error in way_of(status, name)["error"]
                assert len(lines(night, name, error)) == 1, night.said()
            assert way_of(status, "output 1 artnet")["error"] == ""
            assert len(until_said(night, "output 2 artnet", "nobody listens there")) == 1
            with connected(night.door("midi-tcp")) as pads:
                pads.sendall(press(FULL))
                wait_for(well, artnet_slots, WHITE)
            taken.sock.close()
            until(night, lambda status: "127.0.0.1" in str(way_of(status, "input 2 osc")["listens on"]))
            osc(("127.0.0.1", taken.port), "/lanternist/master", 0.5)
            until(night, lambda status: status["master"] == 50)
            assert len(until_said(night, "input 2 osc works again")) == 1
            assert night.stop() == 0, night.said()


def ways(status: dict[str, Any]) -> list[dict[str, Any]]:
    return [*status["outputs"], *status["inputs"]]


def way_of(status: dict[str, Any], name: str) -> dict[str, Any]:
    kind, _, plain = name.partition(" ")
    return next(way for way in status[f"{kind}s"] if way["name"] == plain)


def until_said(night: Night, *words: str) -> list[str]:
    until(night, lambda _: lines(night, *words))
    return lines(night, *words)


STUCK = """
import os
from lanternist.outputs.contract import OutputSettings as SETTINGS

class OUTPUT:
    def __init__(self, settings, universes):
        self.far, self.near = os.pipe()
    def open(self):
        pass
    def send(self, slots, now):
        os.write(self.near, bytes(1 << 20))  # more than a pipe holds, and nobody reads it
    def close(self):
        pass
    def describe(self):
        return {}
"""


def test_a_blocked_output_never_delays_another(tmp_path: Path) -> None:
    packages = install(tmp_path / "packages", "stuck", STUCK)
    with node() as well:
        outputs = output("stuck") + output(to="127.0.0.1", port=well.port)
        gig = copy_gig(tmp_path, outputs=outputs, inputs=OSC, on_stop="blackout")
        with playing(gig, packages=packages) as night:
            night.status()
            night.send("start", "slow tide")
            before = until(night, lambda status: status["outputs"][0]["overwritten"] > 10)
            after = until(night, lambda status: status["frames"]["begun"] > before["frames"]["begun"] + 80)
            frames, sent, lost = (
                after[kind]["begun"] - before[kind]["begun"] if kind == "frames" else grown(before, after, kind)
                for kind in ("frames", "packets", "overwritten")
            )
            assert sent >= 0.95 * frames
            assert lost <= 0.05 * frames
            assert grown(before, after, "overwritten", 0) >= frames - 1
            assert night.stop() == 4
            assert len(lines(night, "1 stuck did not end")) == 1
            last = artnet_slots(well.waiting()[-1])[1]
    assert [last[at] for at in (0, 8, 16, 24)] == [0] * 4


def grown(before: dict[str, Any], after: dict[str, Any], fact: str, which: int = 1) -> int:
    return int(after["outputs"][which][fact] - before["outputs"][which][fact])


def test_garbage_is_counted_and_costs_no_frames(tmp_path: Path) -> None:
    with node() as well:
        gig = copy_gig(tmp_path, outputs=output(to="127.0.0.1", port=well.port), inputs=MIDI_TCP + OSC)
        with playing(gig) as night:
            night.door("osc")
            night.send("start", "slow tide")
            quiet = share_of_frames_made(night)
            with flooding(night):
                until(night, lambda status: all(way["malformed"] > 100 for way in status["inputs"]))
                flooded = share_of_frames_made(night)
            status = night.status()
            assert flooded > 0.9 * quiet, status["frames"]
            assert status["frames"]["faults"] == 0
            # What was refused is said now and then, not each time.
            assert status["events"]["refused"] > 100
            assert len(night.said().splitlines()) < 30, night.said()
            with connected(night.door("midi-tcp")) as pads:
                pads.sendall(press(FULL))
                wait_for(well, artnet_slots, WHITE)
            assert night.stop() == 0


def share_of_frames_made(night: Night) -> float:
    """Of the frames of two seconds, how many were made and not skipped."""
    before = night.status()["frames"]
    after = until(night, lambda status: sum(places(status["frames"])) > sum(places(before)) + 80)["frames"]
    made, skipped = (new - old for old, new in zip(places(before), places(after), strict=True))
    return made / (made + skipped)


def places(frames: dict[str, int]) -> tuple[int, int]:
    return frames["begun"], frames["skipped"]


@contextmanager
def flooding(night: Night) -> Iterator[None]:
    ports = [str(night.door(kind)[1]) for kind in ("osc", "midi-tcp")]
    command = [sys.executable, "-m", "tests.flood", *ports, str(night.socket), "1"]
    flood = subprocess.Popen(command)
    try:
        yield
        assert flood.poll() is None, "the flood itself has ended"
    finally:
        flood.kill()
        flood.wait()


PEDAL = """
[[bindings]]
when = { midi = "cc", channel = 1, number = 64 }
hold = "full"
"""


def test_what_a_pad_held_is_let_go_when_its_line_breaks(tmp_path: Path) -> None:
    pedal = bytes(mido.Message("control_change", control=64, value=127).bin())
    with node() as well:
        gig = copy_gig(tmp_path, outputs=output(to="127.0.0.1", port=well.port), inputs=MIDI_TCP, show=PEDAL)
        with playing(gig) as night:
            for held in (press(FULL), pedal):
                with connected(night.door("midi-tcp")) as pads:
                    pads.sendall(held)
                    wait_for(well, artnet_slots, WHITE)
                    # What a crash or a pulled cable leaves: a reset, no goodbye.
                    pads.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                until(night, lambda status: [scene["name"] for scene in status["scenes"]] == ["house"])
                wait_for(well, artnet_slots, {1: [HOUSE_LEVEL]})


PRISM = """
[[scenes]]
name = "prism"
[[scenes.parts]]
on = "spot"
prism = 1
[[bindings]]
when = { midi = "note", channel = 10, number = 60 }
hold = "prism"
"""
PRISM_PAD, PRISM_SLOT = 60, 14  # of spot-head, mode 16, of which the first is at address 1 of universe 2
PRISM_OUT, PRISM_IN = 4, 39  # the middles of its positions: 0 to 9, 10 to 69
TOUCHES = 20


def test_a_touch_is_on_the_wire_with_the_next_frame(tmp_path: Path) -> None:
    """Counted in packets of a rig where something moves in every frame; what the guard holds is not touched."""
    with node() as well:
        outputs = output(to="127.0.0.1", port=well.port, universes="[1, 2]")
        gig = copy_gig(tmp_path, "rink.toml", outputs=outputs, inputs=MIDI_TCP, show=PRISM)
        with playing(gig) as night, connected(night.door("midi-tcp")) as pads:
            night.send("start", "sweep")
            for turn in range(2):
                frames = [frames_until_seen(pads, well, number) for number in range(2 * TOUCHES)]
                if statistics.median(frames) == 1 and max(frames) <= 2:
                    return
                assert turn == 0, frames  # twice, as something else may have had the machine meanwhile


def frames_until_seen(pads: socket.socket, receiver: Node, number: int) -> int:
    """Frames sent after a press (even numbers) or a release, up to and with the first that shows it."""
    message, shown = (press(PRISM_PAD), PRISM_IN) if number % 2 == 0 else (let_go(PRISM_PAD), PRISM_OUT)
    receiver.stamp()
    at_any_moment_between_two(receiver, number)
    pads.sendall(message)
    sent, frames = time.monotonic(), 0
    while True:
        packet, at = receiver.stamped()
        universe, slots = artnet_slots(packet)
        if universe == 2 and at > sent:
            frames += 1
            if slots[PRISM_SLOT] == shown:
                return frames


def at_any_moment_between_two(receiver: Node, number: int) -> None:
    """Wait for a packet, then for the next one, but not quite to the end of the wait."""
    receiver.waiting()
    receiver.receive()
    receiver.sock.settimeout(0.001 + 0.023 * (number * 0.618 % 1))
    with suppress(TimeoutError):
        receiver.sock.recv(2048)
