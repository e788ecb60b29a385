"""Installing the service: into a scratch folder as an image builder does, step by step, and taken back."""

import os
import re
import shutil
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.nights import DEMO

from lanternist.cli import main
from lanternist.install import plan, steps
from lanternist.install.plan import Machine, bundled
from lanternist.install.steps import Back, Step, StepError, is_ours, signed
from lanternist.runtime.gigs import load

SYSTEMD = shutil.which("systemctl") is not None and shutil.which("systemd-sysusers") is not None
needs_systemd = pytest.mark.skipif(not SYSTEMD or os.geteuid() != 0, reason="needs systemd's tools, and to be root")
# A score of systemd's own scale, 0 (closed) to 10; what a service of its kind needs (devices, network) counts 1.7.
MOST_EXPOSED = 1.7


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not all of this machine's disks for each test."""
    monkeypatch.setattr(os, "sync", lambda: None)


@pytest.fixture
def image(tmp_path: Path) -> Path:
    """A root with the groups that a Debian has from the beginning (its package base-passwd)."""
    root = tmp_path / "image"
    (root / "etc").mkdir(parents=True)
    (root / "etc/passwd").write_text("root:x:0:0:root:/root:/bin/bash\n")
    (root / "etc/group").write_text("root:x:0:\ndialout:x:20:\naudio:x:29:\n")
    return root


def files(root: Path) -> set[str]:
    """Every file and link below, but for the lists of users, which stay changed."""
    found = {str(path.relative_to(root)) for path in root.rglob("*") if path.is_symlink() or path.is_file()}
    return {name for name in found if not re.match(r"etc/(\.pwd\.lock|g?shadow|group|passwd)", name)}


def lanternist(*words: str | Path) -> int:
    return main(["install", *map(str, words)])


@needs_systemd
def test_an_image_gets_all_of_it_once_and_loses_all_of_it_again(
    image: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before, on_disk = files(image), []
    monkeypatch.setattr(os, "sync", lambda: on_disk.append(files(image)))
    assert lanternist("--root", image) == 0
    told = [line.strip() for line in capsys.readouterr().out.splitlines() if line.startswith("  ")]
    assert lanternist("--root", image, "--show") == 0
    assert f"-I -m lanternist run /{plan.GIG}" in capsys.readouterr().out
    assert files(image) == before, "telling does nothing"
    assert lanternist("--root", image, "--yes") == 0
    done = capsys.readouterr().out.splitlines()
    assert done[: len(told)] == told, "it does what it told"
    there = files(image)
    assert on_disk == [there], "the plug may be pulled now"
    assert {
        "etc/systemd/system/lanternist.service", "etc/systemd/system/multi-user.target.wants/lanternist.service",
        "etc/udev/rules.d/70-lanternist-serial.rules", "etc/lanternist/gig/rig.toml", "usr/local/bin/lanternist",
    } <= there  # fmt: skip
    users, groups = ((image / "etc" / name).read_text() for name in ("passwd", "group"))
    assert re.search(r"^lanternist:.*:/var/lib/lanternist:.*nologin$", users, re.MULTILINE)
    assert re.search(r"^dialout:x:20:lanternist$", groups, re.MULTILINE)
    assert re.search(r"^audio:x:29:lanternist$", groups, re.MULTILINE)
    assert (image / "etc/lanternist").stat().st_mode & 0o7777 == 0o2775
    assert load(image / "etc/lanternist/gig")[1] == []
    assert lanternist("--root", image, "--yes") == 0
    assert capsys.readouterr().out == "nothing to do: all is as it should be\n"
    assert lanternist("--root", image, "--remove") == 0
    assert files(image) == there
    assert lanternist("--root", image, "--remove", "--yes") == 0
    assert files(image) == before
    assert not (image / "etc/lanternist").exists()
    assert "userdel lanternist" in capsys.readouterr().out
    assert lanternist("--root", image, "--remove", "--yes") == 0
    assert "not installed" in capsys.readouterr().out


@needs_systemd
def test_what_a_person_changed_or_put_there_stays(
    image: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gig = shutil.copytree(DEMO, tmp_path / "friday")
    with (gig / "show.toml").open("a") as lines:
        lines.write("# mine\n")
    assert lanternist(gig, "--root", image, "--yes") == 0
    unit, drop_in = image / "etc/systemd/system/lanternist.service", image / "etc/systemd/system/lanternist.service.d"
    drop_in.mkdir()
    (drop_in / "override.conf").write_text("[Service]\nNice=-5\n")
    unit.write_text(unit.read_text() + "# by hand\n")
    played = image / "etc/lanternist/gig"
    capsys.readouterr()
    assert lanternist(DEMO, "--root", image, "--yes") == 0
    assert f"note: {unit} was changed by hand and stays as it is" in capsys.readouterr().out
    assert unit.read_text().endswith("# by hand\n")
    assert (played.with_name("gig-before-1") / "show.toml").read_text().endswith("# mine\n")
    assert steps.same_files(played, DEMO)
    assert lanternist(gig, "--root", image, "--yes") == 0
    assert lanternist("--root", image, "--remove", "--yes") == 0
    said = capsys.readouterr().out
    assert {str(path.relative_to(image)) for path in played.parent.glob("*/show.toml")} == {
        f"etc/lanternist/{name}/show.toml" for name in ("gig", "gig-before-1", "gig-before-2")
    }
    assert (unit.exists(), (drop_in / "override.conf").exists()) == (True, True)
    for word in ("your gig", "your changes to the service"):
        assert word in said


@needs_systemd
def test_an_older_one_of_ours_is_replaced(image: Path) -> None:
    assert lanternist("--root", image, "--yes") == 0
    unit = image / "etc/systemd/system/lanternist.service"
    new = unit.read_text()
    unit.write_text(signed("[Service]\n# of an older lanternist\n"))
    assert lanternist("--root", image, "--yes") == 0
    assert unit.read_text() == new


@needs_systemd
def test_when_a_step_fails_all_before_it_is_taken_back(
    image: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before, execute = files(image), steps.execute

    def fail(words: Sequence[str]) -> None:
        if words[0] == "systemctl":
            raise StepError("systemctl enable: no room")
        execute(words)

    monkeypatch.setattr(steps, "execute", fail)
    assert lanternist("--root", image, "--yes") == 1
    said = capsys.readouterr().err
    assert "no room" in said
    assert "was taken back" in said
    assert files(image) == before
    assert not (image / "etc/lanternist").exists()


def test_a_gig_with_mistakes_or_none_is_not_installed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    gig = shutil.copytree(DEMO, tmp_path / "gig")
    (gig / "show.toml").write_text("[[scene]]\n")
    there = files(tmp_path)
    assert lanternist(gig, "--root", tmp_path, "--yes") == 1
    assert "show.toml" in capsys.readouterr().err
    assert lanternist(tmp_path / "nowhere", "--root", tmp_path, "--yes") == 1
    assert "there is no such folder" in capsys.readouterr().err
    assert files(tmp_path) == there


def test_hindrances_are_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    [no_systemd, hidden] = plan.hindrances(Machine(Path("/"), Path("/home/dj/.venv/bin/python"), is_live=False))
    assert "there is no systemd here" in no_systemd
    assert "sudo python3 -m venv /opt/lanternist" in hidden
    assert len(plan.hindrances(Machine(tmp_path, Path("/opt/lanternist/bin/python"), is_live=False))) == 1


def test_only_root_may(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(plan, "hindrances", lambda _: [])
    monkeypatch.setattr(plan, "steps", lambda *_: [Step(["run     nothing"])])
    assert lanternist("--yes") == 2
    assert "only root may do that: sudo " in capsys.readouterr().err


def made(name: str, trace: list[str], *, fails: bool = False) -> Step:
    def do(back: Back) -> None:
        back.append(lambda: trace.append(f"-{name}"))
        if fails:
            raise StepError(name)
        trace.append(name)

    return Step([name], do)


@settings(max_examples=40)
@given(count=st.integers(0, 6), at=st.integers(0, 5))
def test_whatever_step_fails_what_was_done_is_taken_back_from_the_end(count: int, at: int) -> None:
    trace: list[str] = []
    planned = [made(str(number), trace, fails=number == at) for number in range(count)]
    if at >= count:
        steps.install(planned, lambda _: None)
        assert trace == [str(number) for number in range(count)]
        return
    with pytest.raises(StepError, match=f"^{at}\n"):
        steps.install(planned, lambda _: None)
    done = [str(number) for number in range(at)]
    assert trace == [*done, *(f"-{number}" for number in reversed([*done, str(at)]))]


def test_what_cannot_be_taken_back_is_named_and_does_not_hold_up_the_rest() -> None:
    trace: list[str] = []

    def stick(back: Back) -> None:
        def stuck() -> None:
            raise OSError("it is stuck")

        back.append(stuck)

    with pytest.raises(StepError, match="but not this: it is stuck"):
        steps.install([made("one", trace), Step(["stick"], stick), made("two", trace, fails=True)], lambda _: None)
    assert trace == ["one", "-two", "-one"]


@settings(max_examples=40)
@given(st.text(), st.text(min_size=1))
def test_a_text_of_ours_is_known_until_it_is_changed(text: str, more: str) -> None:
    assert is_ours(signed(text))
    assert not is_ours(signed(text) + more)
    assert not is_ours(text)


def test_a_command_tells_what_went_wrong() -> None:
    with pytest.raises(StepError, match=r"^sh -c .*: no room$"):
        steps.execute(["sh", "-c", "echo no room >&2; exit 1"])


# The unit itself.


def unit(tmp_path: Path, change: Callable[[str], str] = lambda text: text) -> Path:
    """The unit as it is installed, with a program that is there."""
    path = tmp_path / "lanternist.service"
    path.write_text(
        change((bundled() / "lanternist.service").read_text().replace("/opt/lanternist/bin/python", "/bin/true"))
    )
    return path


def said_by(*words: str | Path) -> tuple[int, str]:
    done = subprocess.run(["systemd-analyze", *map(str, words)], capture_output=True, text=True, timeout=60)
    return done.returncode, done.stdout + done.stderr


@needs_systemd
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    assert said_by("verify", unit(tmp_path)) == (0, "")
    assert "Unknown key" in said_by("verify", unit(tmp_path, lambda text: text.replace("KillMode", "KilMode")))[1]


@needs_systemd
def test_the_service_is_let_do_little(tmp_path: Path) -> None:
    """By `systemd-analyze security`, an independent count of what is left open."""
    limit = f"--threshold={round(MOST_EXPOSED * 10)}"
    status, said = said_by("security", "--offline=true", limit, unit(tmp_path))
    assert status == 0, said
    assert said_by("security", "--offline=true", limit, unit(tmp_path, lambda text: text.replace("NoNew", "# No")))[0]


def test_the_unit_never_gives_up_waits_for_no_network_and_plays_the_gig() -> None:
    lines = (bundled() / "lanternist.service").read_text().splitlines()
    assert {"Restart=always", "StartLimitIntervalSec=0", "Type=notify"} <= set(lines)
    assert not [line for line in lines if "network" in line and not line.startswith("#")]
    assert f"ExecStart={plan._PYTHON} -I -m lanternist run /{plan.GIG}" in lines
