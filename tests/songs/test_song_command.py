"""`lanternist song` on recordings that a test made: found, written, skipped, told, put right, drawn."""

import argparse
import json
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.bench.song_maker import Made, make
from tests.bench.song_sounds import RATE

from lanternist.cli import song as command
from lanternist.files.songs import load_song


def run(*argv: object) -> int:
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    args = parser.parse_args(["song", *map(str, argv)])
    status: int = args.run(args)
    return status


@pytest.fixture(scope="module")
def made() -> Made:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shutil, "which", lambda _: None)  # by our own synthesiser on every machine
        return make(4, "house", longest=50)


@pytest.fixture(scope="module")
def gig(made: Made, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A gig in which one track was analysed beside a file that is none."""
    folder = tmp_path_factory.mktemp("gig")
    soundfile.write(folder / "low tide.wav", made.audio, RATE)
    (folder / "broken.mp3").write_bytes(b"no music")
    (folder / "notes.txt").write_text("not a recording")
    assert run("analyse", folder, "--gig", folder, "--workers", 1) == 1
    return folder


def share(found: np.ndarray, true: np.ndarray, within: float) -> float:
    return float(np.mean(np.abs(found[:, None] - true).min(axis=0) < within))


def test_beats_and_bars_are_those_of_the_track(gig: Path, made: Made) -> None:
    song, problems = load_song(gig / "songs" / "low tide.toml")
    assert problems == []
    assert song is not None
    assert song.file == "low tide.wav"
    assert song.tempo == pytest.approx(60 / np.median(np.diff(made.beats)), rel=0.002)
    assert share(song.beat_times, made.beats, 0.02) > 0.95
    assert share(song.downbeat_times, made.downbeats, 0.02) > 0.95
    assert len(song.measured.loudness) == len(song.beats)
    assert song.sections


def test_a_bad_file_is_told_and_only_songs_are_written(gig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert sorted(path.name for path in gig.iterdir()) == ["broken.mp3", "low tide.wav", "notes.txt", "songs"]
    assert [path.name for path in (gig / "songs").iterdir()] == ["low tide.toml"]
    assert run("analyse", gig / "broken.mp3", gig / "none.wav", "--gig", gig) == 1
    told = capsys.readouterr()
    assert "broken.mp3: this cannot be read as sound" in told.out.replace("\n", "")
    assert "none.wav: there is no such file" in told.err


def test_what_was_done_is_skipped_and_a_hand_keeps_its_say(
    gig: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = gig / "songs" / "low tide.toml"
    before = file.read_text()
    assert run("rename", file, 1, "break", "--name", "the quiet one") == 0
    monkeypatch.setattr("lanternist.songs.batch.analyse", lambda _: pytest.fail("this was done before"))
    capsys.readouterr()
    assert run("analyse", gig / "low tide.wav", "--gig", gig, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) == {"tempo", "beats", "downbeats", "sections"}
    assert told["sections"][0]["kind"] == "break"
    assert told["sections"][-1]["end"] == pytest.approx(soundfile.info(gig / "low tide.wav").duration, abs=0.01)
    file.write_text(before)


def test_new_tags_keep_the_song_and_new_music_keeps_its_cues(gig: Path, tmp_path: Path, made: Made) -> None:
    shutil.copytree(gig, tmp_path / "gig")
    track, file = tmp_path / "gig" / "low tide.wav", tmp_path / "gig" / "songs" / "low tide.toml"
    file.write_text(file.read_text() + '\n[[cues]]\nat = "3.1"\ndo = "start"\nwhat = "slow ember"\n')
    run("rename", file, 1, "break")
    soundfile.write(track, made.audio * 0.5, RATE)
    assert run("analyse", track, "--gig", tmp_path / "gig") == 0
    kept = load_song(file)[0]
    assert kept is not None
    assert kept.sections[0].kind == "break"
    soundfile.write(track, made.audio[: RATE * 20][::-1], RATE)
    assert run("analyse", track, "--gig", tmp_path / "gig") == 0
    anew = load_song(file)[0]
    assert anew is not None
    assert anew.duration == pytest.approx(20)
    assert [cue.what for cue in anew.cues] == ["slow ember"]


def written(path: Path, sound: np.ndarray, rate: int = RATE, **how: float) -> Path:
    """A recording, in portions: the Vorbis encoder takes no whole song at once."""
    channels = sound.shape[1] if sound.ndim > 1 else 1
    with soundfile.SoundFile(path, "w", rate, channels, **how) as opened:
        for first in range(0, len(sound), 4096):
            opened.write(sound[first : first + 4096])
    return path


def test_a_song_encoded_anew_is_known_and_keeps_what_hands_have_made_of_it(
    gig: Path, tmp_path: Path, made: Made, capsys: pytest.CaptureFixture[str]
) -> None:
    """MP3 and Ogg of low quality, half the rate, one channel, silence before it, another level; other music is not."""
    (tmp_path / "songs").mkdir()
    file = tmp_path / "songs" / "low tide.toml"
    shutil.copy(gig / "songs" / "low tide.toml", file)
    run("rename", file, 1, "break")
    run("shift", file, 2)
    before = load_song(file)[0]
    assert before is not None
    half = made.audio[: len(made.audio) // 2 * 2].reshape(-1, 2, 2).mean(axis=1)
    silence = np.zeros((round(1.234 * RATE), 2))
    for name, sound, rate, late, how in (
        ("a.ogg", half.mean(axis=1), RATE // 2, 0.0, {"compression_level": 0.9}),
        ("c.mp3", np.concatenate([silence, made.audio * 0.3]), RATE, 1.234, {"compression_level": 0.95}),
    ):
        audio = written(tmp_path / name, sound, rate, **how)
        capsys.readouterr()
        assert run("analyse", audio, "--gig", tmp_path) == 0
        assert f"{name}: the same music as low tide.toml" in capsys.readouterr().out
        kept = load_song(file)[0]
        assert kept is not None
        assert kept.file == name
        assert kept.sections[0].kind == "break"
        assert kept.grid.seconds([0.0, 40.0]) == pytest.approx(before.grid.seconds([0.0, 40.0]) + late, abs=0.006)
        assert len(kept.measured.loudness) == len(kept.beats)
    assert [one.name for one in (tmp_path / "songs").iterdir()] == ["low tide.toml"]
    other = written(tmp_path / "other.flac", made.audio[: RATE * 12][::-1])
    assert run("analyse", other, "--gig", tmp_path) == 0
    assert len(list((tmp_path / "songs").iterdir())) == 2


def test_several_at_once_each_with_a_file_of_its_own(made: Made, tmp_path: Path) -> None:
    for name in ("a.wav", "a.flac", "b.ogg"):
        soundfile.write(tmp_path / name, made.audio[: RATE * 12], RATE)
    assert run("analyse", tmp_path, "--gig", tmp_path, "--workers", 2) == 0
    assert run("analyse", tmp_path, "--gig", tmp_path, "--workers", 2) == 0
    assert sorted(path.name for path in (tmp_path / "songs").iterdir()) == ["a.toml", "a.wav.toml", "b.toml"]


def test_show_and_picture(gig: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = gig / "songs" / "low tide.toml"
    assert run("show", file) == 0
    assert capsys.readouterr().out.startswith("low tide\n")
    assert run("picture", file, "--to", tmp_path / "a.svg") == 0
    drawn = ET.fromstring((tmp_path / "a.svg").read_text())
    assert drawn.tag.endswith("svg")
    words = [one.text for one in drawn.iter() if one.tag.endswith("text")]
    assert "low tide" in words
    assert "1" in words


def test_corrections_are_refused_in_plain_words(gig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = gig / "songs" / "low tide.toml"
    before = file.read_text()
    assert run("move", file, 99, "5.1") == 1
    assert "there is no section 99" in capsys.readouterr().err
    assert run("shift", file, -999) == 1
    assert "outside the song" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        run("split", file, "bar 5")
    assert 'is no place: "17.1" is bar 17, beat 1, "31.5s" are seconds' in capsys.readouterr().err
    assert file.read_text() == before
