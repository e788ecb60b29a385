"""Four hours of lights that follow by themselves, in simulated time: no fault, nobody starved, the same again."""

from collections import defaultdict
from pathlib import Path

from tests.recorded import demo_gig

from lanternist.core.events import Action, Tempo, Tick
from lanternist.core.operator import Operator
from lanternist.runtime.gigs import make_operator

HOURS, STEP_S = 4, 1.0


def evening(of: Operator) -> tuple[list[bytes], dict[str, list[str]]]:
    """The frames of four hours, one a second, and what each layer played, choice after choice."""
    frames: list[bytes] = []
    played: dict[str, list[str]] = defaultdict(list)
    of.begin(0.0)
    of.take(Action("follow", 0.0))
    for number in range(int(HOURS * 3600 / STEP_S)):
        now = number * STEP_S
        if number % 240 == 0:
            of.take(Tempo(now, 110.0 + number // 240 % 5 * 6))
            of.take(Action("energy", now, value=(number // 240 % 10) / 9))
        if number == 7200:
            # A clock comes, gives the beat for a moment and is gone: talk between songs, and on.
            for tick in range(100):
                of.take(Tick(now + tick * 0.0001))
        frames.append(of.frame(now).tobytes())
        for layer, one in of.follow.choice.items():
            name = of.show.playables[one].name
            if not played[layer] or played[layer][-1] != name:
                played[layer].append(name)
    return frames, played


def test_four_hours_without_a_fault_and_the_same_again(tmp_path: Path) -> None:
    gig = demo_gig(tmp_path)
    of = make_operator(gig)
    frames, played = evening(of)
    assert of.faults == 0
    followed = {one.name for one in of.follow.candidates}
    assert {name for names in played.values() for name in names} - {"house"} == followed
    assert len(set(frames)) > len(frames) / 4
    again, _ = evening(make_operator(gig))
    assert again == frames
