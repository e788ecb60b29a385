"""The desk against a slow model of the same words, driven by random deeds at random times.

Times, beats and cycles are binary fractions, so that both agree exactly on which side of an edge a wave stands; fades
are not, so that none ends exactly when something else begins.
"""

from typing import Any

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from tests.independent.desk_model import DeskModel, Length, Look, Parameter, Piece, Wave
from tests.rigs import row, table

from lanternist.core.desk import Desk
from lanternist.core.events import Action
from lanternist.core.show import Show
from lanternist.core.show_table import compile_show

# A dimmer and a par on universe 1; a head on universe 2, which is seen 31.25 ms later.
RIG = """
[[outputs]]
universe = 1
by = "null"
[[outputs]]
universe = 2
by = "null"
lead_ms = 31.25
[[fixtures]]
name = "d"
profile = "dimmer"
mode = "1"
address = 1
[[fixtures]]
name = "p"
profile = "par"
mode = "3"
address = 11
[[fixtures]]
name = "h"
profile = "head"
mode = "11"
universe = 2
address = 1
"""
TABLE = table(RIG)
LEADS = {"d": 0.0, "p": 0.0, "h": 0.03125}
BASE: dict[Parameter, float] = {
    ("d", "intensity"): 0.0, ("p", "intensity"): 0.0, ("p", "red"): 1.0,
    ("h", "intensity"): 0.0, ("h", "red"): 1.0, ("h", "pan"): 0.0,
}  # fmt: skip
ROWS = {parameter: row(TABLE, *parameter) for parameter in BASE}

fades_in = st.sampled_from([(0.0, "s"), (0.0, "s"), (0.377, "s"), (1.9, "s"), (1.3, "beats")])
fades_out = st.sampled_from([(0.0, "s"), (0.291, "s"), (2.3, "s"), (0.7, "beats")])
cycles = st.sampled_from([(0.5, "s"), (2.0, "s"), (0.25, "beats"), (1.0, "beats"), (4.0, "beats")])
values = st.integers(0, 8).map(lambda n: n / 8)
shapes = st.sampled_from(["sine", "square", "ramp", "triangle"])
waves = st.builds(Wave, shapes, values, values, cycles, values, st.sampled_from([0.25, 0.5]))
# Scenes that stand still take another way through the merge than those that move: enough of both.
some = [st.dictionaries(st.sampled_from(sorted(BASE)), one, min_size=2) for one in (values, values, values | waves)]
looks: st.SearchStrategy[Look] = st.one_of(some)
priorities = st.sampled_from([50, 100, 150])


@st.composite
def pieces(draw: st.DrawFn) -> list[Piece]:
    """Two to seven scenes and chases, scenes first, as a show counts them."""
    scenes = draw(st.lists(st.builds(Piece, st.just(""), priorities, fades_in, fades_out, st.tuples(looks)),
                           min_size=2, max_size=5))  # fmt: skip
    steps = st.lists(looks, min_size=1, max_size=3).map(tuple)
    chases = draw(st.lists(
        st.builds(Piece, st.just(""), priorities, fades_in, fades_out, steps, st.just(True), cycles,
                  st.sampled_from([0.0, 0.5, 1.0])), min_size=0, max_size=2))  # fmt: skip
    return [
        Piece(str(n), one.priority, one.fade_in, one.fade_out, one.steps, one.chase, one.every, one.fade)
        for n, one in enumerate([*scenes, *chases])
    ]


def as_show(pieces: list[Piece]) -> Show:
    """The same pieces as a file would have them."""
    scenes, chases = [], []
    for piece in pieces:
        steps = [[_as_part(*item) for item in look.items()] for look in piece.steps]
        shared: dict[str, Any] = {
            "name": piece.name,
            "priority": piece.priority,
            "fade_in": _as_text(piece.fade_in),
            "fade_out": _as_text(piece.fade_out),
        }
        if piece.chase:
            chase = {"every": _as_text(piece.every), "fade": piece.fade, "steps": [{"parts": parts} for parts in steps]}
            chases.append(shared | chase)
        else:
            scenes.append(shared | {"parts": steps[0]})
    return Show.model_validate({"scenes": scenes, "chases": chases})


def _as_text(length: Length) -> str:
    return f"{length[0]} {length[1]}"


def _as_part(parameter: Parameter, value: float | Wave) -> dict[str, Any]:
    fixture, what = parameter
    unit = 1.0 if what == "pan" else 100.0
    if not isinstance(value, Wave):
        return {"on": fixture, what: value * unit}
    return {"on": fixture, what: {
        "wave": value.shape, "low": value.low * unit, "high": value.high * unit, "every": _as_text(value.every),
        "offset": value.offset, "width": value.width,
    }}  # fmt: skip


class DeskAgainstModel(RuleBasedStateMachine):
    """Both are told the same; after everything they must show the same."""

    @initialize(drawn=pieces(), data=st.data())
    def begin(self, drawn: list[Piece], data: st.DataObject) -> None:
        self.desk = Desk(TABLE, compile_show(as_show(drawn), TABLE))
        self.model = DeskModel(drawn, BASE)
        self.now, self.beat_at_0, self.bpm = 100.0, 0.0, 120.0
        self.pieces = [piece.name for piece in drawn]
        for name in data.draw(st.permutations(self.pieces))[:3]:
            self.do("start", name)

    def beat(self, at: float) -> float:
        return self.beat_at_0 + 2.0 * at

    def do(self, do: str, what: str = "", value: float = 1.0) -> None:
        self.desk.act(Action(do, self.now, what, value), self.beat(self.now), self.bpm)
        self.model.act(do, what, value, self.now, self.beat(self.now), self.bpm)

    @rule(data=st.data())
    def start(self, data: st.DataObject) -> None:
        self.do("start", data.draw(st.sampled_from(self.pieces)))

    @rule(do=st.sampled_from(["start", "stop", "toggle"]), data=st.data())
    def switch(self, do: str, data: st.DataObject) -> None:
        self.do(do, data.draw(st.sampled_from(self.pieces)))

    @rule(do=st.sampled_from(["hold", "level"]), value=values, data=st.data())
    def move(self, do: str, value: float, data: st.DataObject) -> None:
        self.do(do, data.draw(st.sampled_from(self.pieces)), value)

    @rule(value=values)
    def fade_master(self, value: float) -> None:
        self.do("master", value=value)
        self.shows_the_same()
        self.do("master")

    @rule()
    def flash_blackout(self) -> None:
        self.do("blackout")
        self.shows_the_same()
        self.do("blackout", value=0.0)

    @precondition(lambda self: len(self.desk.playing) > 2)
    @rule()
    def release(self) -> None:
        self.do("release")

    @rule(sixtyfourths=st.one_of(st.integers(1, 8), st.integers(1, 200)))
    def wait(self, sixtyfourths: int) -> None:
        self.now += sixtyfourths / 64

    @rule(beats=st.integers(-64, 64).map(lambda n: n / 16))
    def jump(self, beats: float) -> None:
        self.beat_at_0 += beats

    @rule(bpm=st.sampled_from([60.0, 93.0, 120.0, 174.0]))
    def change_tempo(self, bpm: float) -> None:
        self.bpm = bpm

    @rule()
    def settle(self) -> None:
        self.desk.settle(self.now)

    @precondition(lambda self: hasattr(self, "desk"))
    @invariant()
    def shows_the_same(self) -> None:
        levels = self.desk.render(self.now, np.array([self.beat(self.now + lead) for lead in TABLE.leads]))
        beats = {parameter: self.beat(self.now + LEADS[parameter[0]]) for parameter in BASE}
        expected = self.model.levels(self.now, beats)
        for parameter, at in ROWS.items():
            assert abs(levels[at] - expected[parameter]) < 1e-9, (parameter, levels[at], expected[parameter])
        untouched = [at for at in range(TABLE.rows + 1) if at not in ROWS.values()]
        assert levels[untouched].tolist() == TABLE.rest[untouched].tolist()


TestDeskAgainstModel = DeskAgainstModel.TestCase
TestDeskAgainstModel.settings = settings(max_examples=100, stateful_step_count=40, deadline=None)
