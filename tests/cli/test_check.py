"""`lanternist check`, by a parser with this one command, on real files and the outputs that are installed."""

import argparse
import json
from pathlib import Path

import pytest
from tests.gigs import GIG, write

from lanternist.cli import check
from lanternist.cli.check import CAUTIONS


def run(*argv: str) -> int:
    parser = argparse.ArgumentParser()
    check.add_parser(parser.add_subparsers())
    args = parser.parse_args(["check", *argv])
    status: int = args.run(args)
    return status


def test_a_right_gig_is_summed_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(write(tmp_path))) == 0
    told = capsys.readouterr()
    assert told.out.startswith("""\
Low tide on Village hall
  fixtures    4: 3 wash, 1 spot
  universe 1  36 of 512 slots used, free from 207 on
  scenes      1, and 1 chase
  bindings    2
  output      null, universe 1
""")
    assert told.out.endswith("\nNothing wrong.\n")
    assert told.err == ""
    assert all(caution in told.out for caution in CAUTIONS)


def test_problems_are_told_with_their_line_and_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changed = {
        "rig.toml": GIG["rig.toml"].replace("address = 11", "address = 600").replace("second = 3", "second = 4"),
        "show.toml": GIG["show.toml"].replace('hold = "house"', 'hold = "hose"'),
    }
    assert run(str(write(tmp_path, changed))) == 1
    guidance = "3 is the published default (W3C, WCAG 2.x), 4 the event guidance (UK HSE)"
    assert (
        capsys.readouterr().out
        == f"""\
rig.toml:16: fixtures[2] "par 2".address: 600 is past the end; a universe has 512 slots (1 to 512)
    address = 600
rig.toml:33: warning: limits.flashes_per_second: 4 flashes a second are more than the published default, \
and can harm people; {guidance}
    flashes_per_second = 4
show.toml:26: bindings[1].hold: there is no scene or chase "hose"; did you mean "house"?
    hold = "hose"

2 mistakes and 1 warning: this gig is not played until the mistakes are mended.
"""
    )


def test_warnings_alone_are_no_mistake(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changed = {"rig.toml": GIG["rig.toml"].replace("second = 3", "second = 4")}
    assert run(str(write(tmp_path, changed))) == 0
    told = capsys.readouterr().out
    assert told.startswith("rig.toml:33: warning: ")
    assert told.endswith("\nNothing wrong, but 1 warning above.\n")


def test_another_rig(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, {"rink.toml": GIG["rig.toml"].replace("Village hall", "Harbour rink")})
    assert run(str(tmp_path), "--rig", "rink.toml") == 0
    assert "Low tide on Harbour rink" in capsys.readouterr().out
    assert run(str(tmp_path), "--rig", "../rink.toml") == 1


def test_nowhere_to_look(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(tmp_path / "nowhere")) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.endswith("nowhere: there is no such folder; a gig is a folder with rig.toml and show.toml\n")
    write(tmp_path)
    assert run(str(tmp_path / "rig.toml")) == 2


def test_an_empty_folder_has_mistakes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(tmp_path)) == 1
    assert capsys.readouterr().out == (
        "rig.toml: there is no such file\nshow.toml: there is no such file\n\n"
        "2 mistakes: this gig is not played until the mistakes are mended.\n"
    )


def test_the_installed_outputs_are_asked_for_their_settings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, {"rig.toml": GIG["rig.toml"].replace('"null"', '"artnet"\nto = "10.0.0.20"\nprot = 6454')})
    assert run(str(tmp_path)) == 1
    assert 'outputs[1].prot: "prot" is not known here; did you mean "port"?' in capsys.readouterr().out


def test_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(write(tmp_path)), "--json") == 0
    right = json.loads(capsys.readouterr().out)
    assert right["problems"] == []
    assert right["summary"]["universes"] == [{"number": 1, "used": 36, "free_from": 207}]
    assert right["summary"]["fixtures"] == 4
    write(tmp_path, {"rig.toml": GIG["rig.toml"].replace("address = 11", "address = 600")})
    assert run(str(tmp_path), "--json") == 1
    assert json.loads(capsys.readouterr().out) == {
        "problems": [
            {
                "file": "rig.toml",
                "line": 16,
                "column": 1,
                "key": 'fixtures[2] "par 2".address',
                "message": "600 is past the end",
                "remedy": "a universe has 512 slots (1 to 512)",
                "severity": "mistake",
                "quote": "address = 600",
            }
        ],
        "summary": None,
    }
