"""Whatever happens in whatever order, the position is finite and only goes back on purpose; a replay is identical."""

from collections.abc import Callable
from math import isfinite

from hypothesis import given, settings
from hypothesis import strategies as st

from lanternist.core.actions import CLOCK_ACTIONS
from lanternist.core.beat import BeatClock, ClockSettings, Reading
from lanternist.core.events import Action, Beat, BeatEvent, SongPosition, Tempo, Tick, TimeCode, Transport

SOURCES = st.sampled_from(["midi", "osc", "mtc", "tap", "midi 2", "free", "manual", ""])
WILD = st.floats(allow_nan=True, allow_infinity=True)
NUMBERS = st.one_of(st.none(), st.integers(0, 300).map(float), st.floats(0.0, 300.0), WILD)
BPM = st.one_of(st.floats(20.0, 400.0), WILD)
APART = st.one_of(
    st.floats(-0.1, 0.6),
    st.sampled_from([0.0, 0.0208, 0.0208, 0.5, 0.5, 0.02, -0.001, 3.0]),
    st.floats(-1e3, 1e3),
    WILD,
)
VALUES = st.one_of(st.sampled_from([0.0, 1.0, 4.0, -4.0, 120.0, -16.0, 16.0, 500.0]), st.floats(-600.0, 600.0), WILD)
MAKERS = st.one_of(
    st.builds(lambda source: lambda at: Tick(at, source), SOURCES),
    st.builds(lambda number, source: lambda at: Beat(at, number, source), NUMBERS, SOURCES),
    st.builds(lambda bpm, source: lambda at: Tempo(at, bpm, source), BPM, SOURCES),
    st.builds(
        lambda kind, source: lambda at: Transport(at, kind, source),
        st.sampled_from(["start", "continue", "stop"]),
        SOURCES,
    ),
    st.builds(
        lambda beat, source, running: lambda at: SongPosition(at, beat, source, running),
        st.one_of(st.floats(0.0, 5000.0), WILD),
        SOURCES,
        st.booleans(),
    ),
    st.builds(
        lambda seconds, source: lambda at: TimeCode(at, seconds, 25.0, source),
        st.one_of(st.floats(0.0, 86400.0), st.integers(0, 50).map(lambda n: n / 25.0), WILD),
        SOURCES,
    ),
    st.builds(
        lambda do, value: lambda at: Action(do, at, value=value),
        st.sampled_from([*sorted(CLOCK_ACTIONS), "start"]),
        VALUES,
    ),
)
RUNS = st.builds(  # the same again and again, so that something locks
    lambda maker, n, apart: [(maker, apart)] * n, MAKERS, st.integers(1, 40), APART
)
SCRIPTS = st.lists(RUNS, max_size=12).map(lambda runs: [step for run in runs for step in run])


def may_jump(event: BeatEvent | Action) -> bool:
    """Whether the position may move on purpose; a numbered beat and time code say that the player was moved."""
    if isinstance(event, Transport):
        return event.kind != "stop"
    if isinstance(event, Action):
        return event.do in ("align", "shift")
    return isinstance(event, SongPosition | TimeCode) or (isinstance(event, Beat) and event.number is not None)


Script = list[tuple[Callable[[float], BeatEvent | Action], float]]


def play(script: Script, leads: tuple[float, ...] = (0.02, 0.055, 0.0)) -> list[tuple[float, Reading]]:
    """Every answer a loop would get that asks for several leads after each event."""
    clock, now, out = BeatClock(ClockSettings(trust=("midi", "osc", "tap"))), 50.0, []
    for make, apart in script:
        at = now + apart
        event: BeatEvent | Action = make(at)
        jumps = clock.reading(now).jumps
        clock.feed(event)
        assert clock.reading(now).jumps == jumps or may_jump(event), event
        if 0.0 < apart < 10.0:
            now = at
        for lead in leads:
            t = now + lead
            beat = clock.beat_at(t)
            reading = clock.reading(t)
            assert reading.beat == max(beat, 0.0)
            out.append((t, reading))
    clock.notices()
    return out


@settings(max_examples=150, deadline=None)
@given(SCRIPTS)
def test_finite_and_never_back_but_on_purpose(script: Script) -> None:
    answers = play(script)
    for _, reading in answers:
        assert isfinite(reading.beat)
        assert reading.beat >= 0.0
        assert 20.0 <= reading.bpm <= 400.0
        assert 0.0 <= reading.confidence <= 1.0
        assert isfinite(reading.error_ms)
        assert reading.error_ms >= 0.0
        assert reading.bar == int(reading.beat // 4) + 1
        assert reading.beat_in_bar in (1, 2, 3, 4)
        assert (reading.phrase_8, reading.phrase_16, reading.phrase_32) == tuple(reading.beat % n for n in (8, 16, 32))
    highest: dict[int, list[tuple[float, float]]] = {}
    for t, reading in answers:
        earlier = highest.setdefault(reading.jumps, [])
        for then, beat in earlier[-12:]:
            assert then > t or beat <= reading.beat, (t, reading, then, beat)
        earlier.append((t, reading.beat))


@settings(max_examples=40, deadline=None)
@given(SCRIPTS)
def test_replay_is_identical(script: Script) -> None:
    assert play(script) == play(script)
