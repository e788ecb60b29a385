"""The rule of repeats, in simulated time, against the figures of the standards."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.wire.refresh import Refresh

FRAME = 0.025
ARTNET, SACN = 1, 3
copies_of = pytest.mark.parametrize("copies", [ARTNET, SACN])


def play(refresh: Refresh, frames: list[tuple[float, bytes]]) -> list[tuple[float, bytes]]:
    """The frames that go out, of (now, slots)."""
    out = []
    for now, slots in frames:
        if refresh.due(slots, now):
            refresh.sent(slots, now)
            out.append((now, slots))
    return out


def still(seconds: float, start: float = 0.0) -> list[tuple[float, bytes]]:
    return [(start + n * FRAME, b"a") for n in range(round(seconds / FRAME))]


@copies_of
def test_every_change_goes_out_at_once(copies: int) -> None:
    frames = [(n * FRAME, bytes([n])) for n in range(100)]
    assert play(Refresh(copies), frames) == frames


@copies_of
def test_copies_then_a_repeat_every_0_8_to_1_s(copies: int) -> None:
    """ANSI E1.31-2018 cl. 6.6.2: three with the same values, then one every 800 to 1000 ms. Art-Net 4 recommends the
    same interval, and asks for no copies."""
    times = [now for now, _ in play(Refresh(copies), still(20.0))]
    assert times[:copies] == [n * FRAME for n in range(copies)]
    gaps = [later - sooner for sooner, later in zip(times[copies - 1 :], times[copies:], strict=False)]
    assert len(gaps) >= 19
    assert all(0.8 <= gap <= 1.0 for gap in gaps)


@copies_of
def test_a_change_while_suppressed_starts_the_copies_again(copies: int) -> None:
    refresh = Refresh(copies)
    play(refresh, still(2.0))
    sent = play(refresh, [(2.0 + n * FRAME, b"b") for n in range(20)])
    assert sent == [(2.0 + n * FRAME, b"b") for n in range(copies)]


def test_going_back_to_older_values_is_a_change() -> None:
    sent = play(Refresh(ARTNET), [(0.0, b"a"), (0.025, b"b"), (0.05, b"a"), (0.075, b"a")])
    assert sent == [(0.0, b"a"), (0.025, b"b"), (0.05, b"a")]


def test_fewer_slots_are_a_change() -> None:
    assert len(play(Refresh(ARTNET), [(0.0, b"ab"), (0.025, b"a")])) == 2


@copies_of
@pytest.mark.parametrize("jump", [1.0, 7.5, 3600.0])
def test_a_clock_that_jumps_costs_one_repeat_not_a_burst(copies: int, jump: float) -> None:
    refresh = Refresh(copies)
    play(refresh, still(0.5))
    after = play(refresh, still(0.7, start=0.5 + jump))
    assert after == [(0.5 + jump, b"a")]


def test_a_clock_set_back_does_not_silence() -> None:
    refresh = Refresh(ARTNET)
    refresh.sent(b"a", 1000.0)
    assert refresh.due(b"a", 10.0)


def test_what_was_dropped_stays_due() -> None:
    refresh = Refresh(ARTNET)
    refresh.sent(b"a", 0.0)
    for n in range(1, 5):
        assert refresh.due(b"b", n * FRAME)
    refresh.sent(b"b", 5 * FRAME)
    assert not refresh.due(b"b", 6 * FRAME)


steps = st.tuples(st.sampled_from([FRAME]) | st.floats(0.0, 0.1) | st.floats(0.0, 10.0), st.sampled_from([b"a", b"b"]))


@given(st.sampled_from([ARTNET, SACN]), st.lists(steps, max_size=200))
def test_whatever_comes(copies: int, script: list[tuple[float, bytes]]) -> None:
    """Counted independently: changes always go out, no run of copies is longer or shorter than asked, repeats keep
    their distance, and nobody who comes by 10 times a second is late."""
    refresh, now = Refresh(copies), 0.0
    last: bytes | None = None
    run, sent_at = 0, 0.0
    for step, slots in script:
        now += step
        goes_out = refresh.due(slots, now)
        if slots != last:
            assert goes_out
            run = 0
        elif run < copies:
            assert goes_out
        elif goes_out:
            assert now - sent_at >= 0.8
        else:
            assert now - sent_at <= 0.9
        if goes_out:
            refresh.sent(slots, now)
            last, run, sent_at = slots, run + 1, now
