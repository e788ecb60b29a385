"""The README's page on the booth, carried out in an emulator: python -m tests.booted.booth FOLDER.

Each command of the page is run on a bare Debian as it is printed. Then the service is killed, stopped and unplugged,
while its frames are received here. Not part of the suite: it makes an image of 1.5 GB and takes some minutes.
"""

import argparse
import json
import re
import socket
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from tests.booted.machine import Machine, booted, make_image, make_root
from tests.decoded import artnet_slots
from tests.nights import copy_gig
from tests.nodes import node

SOURCE = Path(__file__).parents[2]
# An adapter that is not there yet, and whose driver is not loaded when the service starts.
OUTPUTS = """[[outputs]]
universe = 1
by = "artnet"
to = "10.0.2.2"
port = {port}

[[outputs]]
universe = 1
by = "serial-break"
"""
# The page's own.
SCENE = """
[[scenes]]
name = "slow ember"
parts = [{ on = "wash", colour = "ember", intensity = 50 }]
"""
RESTART_S, HANG_S, BOOT_S = 3.0, 2.0, 180.0
RESTARTS = "systemctl show --property=NRestarts --value lanternist"


class Lights:
    """The frames that arrive, and when: monotonic seconds here. Received on a thread, whatever the machine does."""

    def __init__(self, sock: socket.socket) -> None:
        self.arrived: list[tuple[float, list[int]]] = []
        self._sock = sock
        threading.Thread(target=self._receive, daemon=True).start()

    def _receive(self) -> None:
        self._sock.settimeout(None)
        while True:
            packet = self._sock.recv(2048)
            if packet[8:10] == b"\x00\x50":
                self.arrived.append((time.monotonic(), artnet_slots(packet)[1]))

    def until(self, seconds: float, met: Callable[[list[int]], bool] = any) -> float:
        """When the first frame from now on arrived that meets a condition (that anything is lit)."""
        at, end = len(self.arrived), time.monotonic() + seconds
        while time.monotonic() < end:
            for arrived, slots in self.arrived[at:]:
                at += 1
                if met(slots):
                    return arrived
            time.sleep(0.005)
        raise SystemExit(f"no such frame within {seconds:g} s")

    def gap(self, since: float) -> float:
        """The longest time without a frame from `since` until now."""
        times = [since, *(at for at, _ in self.arrived if at >= since), time.monotonic()]
        return max(after - before for before, after in pairwise(times))


def page() -> list[list[str]]:
    """The commands of the README's page, block by block."""
    text = (SOURCE / "README.md").read_text().partition("## The box at the booth\n")[2].partition("\n## ")[0]
    blocks = re.findall(r"(?:^    \S.*\n)+", text, re.MULTILINE)
    return [[line.strip() for line in block.splitlines()] for block in blocks]


def prepare(folder: Path, suite: str, port: int) -> Path:
    """The image: a bare system, our source and a gig in the home of somebody who may sudo."""
    home, wheels = folder / "home", folder / f"wheels-{suite}"
    subprocess.run(["rm", "-rf", str(home)], check=True)
    (home / "lanternist").mkdir(parents=True)
    tree = subprocess.run(["git", "-C", str(SOURCE), "archive", "HEAD"], check=True, capture_output=True).stdout
    subprocess.run(["tar", "-x", "-C", str(home / "lanternist")], check=True, input=tree)
    for name in ("friday", "saturday"):
        gig = copy_gig(home, outputs=OUTPUTS.format(port=port), show=SCENE + f"# {name}\n").rename(home / name)
        show = gig / "show.toml"
        show.write_text(show.read_text().replace("[follow]\non = false", "[follow]\non = true"))
    python = {"bookworm": "3.11", "trixie": "3.13"}[suite]
    if not wheels.exists():
        words = [sys.executable, "-m", "pip", "download", "-q", "-d", str(wheels), "--only-binary=:all:"]
        words += [
            "--python-version",
            python,
            "--platform",
            "manylinux_2_28_x86_64",
            "--platform",
            "manylinux_2_17_x86_64",
        ]
        subprocess.run([*words, "hatchling", *_needs(python)], check=True, stderr=subprocess.DEVNULL)
    return make_image(folder, make_root(folder, suite), home, wheels, page()[0][:-2])


def _needs(python: str) -> list[str]:
    needs = tomllib.loads((SOURCE / "pyproject.toml").read_text())["project"]["dependencies"]
    return [one.partition(";")[0] for one in needs if "<" not in one.partition(";")[2] or python == "3.11"]


def say(what: str, seconds: float | None = None, most: float = float("inf")) -> None:
    """One line of the result. Ends all of it where a figure is worse than it may be."""
    print(what if seconds is None else f"{what}: {seconds:.2f} s", flush=True)
    if seconds is not None and seconds > most:
        raise SystemExit(f"that is more than {most:g} s")


def status(machine: Machine) -> dict[str, Any]:
    """What the service tells of itself."""
    told: dict[str, Any] = json.loads(machine.run("lanternist watch --json"))
    return told


def install(machine: Machine, lights: Lights) -> None:
    """The first two blocks of the page."""
    first, ask = page()[:2]
    for command in first[-2:]:
        begun = time.monotonic()
        said = machine.run(command)
        say(f"$ {command}", time.monotonic() - begun)
    print(said)
    say("frames arrive", lights.until(60, lambda _: True) - begun)
    print(machine.run("lanternist send master 90", status=3))
    machine.console.sendall(b"exec sudo su --login dj\n")  # in the groups it has now
    machine.await_login()
    for command in ask:
        once = re.sub(
            r"(lanternist watch)", r"\1 --json", re.sub("^(systemctl|sudo journalctl)", r"\1 --no-pager", command)
        )
        said = machine.run(once)
        say(f"$ {command}\n{said[-1000:]}")


def look(machine: Machine) -> None:
    """What the service was given, and what systemd thinks of it."""
    print(json.dumps(status(machine)["process"]))
    print(machine.run("systemd-analyze security lanternist.service --no-pager | tail -1"))
    print(machine.run("systemd-analyze verify /etc/systemd/system/lanternist.service"))


def trouble(machine: Machine, lights: Lights) -> None:
    """Killed, hung, killed again and again. An emulated processor is slow, so its own time is measured beside."""
    machine.run("sudo systemctl stop lanternist")
    begun = time.monotonic()
    machine.run("lanternist check friday")
    own = time.monotonic() - begun
    say("the box's own time to start the program and read a gig", own)
    begun = time.monotonic()
    machine.run("sudo systemctl start lanternist")
    say("started by systemd, which waits for the first frame", time.monotonic() - begun)
    for name, number, most in (("kill -9", "KILL", RESTART_S), ("SIGSTOP", "STOP", RESTART_S + HANG_S)):
        since = time.monotonic()
        machine.run(f"before=$({RESTARTS}); sudo systemctl kill --signal={number} --kill-who=main lanternist")
        machine.run(f"while [ $({RESTARTS}) = $before ]; do sleep 0.2; done")
        lights.until(60)
        say(f"{name}: the longest time without a frame", lights.gap(since), most + 2 * own)
    say(machine.run("sudo journalctl -u lanternist --no-pager --grep='Fatal Python error' --output=cat"))
    for _ in range(6):
        machine.run("sudo systemctl kill --signal=KILL --kill-who=main lanternist")
        lights.until(60)
    say("killed six times in a row, and it is back")


def devices(machine: Machine) -> None:
    """An adapter and a controller whose drivers were not loaded when the service started."""
    machine.ask("device_add", driver="usb-serial", chardev="line", id="adapter", serial="A1B2C3D4")
    machine.run("sudo modprobe snd-virmidi midi_devs=1")
    for kind in ("outputs", "inputs"):
        begun = time.monotonic()
        while down := [way for way in status(machine)[kind] if way["state"] != "up"]:
            if time.monotonic() > begun + 30:
                raise SystemExit(f"not used: {down}")
        say(f"{kind} that come later are used after", time.monotonic() - begun)


def again(machine: Machine, lights: Lights, name: str, begin: Callable[[], None]) -> None:
    """It starts anew: how long it is dark, and what the machine did meanwhile."""
    begun = time.monotonic()
    begin()
    machine.read_until("automatic login", BOOT_S)
    machine.await_login()
    lights.until(BOOT_S)
    say(f"{name}: the longest time without a frame", lights.gap(begun))
    print(machine.run("sudo journalctl -b -u systemd-networkd -u lanternist -o short-monotonic --no-pager"))
    print(machine.run("systemd-analyze --no-pager"))


def main() -> None:
    """All of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="for the image; what takes long to make is kept there")
    parser.add_argument("--suite", choices=("bookworm", "trixie"), default="bookworm")
    args = parser.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    with node() as receiver:
        lights = Lights(receiver.sock)
        with booted(prepare(args.folder.absolute(), args.suite, receiver.port)) as machine:
            machine.await_login()
            say(machine.run("cat /etc/debian_version; systemctl --version | head -1"))
            install(machine, lights)
            look(machine)
            trouble(machine, lights)
            devices(machine)
            again(machine, lights, "power cut", lambda: machine.ask("system_reset"))
            again(machine, lights, "reboot", lambda: machine.console.sendall(b"sudo systemctl reboot\n"))
            for line in page()[2]:
                command = line.partition("   ")[0]
                if " edit " not in command:  # which asks for an editor
                    say(f"$ {command}\n{machine.run(command)}")
            print(machine.run("ls -R /etc/lanternist; systemctl status lanternist --no-pager", status=None))


if __name__ == "__main__":
    main()
