"""`lanternist profile from-gdtf`, by a parser with the command, on files that the library's own writer wrote."""

import argparse
import sys
from pathlib import Path

import pytest
from tests.gdtf_files import fixture_type, head, write

from lanternist.cli import profile


def run(*argv: str) -> int:
    parser = argparse.ArgumentParser()
    profile.add_parser(parser.add_subparsers())
    args = parser.parse_args(["profile", "from-gdtf", *argv])
    status: int = args.run(args)
    return status


@pytest.fixture(name="file")
def _file(tmp_path: Path) -> str:
    return str(write(fixture_type({"long": head(), "short": head()[:2]}), tmp_path / "type.gdtf"))


def test_the_profile_is_printed_and_what_is_left_out_beside_it(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(file) == 0
    told = capsys.readouterr()
    assert told.out.startswith('title = "A type of our own"\n')
    assert "[modes.long]" in told.out
    assert told.err.startswith("Not in the profile:\n  - ")
    assert run(file, "--mode", "short") == 0
    assert capsys.readouterr().err == ""


def test_it_is_written_but_never_over_a_file(file: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to = tmp_path / "type.toml"
    assert run(file, "--to", str(to)) == 0
    before = to.read_text()
    assert before.startswith("title = ")
    assert run(file, "--to", str(to)) == 2
    assert "cannot be written: File exists" in capsys.readouterr().err
    assert to.read_text() == before


def test_what_cannot_be_done_is_said(
    file: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(str(tmp_path / "none.gdtf")) == 2
    assert "cannot be read: No such file" in capsys.readouterr().err
    assert run(file, "--mode", "middle") == 1
    assert 'its modes are "long", "short"' in capsys.readouterr().err
    assert run(__file__) == 1
    assert "no ZIP archive" in capsys.readouterr().err
    monkeypatch.setitem(sys.modules, "pygdtf", None)
    assert run(file) == 2
    assert "pip install 'lanternist[gdtf]'" in capsys.readouterr().err
