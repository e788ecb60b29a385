"""The null output: counts, keeps the newest frame, and records so that the recording can be read back."""

import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from lanternist.outputs.contract import OutputError
from lanternist.outputs.null import NullOutput, NullSettings
from lanternist.testing.outputs import check_output, check_refusal
from lanternist.wire.frames import read_frames


def make(record: Path | None = None, universes: tuple[int, ...] = (1, 2)) -> NullOutput:
    return NullOutput(NullSettings(record=None if record is None else str(record)), universes)


def read(path: Path) -> list[tuple[float, dict[int, bytes]]]:
    with path.open("rb") as file:
        return list(read_frames(file.read))


def test_keeps_the_contract(tmp_path: Path) -> None:
    check_output(make, [1, 2])
    check_output(lambda: make(tmp_path / "night.frames"), [1, 2])


def test_counts_and_keeps_the_newest() -> None:
    output = make()
    output.open()
    for n in range(5):
        output.send({1: bytes([n]), 2: b"\2", 9: rb"\9"}, n * 0.025)
    assert output.frames == 5
    assert output.last == {1: b"\4", 2: b"\2"}  # and nothing of universes that are not its own
    assert output.describe() == {"universes": "1, 2", "frames": 5}
    output.close()


def test_what_it_keeps_does_not_change_under_the_reader() -> None:
    output = make()
    output.open()
    output.send({1: b"\1"}, 0.0)
    kept = output.last
    output.send({1: b"\2"}, 0.025)
    assert kept == {1: b"\1"}
    output.close()


frames = st.lists(
    st.tuples(st.floats(0, 1e6), st.fixed_dictionaries({1: st.binary(min_size=1, max_size=512), 2: st.just(b"\2")})),
    max_size=20,
)


@given(frames, st.integers(0, 20))
def test_recording_gives_every_frame_back_also_across_reopening(
    tmp_path_factory: pytest.TempPathFactory, script: list[tuple[float, dict[int, bytes]]], again: int
) -> None:
    path = tmp_path_factory.mktemp("night") / "night.frames"
    output = make(path)
    output.open()
    for n, (now, slots) in enumerate(script):
        if n == again:
            output.close()
            output.open()
        output.send(slots, now)
    assert read(path) == script  # nothing waits in a buffer for close
    output.close()
    assert read(path) == script


def test_a_new_run_begins_the_recording_anew(tmp_path: Path) -> None:
    path = tmp_path / "night.frames"
    for level in (b"\1", b"\2"):
        output = make(path)
        output.open()
        output.send({1: level}, 0.0)
        output.close()
    assert read(path) == [(0.0, {1: b"\2"})]


def test_a_recording_that_was_taken_away_begins_anew(tmp_path: Path) -> None:
    path = tmp_path / "night.frames"
    output = make(path)
    for now in (0.0, 1.0):
        output.open()
        output.send({1: b"\1"}, now)
        output.close()
        if now == 0.0:
            path.unlink()
    assert read(path) == [(1.0, {1: b"\1"})]


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    check_refusal(lambda: make(tmp_path / "nowhere" / "night.frames"))
    with pytest.raises(OutputError, match=r'cannot record to ".*night.frames": No such file'):
        make(tmp_path / "nowhere" / "night.frames").open()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_full_disk_at_the_start() -> None:
    check_refusal(lambda: make(Path("/dev/full")))


@contextmanager
def file_size_limit(size: int) -> Iterator[None]:
    """What a full disk looks like to a writer: part of the data is taken, then no more."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_disk_that_fills_up_leaves_whole_frames_and_can_be_carried_on(tmp_path: Path) -> None:
    path = tmp_path / "night.frames"
    output = make(path)
    output.open()
    output.send({1: bytes(512)}, 0.0)
    with file_size_limit(path.stat().st_size + 100):
        with pytest.raises(OutputError, match=r"night.frames.*check the folder and the disk"):
            output.send({1: b"\1" * 512}, 0.025)
        assert read(path) == [(0.0, {1: bytes(512)})]
        output.close()
    output.open()
    output.send({1: b"\2" * 512}, 1.0)
    output.close()
    assert read(path) == [(0.0, {1: bytes(512)}), (1.0, {1: b"\2" * 512})]


@pytest.mark.parametrize("wrong", [{"record": ""}, {"record": 1}, {"to": "x"}])
def test_wrong_settings(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        NullSettings.model_validate(wrong)
