"""A whole night recorded by the daemon, and played again: the same frames are made, and an output gets them."""

import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.nights import Night, connected, copy_gig, osc, playing
from tests.nodes import node
from tests.running import until

from lanternist.runtime.recorder import files_of
from lanternist.runtime.replay import prove, read
from lanternist.wire import artnet
from lanternist.wire.frames import read_frames

INPUTS = '[[inputs]]\nby = "midi-tcp"\nport = 0\n[[inputs]]\nby = "osc"\nport = 0\n'


def gig_in(folder: Path) -> Path:
    null = f'[[outputs]]\nuniverse = 1\nby = "null"\nrecord = "{folder}/null"\n'
    return copy_gig(folder, outputs=null, inputs=INPUTS)


def frames(night: Night) -> int:
    return int(night.status()["frames"]["begun"])


def play_a_little(night: Night) -> None:
    """A clock, pads, OSC, the control socket, and somebody who watches."""
    with connected(night.door("midi-tcp")) as pads:
        pads.sendall(b"\xfa")
        for number in range(24):
            pads.sendall(b"\xf8" * 2)
            if number % 6 == 0:
                pads.sendall(bytes((0x99, 36 + number // 6, 100)))
            night.status()
        osc(night.door("osc"), "/lanternist/master", 0.8)
        night.send("start", "house")
        pads.sendall(bytes((0x99, 36, 0)))
    at = frames(night)
    until(lambda: frames(night) > at + 20)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recorded night that ended in good order."""
    folder = tmp_path_factory.mktemp("kept")
    with playing(gig_in(folder), after=["--record", str(folder / "night")]) as night:
        play_a_little(night)
        assert night.status()["recording"]["error"] == ""
        assert night.stop(signal.SIGTERM) == 0
    return folder / "night"


def test_a_night_is_recorded_and_made_again_byte_for_byte(kept: Path) -> None:
    recording = read(kept)
    result = prove(recording)
    assert result.difference is None
    assert result.events > 50
    assert recording.end == "in good order"
    # What an output that knows nothing of it has got is what was recorded: it may miss a frame, never see another.
    with (kept.parent / "null").open("rb") as file:
        got = [slots[1] for _, slots in read_frames(file.read)]
    sent = iter([slots[1] for line, slots in recording.frames() if "frame" in line])
    assert len(got) > result.frames / 2
    assert all(one in sent for one in got)


def test_a_night_that_was_killed_is_played_as_far_as_it_was_written(tmp_path: Path) -> None:
    base = tmp_path / "night"
    with playing(gig_in(tmp_path), after=["--record", str(base)]) as night:
        play_a_little(night)
        night.stop(signal.SIGKILL)
    result = prove(read(base))
    assert result.difference is None
    assert result.frames > 20


@pytest.mark.skipif(shutil.which("prlimit") is None, reason="prlimit is not installed")
def test_a_disk_that_is_full_stops_nothing(tmp_path: Path) -> None:
    base = tmp_path / "night"
    full = ["prlimit", "--fsize=16000"]
    gig = copy_gig(tmp_path, inputs=INPUTS)
    with playing(gig, before=full, after=["--record", str(base)]) as night:
        night.status()
        until(lambda: night.send("tap")["ok"] is True and night.status()["recording"]["error"] != "")
        at = frames(night)
        until(lambda: frames(night) > at + 5)
        assert night.status()["recording"]["error"] == "file too large"
        assert night.stop(signal.SIGTERM) == 0
        assert "recording has ended: file too large; the night goes on without it" in night.said()


def test_a_recording_that_is_there_already_is_kept_and_said(tmp_path: Path) -> None:
    files_of(tmp_path / "night")[0].write_text("of last week")
    with playing(gig_in(tmp_path), after=["--record", str(tmp_path / "night")]) as night:
        assert night.process.wait(20) == 2
        assert "is there already" in night.said()


def test_recorded_frames_go_to_a_node(kept: Path) -> None:
    with node() as receiver:
        to = ["--to", "artnet", "to=127.0.0.1", f"port={receiver.port}"]
        command = [sys.executable, "-m", "lanternist", "replay", str(kept), *to]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == 0, done.stderr
        packets = [artnet.parse(packet) for packet in receiver.waiting()]
    slots = [packet.slots.ljust(512, b"\0") for packet in packets if isinstance(packet, artnet.Dmx)]
    recorded = [slots[1] for line, slots in read(kept).frames() if "frame" in line]
    assert slots[-1] == recorded[-1]
    assert len(slots) > len(set(recorded)) / 2
    assert set(slots) <= set(recorded)
