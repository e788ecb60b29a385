"""Replay: a recorded night comes out the same; what is not the same is found, and named by fixture and slot."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.recorded import demo_gig, record
from tests.running import PATIENCE

from lanternist.cli import main
from lanternist.core.events import Action
from lanternist.core.state import state_of
from lanternist.runtime.gigs import make_operator
from lanternist.runtime.recorder import Recorder, files_of
from lanternist.runtime.replay import ReplayError, changed_files, play, prove, read
from lanternist.runtime.sender import Sender
from lanternist.testing.outputs import FailingOutput
from lanternist.wire import pcapng

FRAMES = 160


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("night")
    gig = demo_gig(folder)
    recorder = Recorder(folder / "night", gig, "rig.toml")
    recorder.start()
    record(recorder, gig, FRAMES, leave_at=FRAMES - 4)
    assert recorder.end(PATIENCE)
    return folder / "night"


@pytest.fixture
def spoilt(night: Path, tmp_path: Path) -> Callable[[int, Callable[[bytes], bytes]], Path]:
    """A copy of the night with one of its files (0: lines, 1: frames) changed."""

    def spoil(which: int, how: Callable[[bytes], bytes]) -> Path:
        for number, (source, copy) in enumerate(zip(files_of(night), files_of(tmp_path / "copy"), strict=True)):
            copy.write_bytes(how(source.read_bytes()) if number == which else source.read_bytes())
        return tmp_path / "copy"

    return spoil


def test_a_recorded_night_is_made_again_byte_for_byte(night: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in (night, *files_of(night)):
        result = prove(read(name))
        assert (result.frames, result.difference) == (FRAMES, None)
        assert result.seconds == pytest.approx((FRAMES - 1) * 0.025)
    assert main(["replay", str(night)]) == 0
    said = capsys.readouterr().out
    assert "the same, byte for byte" in said
    assert "is as it was recorded" in said


def test_a_night_that_goes_on_from_a_state_is_made_again_too(tmp_path: Path) -> None:
    gig = demo_gig(tmp_path)
    operator = make_operator(gig)
    operator.begin(0.0)
    for number in range(80):
        operator.take(Action("start", number * 0.025, gig.show.playables[number % 4].name))
        operator.frame(number * 0.025)
    recorder = Recorder(tmp_path / "night", gig, "rig.toml")
    recorder.start()
    record(recorder, gig, 80, before=(state_of(operator, 2.0), 1 / 3))
    assert recorder.end(PATIENCE)
    result = prove(read(tmp_path / "night"))
    assert (result.frames, result.difference) == (80, None)


def test_the_night_is_one_in_which_something_happens(night: Path) -> None:
    frames = [dict(slots) for line, slots in read(night).frames() if "frame" in line]
    assert len({tuple(sorted(one.items())) for one in frames}) > FRAMES / 4
    assert any(any(data) for data in frames[-5].values())


def test_the_first_difference_is_named_by_time_slot_and_fixture(
    night: Path, spoilt: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    gig = prove(read(night))
    assert gig.difference is None
    with files_of(night)[1].open("rb") as file:
        packets = list(pcapng.read(file.read))
    at = len(packets) // 2
    wrong = bytearray(packets[at].slots)
    wrong[0] ^= 1
    changed = pcapng.pack(packets[at]._replace(slots=bytes(wrong)))
    path = spoilt(1, lambda data: data.replace(pcapng.pack(packets[at]), changed))
    result = prove(read(path))
    assert result.difference is not None
    begin = next(line["begin"] for line in read(night).lines() if "begin" in line)
    epoch = read(night).head["epoch"]
    assert result.difference.at == pytest.approx(packets[at].ns / 1e9 - epoch - begin, abs=1e-3)
    assert (result.difference.universe, result.difference.slot) == (1, 1)
    assert (result.difference.recorded, result.difference.made) == (wrong[0], wrong[0] ^ 1)
    assert result.difference.where.startswith("par 1, ")
    assert main(["replay", str(path)]) == 1
    assert "NOT the same" in capsys.readouterr().out


def test_an_event_that_is_missing_shows(spoilt: Callable[..., Path]) -> None:
    def without_starts(data: bytes) -> bytes:
        return b"".join(line for line in data.splitlines(keepends=True) if b'"start"' not in line)

    assert prove(read(spoilt(0, without_starts))).difference is not None


def test_one_that_was_cut_short_is_played_as_far_as_it_goes(
    spoilt: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    path = spoilt(0, lambda data: data[: int(len(data) * 0.9)])
    result = prove(read(path))
    assert 0 < result.frames < FRAMES
    assert result.difference is None
    assert main(["replay", str(path)]) == 0
    assert "ends early: it is cut short" in capsys.readouterr().out


def test_frames_that_are_missing_at_the_end_are_not_taken_for_the_same(spoilt: Callable[..., Path]) -> None:
    assert prove(read(spoilt(1, lambda data: data[: len(data) // 2]))).difference is not None


@pytest.mark.parametrize(
    ("which", "how", "says"),
    [
        (0, lambda _: b"", "no recording that this lanternist can play again"),
        (0, lambda data: data.replace(b'"recording":1', b'"recording":9', 1), "no recording that"),
        (0, lambda data: data.replace(b'{"frame"', b'{frame"', 1), "this is no line of a recording"),
        (0, lambda data: data.replace(b'"file":"show.toml"', b'"file":"../show.toml"'), "wants to write ../show.toml"),
        (0, lambda data: data.replace(b"[[scenes]]", b"[[scnees]]", 1), "cannot read the gig that was recorded"),
        (1, lambda _: b"lanternist frames 1\n", "not a capture of frames"),
    ],
)
def test_what_is_no_recording_is_told(
    which: int, how: Callable[[bytes], bytes], says: str, spoilt: Callable[..., Path],
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    assert main(["replay", str(spoilt(which, how))]) == 2
    assert says in capsys.readouterr().err


def test_a_missing_recording_is_told(tmp_path: Path) -> None:
    with pytest.raises(ReplayError, match=r"cannot read .*none\.jsonl: no such file"):
        read(tmp_path / "none")


def test_a_gig_that_has_changed_since_is_known(night: Path, spoilt: Callable[..., Path], tmp_path: Path) -> None:
    assert changed_files(read(night)) == []
    gig = demo_gig(tmp_path / "other")
    with (gig.folder / "show.toml").open("a") as file:
        file.write("# a word\n")
    (gig.folder / "more.toml").touch()

    def moved(data: bytes) -> bytes:
        head, _, rest = data.partition(b"\n")
        return json.dumps(json.loads(head) | {"gig": str(gig.folder)}).encode() + b"\n" + rest

    assert changed_files(read(spoilt(0, moved))) == ["more.toml", "show.toml"]
    assert changed_files(read(spoilt(0, lambda data: data.replace(b'"gig":"/', b'"gig":"/gone/', 1)))) is None


def test_frames_are_played_to_an_output_as_they_were(night: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    frames = [dict(slots) for line, slots in read(night).frames() if "frame" in line]
    played: list[dict[int, bytes]] = []
    sender = Sender("one", FailingOutput(), [1])
    monkeypatch.setattr(sender, "offer", played.append)
    monkeypatch.setattr("lanternist.runtime.replay.time.sleep", lambda _: None)
    play(read(night), sender)
    assert [one[1] for one in played] == [one.get(1, bytes(512)) for one in frames]


def test_what_is_stopped_in_the_middle_ends_dark(night: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_: float) -> None:
        if len(played) == 40:
            raise KeyboardInterrupt

    played: list[dict[int, bytes]] = []
    sender = Sender("one", FailingOutput(), [1])
    monkeypatch.setattr(sender, "offer", played.append)
    monkeypatch.setattr("lanternist.runtime.replay.time.sleep", stop)
    with pytest.raises(KeyboardInterrupt):
        play(read(night), sender)
    assert played[-1] == {1: bytes(512)}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["artnet", "to"], "it reads KEY=VALUE"),
        (["artnet", "to=10.0.0.20", "universe=9"], "the recording has 1"),
        (["smoke"], 'no output "smoke"'),
        (["artnet"], "to: Field required"),
    ],
)
def test_a_wrong_output_is_told(words: list[str], says: str, night: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", str(night), "--to", *words]) == 2
    assert says in capsys.readouterr().err
