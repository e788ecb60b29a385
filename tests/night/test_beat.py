"""Light on the beat, at the wire, for a dozen seconds. `tests/bench/beat_at_the_wire.py` takes ten minutes."""

from pathlib import Path

from tests.beats import land, within_half_a_frame

BPM, BEATS = 174.0, 26  # with those that are skipped, 12 seconds


def test_beats_land_within_half_a_frame(tmp_path: Path) -> None:
    """Frames are 25 ms apart, so no sender can do better. Once more if this machine had other things to do."""
    first = land(tmp_path / "first", BPM, BEATS)
    if not within_half_a_frame(first, BEATS, 0.9):
        again = land(tmp_path / "again", BPM, BEATS)
        assert within_half_a_frame(again, BEATS, 0.9), (first, again)
