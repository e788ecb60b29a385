"""What belongs to an installed service: the files of `systemd/`, the gig, the user, and what systemd is told."""

import grp
import os
import pwd
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lanternist.install.steps import Step, StepError, command, execute, gig, leftover, link, text_file

FOLDER = "systemd"
USER = "lanternist"
GIG = Path("etc/lanternist/gig")
_UNIT = Path("etc/systemd/system/lanternist.service")
_PYTHON = "/opt/lanternist/bin/python"
# What the service is not let see.
_HIDDEN = ("home", "root", "tmp", "var/tmp", "run/user")


@dataclass(frozen=True)
class Machine:
    """Where to install.

    root: "/", or the folder of an image. python: the interpreter with lanternist as that machine has it. is_live:
    whether systemd runs there. person: who should be let ask the service, "" if nobody in particular.
    """

    root: Path
    python: Path
    is_live: bool
    person: str = ""


def bundled() -> Path:
    """The folder of the files that come with us: in an installed package, or in the source tree."""
    packaged = Path(__file__).resolve().parents[1] / FOLDER
    return packaged if packaged.is_dir() else Path(__file__).resolve().parents[3] / FOLDER


def hindrances(machine: Machine) -> list[str]:
    """Why there cannot be a service like this."""
    found = []
    if shutil.which("systemctl") is None:
        found.append("there is no systemd here; let whatever starts programs here keep `lanternist run GIG` running")
    real = (machine.python, machine.python.resolve())
    hidden = [folder for folder in _HIDDEN if any(one.is_relative_to(Path("/") / folder) for one in real)]
    if hidden and machine.root == Path("/"):
        found.append(
            f"this lanternist is in /{hidden[0]}, which the service is not let see; make it a place of its own:\n"
            "  sudo python3 -m venv /opt/lanternist, and install lanternist with /opt/lanternist/bin/pip"
        )
    return found


def steps(machine: Machine, source: Path | None) -> list[Step]:
    """All of it in order. source: the gig to play; None: the one that is there, else the demo. Raises StepError."""
    root = machine.root
    path = root / GIG
    demo = Path(__file__).resolve().parents[1] / "demo"
    played = gig(source or (path if path.is_dir() else demo), path, demo)
    service = _service(machine, gig_is_new=bool(played.does))
    return [*_plays_on(machine), *_who(machine), played, *_around(machine), *service]


def _plays_on(machine: Machine) -> list[Step]:
    """What plays now plays again, as it was, when all else had to be taken back."""
    if not machine.is_live or not _is_active(_UNIT.name):
        return []
    return [Step(do=lambda back: back.append(lambda: execute(["systemctl", "restart", _UNIT.name])))]


def _who(machine: Machine) -> list[Step]:
    """The user, the folder, the group of those who may ask."""
    root, at = machine.root, _at(machine.root)
    sysusers, tmpfiles = root / "etc/sysusers.d/lanternist.conf", root / "etc/tmpfiles.d/lanternist.conf"
    made = [
        text_file(sysusers, _text("lanternist-sysusers.conf"), "the user that plays"),
        command(["systemd-sysusers", *at, str(sysusers)], lambda: _has_user(root)),
        text_file(tmpfiles, _text("lanternist-tmpfiles.conf"), "the folder for the gig"),
        leftover(root / "var/lib/lanternist", "what it kept of the last night"),
        leftover(root / GIG.parent, "the folder for the gig", only_empty=True),
        command(["systemd-tmpfiles", "--create", *at, str(tmpfiles)], lambda: (root / GIG.parent).is_dir()),
    ]
    if machine.person:
        words = ["usermod", "-aG", USER, machine.person]
        made.append(command(words, lambda: _is_member(machine.person)))
    return made


def _around(machine: Machine) -> list[Step]:
    """Adapters, and the command's name."""
    root = machine.root
    again = [["udevadm", "control", "--reload"], ["udevadm", "trigger", "--subsystem-match=tty"]]
    rules = "70-lanternist-serial.rules"
    return [
        text_file(root / "etc/udev/rules.d" / rules, _text(rules), "USB adapters", again if machine.is_live else ()),
        link(root / "usr/local/bin/lanternist", machine.python.with_name("lanternist"), "the command, for everybody"),
    ]


def _service(machine: Machine, *, gig_is_new: bool) -> list[Step]:
    """The unit, and that it is started, now and with the machine."""
    root, name = machine.root, _UNIT.name
    text = _text(_UNIT.name).replace(_PYTHON, str(machine.python))
    wanted = root / "etc/systemd/system/multi-user.target.wants" / name
    again = [["systemctl", "daemon-reload"]] if machine.is_live else []
    unit = text_file(root / _UNIT, text, "starts it with the machine", again)
    made = [
        unit,
        command(
            ["systemctl", *_at(root), "enable", name], lambda: os.path.lexists(wanted),
            ["systemctl", *_at(root), "disable", name],
        ),
    ]  # fmt: skip
    if machine.is_live:
        is_playing = _is_active(name) and not unit.does
        how, back = ("reload", ()) if is_playing and gig_is_new else ("restart", ("systemctl", "stop", name))
        made.append(command(["systemctl", how, name], lambda: is_playing and not gig_is_new, back))
    return made


def stays(machine: Machine) -> list[str]:
    """What is not removed, as it may belong to a person."""
    root = machine.root
    kept = [f"{root / GIG}: your gig"] if os.path.lexists(root / GIG) else []
    if (root / f"{_UNIT}.d").is_dir():
        kept.append(f"{root / _UNIT}.d: your changes to the service")
    if _has_user(root):
        kept.append(f"the user {USER}, since files may still belong to it: userdel {USER}")
    return kept


def _text(name: str) -> str:
    try:
        return (bundled() / name).read_text()
    except OSError as error:
        raise StepError(f"{bundled() / name} should have come with lanternist: {error.strerror}") from error


def _at(root: Path) -> Sequence[str]:
    return () if root == Path("/") else (f"--root={root}",)


def _has_user(root: Path) -> bool:
    try:
        return any(line.startswith(f"{USER}:") for line in (root / "etc/passwd").read_text().splitlines())
    except FileNotFoundError:
        return False


def _is_member(person: str) -> bool:
    try:
        return person in grp.getgrnam(USER).gr_mem or pwd.getpwnam(person).pw_gid == grp.getgrnam(USER).gr_gid
    except KeyError:
        return False


def _is_active(name: str) -> bool:
    return subprocess.run(["systemctl", "is-active", "--quiet", name], check=False).returncode == 0  # noqa: S603, S607
