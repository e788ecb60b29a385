"""The format of recorded frames: what it says it is, and back."""

import io
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.wire.frames import MAGIC, pack_frame, read_frames

frame = st.dictionaries(st.integers(0, 65_535), st.binary(min_size=1, max_size=512), max_size=3)
recordings = st.lists(st.tuples(st.floats(0, 1e6), frame), max_size=8)


def record(frames: list[tuple[float, dict[int, bytes]]]) -> bytes:
    parts, before = [MAGIC], dict[int, bytes]()
    for now, slots in frames:
        parts.append(pack_frame(slots, before, now))
        before = slots
    return b"".join(parts)


def test_bytes_are_those_of_the_description() -> None:
    assert pack_frame({7: b"abc"}, {}, 1.5) == struct.pack("!dHHH", 1.5, 1, 7, 3) + b"abc"


def test_a_still_frame_costs_10_bytes() -> None:
    assert len(pack_frame({1: bytes(512), 2: bytes(512)}, {1: bytes(512), 2: bytes(512)}, 0.0)) == 10


@given(
    st.lists(st.tuples(st.floats(0, 1e6), st.tuples(st.binary(min_size=1), st.sampled_from([b"x", b"y"]))), max_size=8)
)
def test_round_trip(script: list[tuple[float, tuple[bytes, bytes]]]) -> None:
    frames = [(now, dict(enumerate(slots))) for now, slots in script]
    assert list(read_frames(io.BytesIO(record(frames)).read)) == frames


@given(recordings, st.data())
def test_cut_short_anywhere_it_gives_the_whole_frames_before(
    frames: list[tuple[float, dict[int, bytes]]], data: st.DataObject
) -> None:
    whole = record(frames)
    end = data.draw(st.integers(len(MAGIC), len(whole)))
    expected = list(read_frames(io.BytesIO(whole).read))
    found = list(read_frames(io.BytesIO(whole[:end]).read))
    assert found == expected[: len(found)]
    assert len(found) >= sum(len(record(frames[:n])) <= end for n in range(1, len(frames) + 1))


@given(st.binary(max_size=300))
def test_any_bytes_after_the_first_line_are_harmless(noise: bytes) -> None:
    for _, slots in read_frames(io.BytesIO(MAGIC + noise).read):
        assert all(slots.values())


@pytest.mark.parametrize("start", [b"", b"lanternist", b"something else altogether"])
def test_another_file_is_refused(start: bytes) -> None:
    with pytest.raises(ValueError, match="lanternist frames 1"):
        list(read_frames(io.BytesIO(start).read))
