"""A gig is changed while it plays: light goes on without a gap, what is bad is refused, outputs come and go."""

import itertools
import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.decoded import artnet_slots
from tests.faults import Watcher
from tests.nights import PATIENCE, Night, connected, copy_gig, lanternist_says, playing
from tests.nodes import Node, node
from tests.players import let_go, press

from lanternist.runtime.replay import prove, read

# One scene of the tests' own, that takes long to come up, and a pad that holds another.
SHOW = """
[[scenes]]
name = "dawn"
fade_in = "90 s"
parts = [{ on = "all", intensity = 100 }]
[[scenes]]
name = "held"
parts = [{ on = "par 4", colour = "red", intensity = 100 }]
[[bindings]]
when = { midi = "note", channel = 10, number = 99 }
hold = "held"
"""
HELD = 99
INPUTS = '[[inputs]]\nby = "midi-tcp"\nport = 0\n'


def output(to: Node) -> str:
    return f'[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {to.port}\n'


def until(night: Night, met: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    end = time.monotonic() + PATIENCE
    while not met(status := night.status()):
        assert time.monotonic() < end, (status["reload"], night.said())
    return status


def loaded(night: Night, *, changed: Callable[[], object]) -> dict[str, Any]:
    """The status after what is changed was loaded, or refused."""
    before = night.status()["reload"]["times"]
    changed()
    return until(night, lambda status: status["reload"]["times"] > before)


def weight(status: dict[str, Any], name: str) -> float:
    return next((float(scene["weight"]) for scene in status["scenes"] if scene["name"] == name), 0.0)


@pytest.fixture
def watchers() -> Iterator[tuple[Watcher, Watcher]]:
    with node() as first, node() as second:
        both = Watcher(first), Watcher(second)
        yield both
        for one in both:
            one.end()


def test_a_gig_changes_while_it_plays(tmp_path: Path, watchers: tuple[Watcher, Watcher]) -> None:
    first, second = watchers
    gig = copy_gig(tmp_path, outputs=output(first.node), inputs=INPUTS, show=SHOW)
    rig, show = gig / "rig.toml", gig / "show.toml"
    kept = tmp_path / "night"
    with playing(gig, after=["--record", str(kept)]) as night, connected(night.door("midi-tcp")) as pads:
        pads.sendall(press(HELD))
        until(night, lambda status: weight(status, "held") == 100)
        night.send("start", "dawn")
        until(night, lambda status: weight(status, "dawn") > 0)
        begun = len(first.packets)

        # In the middle of a fade and with a pad held down.
        show.write_text(show.read_text().replace('title = "', 'title = "Another ', 1))
        night.process.send_signal(signal.SIGHUP)
        status = until(night, lambda status: status["reload"]["state"] == "loaded")
        assert status["show"].startswith("Another ")
        reached = weight(status, "dawn")
        assert 0 < reached < 100
        assert weight(status, "held") == 100
        until(night, lambda status: weight(status, "dawn") > reached)

        # Three mistakes: refused with all of them, on the terminal that asked, in the log and in the status.
        right = show.read_text()
        show.write_text(right + 'nonsense = 1\n[[scenes]]\nname = "x"\nparts = [{ on = "nothing", intensity = 1 }]\n')
        status_of_exit, said = lanternist_says(night.socket, "send", "reload")
        assert status_of_exit == 1
        assert "nonsense" in said
        assert '"nothing"' in said
        status = night.status()
        assert status["reload"]["state"] == "refused"
        for line in status["reload"]["problems"]:
            assert line in said
            assert line in night.said()
        assert status["show"].startswith("Another ")

        # By themselves: the mended show, and another output beside the one that there was.
        def mend() -> None:
            show.write_text(right)
            rig.write_text(rig.read_text().replace("[[fixtures]]", output(second.node) + "[[fixtures]]", 1))

        status = loaded(night, changed=mend)
        assert [one["name"] for one in status["outputs"]] == ["1 artnet", "2 artnet"]
        until(night, lambda _: second.packets)

        # The first output leaves, dark, the other is given a universe more; whoever holds the pad is still heard.
        def remove() -> None:
            text = rig.read_text().replace(output(first.node), "", 1)
            rig.write_text(text.replace("universe = 1\nby", "universe = [1, 2]\nby", 1))
            night.process.send_signal(signal.SIGHUP)

        status = loaded(night, changed=remove)
        assert [one["name"] for one in status["outputs"]] == ["1 artnet"]
        until(night, lambda _: any(artnet_slots(packet)[0] == 2 for _, packet in second.packets.copy()))
        pads.sendall(let_go(HELD))
        until(night, lambda status: weight(status, "held") == 0)
        assert night.stop() == 0, night.said()
    goes_on_without_a_gap([packet for _, packet in first.packets[begun:]])
    result = prove(read(kept))
    assert result.difference is None
    assert result.frames > 100


def light(packet: bytes) -> list[int]:
    """The intensities of the demo's four pars: 8 slots each, the first of them."""
    return artnet_slots(packet)[1][:32:8]


def goes_on_without_a_gap(packets: list[bytes]) -> None:
    """Every frame has come, in order (Art-Net 4, ArtDmx: Sequence counts 1 to 255); a fade only climbs, until dark."""
    numbers = [packet[12] for packet in packets]
    assert all(after == before % 255 + 1 for before, after in itertools.pairwise(numbers)), numbers
    *lit, last = [light(packet) for packet in packets]
    assert [one[0] for one in lit] == sorted(one[0] for one in lit)
    assert {one[3] for one in lit} == {255}
    assert not any(last)


def test_who_closes_the_terminal_ends_the_night(tmp_path: Path) -> None:
    gig, control = copy_gig(tmp_path), tmp_path / "control"
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "lanternist", "run", str(gig)]
    # The first terminal that the leader of a session opens is the one that hangs up on it.
    begin = ["/bin/sh", "-c", 'exec "$@" <>"$0"', os.ttyname(theirs), *command]
    environment = os.environ | {"LANTERNIST_SOCKET": str(control)}
    with (tmp_path / "log").open("wb") as log:
        process = subprocess.Popen(begin, env=environment, stdout=log, stderr=log, start_new_session=True)
    try:
        night = Night(process, control, tmp_path / "log")
        night.status()
        os.close(theirs)
        os.close(ours)
        assert process.wait(PATIENCE) == 0
        assert "stopping" in night.said()
    finally:
        process.kill()
        process.wait()
