"""The command `lanternist profile`, as people meet it."""

import os
import pty
import select
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.files.test_new_profile import HEAD
from tests.running import PATIENCE

from lanternist.cli import main
from lanternist.files.profiles import profile_files

PAR = 'title = "Par"\nkind = "wash"\n[modes.3]\nslots = ["red", "green", "blue"]\n'


def test_a_right_profile_is_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "par.toml").write_text(PAR)
    assert main(["profile", "check", str(tmp_path / "par.toml")]) == 0
    assert "mode 3: 3 slots" in capsys.readouterr().out


@pytest.mark.parametrize("name", profile_files())
def test_each_that_comes_with_us_is_shown_whole(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["profile", "check", name]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 100
    assert not out.endswith("\n\n")


def test_a_wrong_profile_is_told_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "par.toml"
    file.write_text(PAR.replace('"green"', '"grene"').replace("wash", "wahs"))
    assert main(["profile", "check", str(file)]) == 1
    assert f'{file}:2: kind: "wahs"' in capsys.readouterr().out
    file.write_text(PAR.replace('"green"', '"grene"'))
    assert main(["profile", "check", str(file)]) == 1
    assert f'{file}:4: modes.3.slots[2]: no slot does "grene"; did you mean "green"?' in capsys.readouterr().out
    assert main(["profile", "check", str(tmp_path / "none.toml")]) == 2


def test_those_there_are_can_be_searched(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["profile", "list", "hazer"]) == 0
    assert capsys.readouterr().out.startswith("hazer ")


def terminal(tmp_path: Path, *more: str) -> tuple[subprocess.Popen[bytes], int]:
    """`profile new` on a terminal of its own."""
    master, slave = pty.openpty()
    running = subprocess.Popen(
        [sys.executable, "-m", "lanternist", "profile", "new", *more],
        stdin=slave, stdout=slave, stderr=slave, cwd=tmp_path, start_new_session=True,
    )  # fmt: skip
    os.close(slave)
    return running, master


def read_until(master: int, text: str) -> str:
    heard = ""
    while text not in heard:
        assert select.select([master], [], [], PATIENCE)[0], heard
        heard += os.read(master, 4096).decode()
    return heard


def test_a_new_profile_is_written_and_passes_the_check(tmp_path: Path) -> None:
    running, master = terminal(tmp_path)
    read_until(master, "What is it?")
    os.write(master, "".join(f"{answer}\n" for answer in [*HEAD, ""]).encode())
    read_until(master, "Written: moving-spot.toml")
    assert running.wait(30) == 0
    os.close(master)
    assert main(["profile", "check", str(tmp_path / "moving-spot.toml")]) == 0


def test_ctrl_c_leaves_nothing_behind(tmp_path: Path) -> None:
    running, master = terminal(tmp_path)
    read_until(master, "What is it?")
    os.write(master, b"Par\n")
    read_until(master, "Kind [wash]: ")
    running.send_signal(signal.SIGINT)
    # One that comes just before the terminal is read is only seen when something else comes.
    while not select.select([master], [], [], 2.0)[0]:
        running.send_signal(signal.SIGINT)
    heard = read_until(master, "nothing is written")
    assert running.wait(30) == 1
    os.close(master)
    assert "Traceback" not in heard
    assert not list(tmp_path.iterdir())


def test_a_file_that_is_there_is_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "par.toml").write_text(PAR)
    assert main(["profile", "new", str(tmp_path / "par.toml")]) == 2
    assert "exists already" in capsys.readouterr().err
    assert (tmp_path / "par.toml").read_text() == PAR
