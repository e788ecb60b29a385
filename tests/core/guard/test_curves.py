"""The guard on fixtures whose light does not follow their slots evenly, or whose slots are dithered."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.guarded import FRAME_S, STAGE, WHIMS, Night, whim
from tests.rigs import table

from lanternist.core.encode import encode
from lanternist.core.guard import Guard

STAGES = {
    line: table(STAGE.replace("groups =", f"{line}\ngroups ="))
    for line in ('curve = "square"', 'curve = "s"', "dither = true")
}


@pytest.mark.parametrize("line", STAGES)
@given(
    acts=st.lists(st.tuples(st.sampled_from(list(WHIMS)), st.integers(1, 80), st.integers(0, 2**30)), max_size=4),
    seed=st.integers(0, 999),
)
@settings(max_examples=8, deadline=None)
def test_no_mischief_gets_past_the_guard(line: str, acts: list[tuple[str, int, int]], seed: int) -> None:
    of = STAGES[line]
    guard, night, base = Guard(of), Night(of), of.rest.copy()
    for name, frames, of_act in acts:
        for levels in whim(of, name, frames, np.random.default_rng(of_act), base):
            number = len(night.times)
            sent = guard.apply(levels, number * FRAME_S)
            night.send(sent, number * FRAME_S)
            night.frames[-1] = encode(of, sent, number)
    assert not night.times or night.excesses(seed=seed) == []
