"""`lanternist sheet` and `lanternist address`, by a parser with the command, on real files."""

import argparse
import json
import sys
from pathlib import Path

import pytest
from tests.gigs import GIG, write

from lanternist.cli import address, sheet


def run(*argv: str) -> int:
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers()
    sheet.add_parser(commands)
    address.add_parser(commands)
    args = parser.parse_args(argv)
    status: int = args.run(args)
    return status


def test_text_to_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("sheet", str(write(tmp_path))) == 0
    assert capsys.readouterr().out.startswith("Village hall\nfrom rig.toml, ")


@pytest.mark.parametrize(("name", "start"), [("s.html", b"<!doctype"), ("s.SVG", b"<svg"), ("s.txt", b"Village")])
def test_a_file(tmp_path: Path, name: str, start: bytes) -> None:
    assert run("sheet", str(write(tmp_path)), "--to", str(tmp_path / name)) == 0
    assert (tmp_path / name).read_bytes().startswith(start)


def test_no_show_is_needed_but_a_right_rig_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, {"show.toml": "= broken"})
    assert run("sheet", str(tmp_path)) == 0
    write(tmp_path, {"rig.toml": GIG["rig.toml"].replace("address = 11", "address = 7")})
    capsys.readouterr()
    assert run("sheet", str(tmp_path)) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "share slot 7" in told.err


def test_what_cannot_be_done_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path)
    assert run("sheet", str(tmp_path), "--to", "sheet.doc") == 2
    assert "has to end in .html, .svg, .png or .txt" in capsys.readouterr().err
    assert run("sheet", str(tmp_path), "--to", str(tmp_path / "no" / "s.txt")) == 2
    assert "cannot be written: No such file or directory" in capsys.readouterr().err
    assert run("sheet", str(tmp_path / "nowhere")) == 2
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    assert run("sheet", str(tmp_path), "--to", str(tmp_path / "s.png")) == 2
    assert "pip install 'lanternist[report]'" in capsys.readouterr().err


def test_addresses_are_proposed_and_written_on_request(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig = GIG["rig.toml"].replace("address = 11\n", "").replace("address = 201\n", "")
    write(tmp_path, {"rig.toml": rig})
    assert run("address", str(tmp_path), "--gap", "2") == 0
    assert capsys.readouterr().out == (
        "  par 1    universe 1        1-7  set in the file\n"
        "  par 2    universe 1      10-16  the next free after par 1, before head\n"
        "  head     universe 1    101-116  set in the file\n"
        "  own par  universe 1      19-24  the next free after par 2, before head\n"
        "2 addresses proposed; nothing is written. --write puts them into rig.toml.\n"
    )
    assert (tmp_path / "rig.toml").read_text() == rig
    assert run("address", str(tmp_path), "--write") == 0
    assert capsys.readouterr().out.endswith("2 addresses written into rig.toml.\n")
    assert run("address", str(tmp_path)) == 0
    assert capsys.readouterr().out.endswith("Nothing to propose.\n")
    assert run("sheet", str(tmp_path)) == 0


def test_address_as_json_and_without_room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, {"rig.toml": GIG["rig.toml"].replace("address = 11\n", "")})
    assert run("address", str(tmp_path), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["proposals"][1]["address"] == 8
    assert told["problems"] == []
    assert run("address", str(tmp_path), "--gap", "300") == 1
    assert "1 could not be found" not in capsys.readouterr().err


def test_address_where_nothing_can_be_read_or_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("address", str(tmp_path / "nowhere")) == 2
    assert run("address", str(tmp_path)) == 1
    assert "there is no such file" in capsys.readouterr().out
    rig = GIG["rig.toml"].replace('mode = "7"\naddress = 11\n', 'mode = """\n7"""\n')
    write(tmp_path, {"rig.toml": rig})
    assert run("address", str(tmp_path), "--write") == 2
    assert "cannot be written: it is written in a way" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        run("address", str(tmp_path), "--gap", "-1")
