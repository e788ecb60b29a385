"""Durations as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.core.units import Duration, parse_duration, positive


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        (2, Duration(2.0)),
        (0.25, Duration(0.25)),
        ("1.5 s", Duration(1.5)),
        ("1.5s", Duration(1.5)),
        (" 3 ", Duration(3.0)),
        (".5", Duration(0.5)),
        ("250 ms", Duration(0.25)),
        ("2 beats", Duration(2.0, "beats")),
        ("1 beat", Duration(1.0, "beats")),
        ("1 bar", Duration(4.0, "beats")),
        ("1/2 beat", Duration(0.5, "beats")),
        ("3/4 bars", Duration(3.0, "beats")),
        ("1.5 bars", Duration(6.0, "beats")),
        (Duration(3.0, "beats"), Duration(3.0, "beats")),
    ],
)
def test_durations_as_written(written: object, meant: Duration) -> None:
    assert parse_duration(written) == meant


@pytest.mark.parametrize(
    "written",
    [
        -1,
        "-1",
        "1/0 beat",
        "1/2/3 s",
        "soon",
        "2 hours",
        "",
        "beats",
        "1e3",
        "2 beats ago",
        "nan",
        True,
        None,
        [2],
        float("inf"),
        "1" * 33,
    ],
)
def test_what_is_no_duration_is_refused(written: object) -> None:
    with pytest.raises(ValueError, match="should be seconds"):
        parse_duration(written)


@pytest.mark.parametrize("amount", [0.0, 5e-324, 1e-320, 1e-30, 0.00099])
def test_next_to_nothing_is_no_cycle(amount: float) -> None:
    with pytest.raises(ValueError, match="longer than nothing"):
        positive(Duration(amount))
    assert positive(Duration(0.001)) == Duration(0.001)


def test_beats_last_as_long_as_the_tempo_says() -> None:
    assert Duration(4.0, "beats").seconds(120.0) == 2.0
    assert Duration(4.0, "beats").seconds(60.0) == 4.0
    assert Duration(4.0).seconds(120.0) == 4.0


@given(st.floats(0, 1e9))
def test_every_number_of_seconds_is_a_duration(seconds: float) -> None:
    assert parse_duration(seconds) == Duration(seconds)
