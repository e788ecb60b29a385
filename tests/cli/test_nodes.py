"""`nodes` and `check --live`, with what answers handed in; a real network is in tests/night/test_network.py."""

import json
from pathlib import Path

import pytest
from tests.nights import copy_gig

from lanternist.cli import main
from lanternist.outputs import artnet_station
from lanternist.outputs.contract import OutputError
from lanternist.wire.nodes import Node

BOOTH = Node("10.0.0.20", "Booth", "Booth node", False, (0, 1), ())
DESK = Node("10.0.0.9", "House desk", "", True, (), (7,))
RIG = """
[[outputs]]
universe = [1, 2]
by = "artnet"
to = "10.0.0.20"
[[outputs]]
universe = 1
by = "null"
"""


@pytest.fixture(autouse=True)
def _nothing_runs(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LANTERNIST_SOCKET", str(tmp_path / "none"))


def answering(monkeypatch: pytest.MonkeyPatch, *nodes: Node) -> None:
    monkeypatch.setattr(artnet_station, "look_around", lambda on, seconds, beyond=(): list(nodes))


def test_nodes_are_listed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    answering(monkeypatch, DESK, BOOTH)
    assert main(["nodes"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[:2] == [
        "10.0.0.9         House desk  sends 7 (0.0.7); a controller",
        "10.0.0.20        Booth       takes 0 (0.0.0), 1 (0.0.1)",
    ]
    assert main(["nodes", "--json"]) == 0
    assert [one["name"] for one in json.loads(capsys.readouterr().out)] == ["House desk", "Booth"]


def test_nobody_answers(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    answering(monkeypatch)
    assert main(["nodes"]) == 1
    assert "No Art-Net device answers." in capsys.readouterr().out


def test_cannot_look(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def fails(*_: object) -> None:
        raise OutputError("no network")

    monkeypatch.setattr(artnet_station, "look_around", fails)
    assert main(["nodes"]) == 2
    assert capsys.readouterr().err == "no network\n"


@pytest.mark.parametrize("wait", ["0", "-1", "nan", "61", "soon"])
def test_a_wait_that_is_none(wait: str) -> None:
    with pytest.raises(SystemExit):
        main(["nodes", "--wait", wait])


def test_check_live_tells_which_universe_is_lost(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    gig = copy_gig(tmp_path, outputs=RIG)
    answering(monkeypatch, BOOTH)
    assert main(["check", "--live", str(gig)]) == 1
    said = capsys.readouterr().out
    assert '  universe 1  "Booth" at 10.0.0.20 takes it\n' in said
    assert '  universe 2  LOST: "Booth" at 10.0.0.20 does not take 2 (0.0.2)' in said
    assert said.endswith("1 universe would not arrive.\n")
    assert main(["check", "--live", "--json", str(gig)]) == 1
    assert [one["fits"] for one in json.loads(capsys.readouterr().out)["live"]] == [True, False]
    answering(monkeypatch, Node("10.0.0.20", "Booth", "", False, (1, 2), ()))
    assert main(["check", "--live", str(gig)]) == 0
