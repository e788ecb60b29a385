"""The recorder: everything is kept, nothing waits for it, and whatever goes wrong ends it alone."""

import errno
import threading
from io import FileIO
from pathlib import Path

import pytest
from tests.recorded import demo_gig, events_before, record
from tests.running import PATIENCE, until

from lanternist.runtime import recorder as module
from lanternist.runtime.recorder import Recorder, RecorderError, files_of
from lanternist.wire import pcapng, recording


def lines(base: Path) -> list[dict[str, object]]:
    with files_of(base)[0].open("rb") as file:
        return [recording.decode(line) for line in file]


def test_everything_is_kept_in_order(tmp_path: Path) -> None:
    gig, base = demo_gig(tmp_path), tmp_path / "night"
    recorder = Recorder(base, gig, "rig.toml")
    recorder.start()
    made = record(recorder, gig, 100, leave_at=95)
    assert recorder.end(PATIENCE)
    found = lines(base)
    assert found[0]["rig"] == "rig.toml"
    assert {line["file"]: line["text"] for line in found if "file" in line}["show.toml"] == (
        gig.folder / "show.toml"
    ).read_text()
    assert [recording.read_event(line) for line in found if "event" in line] == [
        event for number in range(95) for event in events_before(number, gig)
    ]
    assert [next(iter(line)) for line in found if next(iter(line)) in ("begin", "leave", "end")] == [
        "begin", "leave", "end",
    ]  # fmt: skip
    assert sum("frame" in line for line in found) == 100
    with files_of(base)[1].open("rb") as file:
        slots = {one.universe: one.slots.ljust(512, b"\0") for one in pcapng.read(file.read)}
    assert slots == made[-1]


def test_a_recording_takes_no_other_s_place_and_says_why_it_cannot_begin(tmp_path: Path) -> None:
    gig = demo_gig(tmp_path)
    files_of(tmp_path / "night")[1].write_text("of last week")
    with pytest.raises(RecorderError, match=r"night\.pcapng is there already"):
        Recorder(tmp_path / "night.jsonl", gig, "rig.toml")
    assert files_of(tmp_path / "night")[1].read_text() == "of last week"
    assert not files_of(tmp_path / "night")[0].exists()
    with pytest.raises(RecorderError, match="no such file or directory"):
        Recorder(tmp_path / "nowhere" / "night", gig, "rig.toml")


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
def test_a_full_disk_ends_the_recording_and_nothing_else(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    class Disk(FileIO):
        left = 40_000

        def write(self, data: bytes) -> int:  # type: ignore[override]
            if Disk.left < len(data):
                raise OSError(number, "no")
            Disk.left -= len(data)
            return super().write(data)

    monkeypatch.setattr(module, "FileIO", Disk)
    gig = demo_gig(tmp_path)
    recorder = Recorder(tmp_path / "night", gig, "rig.toml")
    recorder.start()
    record(recorder, gig, 400)
    until(lambda: recorder.describe()["error"] != "")
    record(recorder, gig, 3)
    assert recorder.end(PATIENCE)
    assert len(caplog.records) == 1
    assert "recording has ended" in caplog.text


def test_a_disk_that_stands_still_is_waited_for_by_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stands, go_on = threading.Event(), threading.Event()

    class Disk(FileIO):
        def write(self, data: bytes) -> int:  # type: ignore[override]
            if threading.current_thread() is not threading.main_thread():
                stands.set()
                assert go_on.wait(PATIENCE)
            return super().write(data)

    monkeypatch.setattr(module, "FileIO", Disk)
    monkeypatch.setattr(module, "HOLDS", 50)
    gig = demo_gig(tmp_path)
    recorder = Recorder(tmp_path / "night", gig, "rig.toml")
    recorder.start()
    record(recorder, gig, 100)
    assert stands.wait(PATIENCE)
    assert recorder.describe()["error"] == "the disk is too slow"
    assert not recorder.end(0.0)
    go_on.set()
    assert recorder.end(PATIENCE)
    assert lines(tmp_path / "night")[-1] == {"end": "the disk is too slow"}


def test_a_recording_is_bounded_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_BYTES", 100_000)
    gig, base = demo_gig(tmp_path), tmp_path / "night"
    recorder = Recorder(base, gig, "rig.toml")
    recorder.start()
    record(recorder, gig, 2000)
    assert recorder.end(PATIENCE)
    assert recorder.describe()["error"] == "it has reached 0.0001 GB"
    assert lines(base)[-1] == {"end": "it has reached 0.0001 GB"}
    assert sum(file.stat().st_size for file in files_of(base)) < 110_000
