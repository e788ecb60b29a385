"""Whatever is asked, frame by frame: no cell, no field flashes more than allowed, by the independent counter.

LANTERNIST_NIGHTLY=1 looks at some hundred times as many nights.
"""

import os

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from tests.guarded import FRAME_S, WHIMS, Night, stage, whim
from tests.independent.fixture_decoder import shutter

from lanternist.core.effects import Floats
from lanternist.core.guard import Guard

NIGHTLY = bool(os.environ.get("LANTERNIST_NIGHTLY"))
STAGE = stage()

ACTS = st.lists(
    st.tuples(st.sampled_from(list(WHIMS)), st.integers(20, 150), st.integers(0, 2**32 - 1)), min_size=1, max_size=5
)


@settings(max_examples=5000 if NIGHTLY else 150)
@given(ACTS, st.integers(0, 99))
@example(
    acts=[
        ("noise", 40, 0),
        ("square", 20, 0),
        ("twinkle", 43, 81678),
        ("strobe", 59, 2**32 - 2),
        ("noise", 35, 854081),
    ],
    seed=0,
)
def test_no_mischief_flashes_more_than_allowed(acts: list[tuple[str, int, int]], seed: int) -> None:
    guard, night, base = Guard(STAGE), Night(STAGE), STAGE.rest.copy()
    for name, frames, of_act in acts:
        for levels in whim(STAGE, name, frames, np.random.default_rng(of_act), base):
            now = len(night.times) * FRAME_S
            night.send(guard.apply(levels, now), now)
    assert night.excesses(seed=seed) == []


class Night40Hz(RuleBasedStateMachine):
    """A person at the pads with a bad evening: whims, blackouts, reloads, faults and clocks, one after the other."""

    @initialize()
    def begin(self) -> None:
        self.guard, self.night, self.base = Guard(STAGE), Night(STAGE), STAGE.rest.copy()
        self.now = self.wire = 100.0

    def send(self, levels: Floats, gap: float = FRAME_S, *, blackout: bool = False) -> None:
        self.now += gap
        self.wire += max(gap, 0.0)
        sent = self.guard.apply(levels, self.now, blackout=blackout)
        assert np.isfinite(sent).all()
        assert not (blackout and sent[: STAGE.intensities].any())
        self.night.send(sent, self.wire)

    @rule(name=st.sampled_from(list(WHIMS)), frames=st.integers(1, 60), seed=st.integers(0, 2**32 - 1))
    def mischief(self, name: str, frames: int, seed: int) -> None:
        for levels in whim(STAGE, name, frames, np.random.default_rng(seed), self.base):
            self.send(levels)

    @rule(frames=st.integers(1, 6), level=st.sampled_from([0.0, 0.1, 1.0]))
    def pad(self, frames: int, level: float) -> None:
        for _ in range(frames):
            levels = self.base.copy()
            levels[: STAGE.intensities] = level
            self.send(levels)

    @rule(frames=st.integers(1, 6))
    def blackout(self, frames: int) -> None:
        for _ in range(frames):
            self.send(self.base, blackout=True)

    @rule()
    def reload(self) -> None:
        newer = Guard(stage())
        newer.adopt(self.guard)
        self.guard = newer

    @rule(gap=st.sampled_from([-0.3, -1e-9, 0.0, 1e-6, 0.001, 0.06, 0.4, 7.0]))
    def odd_frame(self, gap: float) -> None:
        self.send(self.base, gap)
        self.wire = max(self.wire, self.now)

    @rule(bad=st.sampled_from([np.nan, np.inf, -1.0, 1e9]), seed=st.integers(0, 99))
    def fault(self, bad: float, seed: int) -> None:
        levels = self.base.copy()
        levels[np.random.default_rng(seed).uniform(size=len(levels)) < 0.3] = bad
        self.send(levels)

    @invariant()
    def within_limits(self) -> None:
        night = getattr(self, "night", None)
        if night is not None and night.times:
            assert_rates_within(night, 3.0)

    def teardown(self) -> None:
        if getattr(self, "night", None) is not None and self.night.times:
            assert self.night.excesses() == []


def assert_rates_within(night: Night, most: float) -> None:
    """The newest frame strobes no faster than that, all shutters together, lit or not each for itself."""
    for one in night.table.patched:
        for at, (_, slot) in enumerate(one.profile.modes[one.fixture.mode].layout()):
            if slot.does == "shutter":
                assert shutter(slot, int(night.frames[-1][0, one.fixture.address - 1 + at]))[1] <= most


TestNight = Night40Hz.TestCase
TestNight.settings = settings(
    deadline=None, max_examples=2000 if NIGHTLY else 60, stateful_step_count=100 if NIGHTLY else 30
)
