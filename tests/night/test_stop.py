"""How a night begins and ends: what is on the wire last, what the exit status says, who may start."""

import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.decoded import artnet_slots, sacn_slots, terminated
from tests.nights import PATIENCE, Night, copy_gig, lanternist_says, playing
from tests.nodes import Node, node

# Slots of the demo's rink, by hand from its patch: six pars of 7 slots from 1 (the first is the intensity, then red,
# green, blue), the hazer at 97, two bars of 26 from 43 (24 of cells from 45), heads of 16 in universe 2.
HAZE = 97
PARS_FULL = [255, 255, 255, 255, 3, 0, 0] * 6
LIGHT = {1: [*range(1, 43, 7), *range(45, 69), *range(71, 95), 96], 2: [6, 22, 38, 54, 70, 71, 86, 87]}


@pytest.fixture
def nodes() -> Iterator[tuple[Node, Node]]:
    with node() as artnet, node() as streaming:
        yield artnet, streaming


def rink(folder: Path, artnet: Node, streaming: Node, on_stop: str) -> Path:
    outputs = "".join(
        f'[[outputs]]\nuniverse = [1, 2]\nby = "{by}"\nto = "127.0.0.1"\nport = {port}\n'
        for by, port in (("artnet", artnet.port), ("sacn", streaming.port))
    )
    return copy_gig(folder, "rink.toml", outputs, '[[inputs]]\nby = "osc"\nport = 0\n', on_stop=on_stop)


def full_and_hazy(night: Night, artnet: Node, *, heads: bool) -> dict[int, list[int]]:
    """Everything white, heads too if asked for, and haze on its way in: the slots of each universe then."""
    night.status()
    night.send("start", "full")
    night.send("start", "haze")
    shown: dict[int, list[int]] = {1: [0] * 512, 2: [0] * 512}
    while shown[1][:42] != PARS_FULL or not shown[1][HAZE - 1] or (heads and shown[2][5] != 255):
        shown |= [artnet_slots(artnet.receive())]
    return shown


@pytest.mark.parametrize(
    ("number", "on_stop"),
    [(signal.SIGINT, "blackout"), (signal.SIGTERM, "hold"), (signal.SIGTERM, "house")],
)
def test_what_is_left_behind(tmp_path: Path, nodes: tuple[Node, Node], number: signal.Signals, on_stop: str) -> None:
    artnet, streaming = nodes
    with playing(rink(tmp_path, artnet, streaming, on_stop)) as night:
        # Heads are dark for some seconds, until they can be known to look where they should.
        left = full_and_hazy(night, artnet, heads=on_stop == "blackout")
        streaming.waiting()
        assert night.stop(number) == 0, night.said()
        left |= map(artnet_slots, artnet.waiting())
        ended = streaming.waiting()
    assert left[1][HAZE - 1] == 0
    lit = [left[universe][slot - 1] for universe, slots in LIGHT.items() for slot in slots]
    if on_stop == "blackout":
        assert not any(lit)
    elif on_stop == "hold":
        assert left[1][:42] == PARS_FULL
    else:
        # 35 per cent, and of 2000 K red is at full and blue next to nothing; the heads are no part of that scene.
        assert [left[1][at] for at in (0, 1, 4)] == [22, 255, 3]  # 35 per cent to the eye: L* = 35 is Y = 0.085
        assert left[1][3] < 10
        assert left[2][5] == 0
    # ANSI E1.31 cl. 6.2.6: three packets with the option set when a stream ends, and nothing after them.
    for universe in (1, 2):
        of_universe = [packet for packet in ended if sacn_slots(packet)[0] == universe]
        ends = [terminated(packet) for packet in of_universe]
        assert (sum(ends), ends[-3:]) == (3, [True] * 3)
        assert sacn_slots(of_universe[-1])[1] == left[universe]


def ended(night: Night) -> int | None:
    """The exit status, if it ends within a moment."""
    try:
        return night.process.wait(0.01)
    except subprocess.TimeoutExpired:
        return None


def test_a_signal_as_soon_as_it_answers_ends_it_in_good_order(tmp_path: Path, nodes: tuple[Node, Node]) -> None:
    with playing(rink(tmp_path, *nodes, "blackout")) as night:
        while not night.socket.exists():
            assert ended(night) is None
        assert night.stop() == 0, night.said()
    assert not night.socket.exists()


def test_a_second_one_does_not_start_but_after_a_kill_it_does(tmp_path: Path, nodes: tuple[Node, Node]) -> None:
    gig = rink(tmp_path, *nodes, "hold")
    with playing(gig) as night:
        frames = night.status()["frames"]["begun"]
        left, said = lanternist_says(night.socket, "run", str(gig))
        assert left == 3
        assert said == f"lanternist is already running at {night.socket}; end it first\n"
        assert night.status()["frames"]["begun"] > frames
        night.stop(signal.SIGKILL)
        assert night.socket.exists()
    with playing(gig, after=["--fresh"]) as night:
        assert night.status()["inputs"][0]["error"] == ""
        assert night.stop() == 0
        assert "cut short" not in night.said()


def test_of_two_that_start_at_once_one_plays(tmp_path: Path) -> None:
    control = tmp_path / "control"
    gigs = [copy_gig(tmp_path / name, inputs='[[inputs]]\nby = "osc"\nport = 0\n') for name in ("one", "two")]
    with playing(gigs[0], control=control) as one, playing(gigs[1], control=control) as two:
        until = time.monotonic() + PATIENCE
        while (left := [ended(night) for night in (one, two)]) == [None, None]:
            assert time.monotonic() < until, "both play"
        assert sorted(left, key=str) == [3, None]
        night = one if left[0] is None else two
        assert night.status()["inputs"][0]["error"] == ""
        assert night.stop() == 0


def test_a_gig_with_mistakes_is_not_played_and_each_is_told(tmp_path: Path) -> None:
    gig = copy_gig(tmp_path)
    text = (gig / "rig.toml").read_text()
    (gig / "rig.toml").write_text(text.replace("address = 9", "address = 3").replace('by = "null"', 'by = "pigeon"'))
    show = (gig / "show.toml").read_text()
    (gig / "show.toml").write_text(show.replace('toggle = "pulse"', 'toggle = "puls"'))
    left, said = lanternist_says(tmp_path / "control", "run", str(gig))
    assert left == 1
    assert len(said.splitlines()) == 3, said
    for word in ("rig.toml:", "show.toml:", "pigeon", "puls", "par 2"):
        assert word in said


def test_no_such_gig(tmp_path: Path) -> None:
    left, said = lanternist_says(tmp_path / "control", "run", str(tmp_path / "sunday"))
    assert left == 2
    assert "sunday: there is no such folder" in said
    assert len(said.splitlines()) == 1
