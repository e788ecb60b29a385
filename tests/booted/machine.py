"""A small Debian with systemd, booted in a virtual machine: an image made from the distribution's own packages.

Wanted on this machine: mmdebstrap, qemu-system-x86, e2fsprogs, and to be root.
"""

import json
import re
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

PACKAGES = "systemd-sysv,udev,dbus,linux-image-amd64,iproute2,kmod,sudo,ca-certificates"
BOOT_S, COMMAND_S = 300.0, 1200.0
PROMPT = "ready> "
_CONSOLE = """[Service]
ExecStart=
ExecStart=-/sbin/agetty --autologin dj --keep-baud 115200 %I dumb
"""
_NETWORK = "[Match]\nName=en*\n[Network]\nDHCP=yes\n"


class MachineError(Exception):
    """It did not do what it should."""


def make_root(folder: Path, suite: str) -> Path:
    """The bare system as a tar, from the packages; kept in `folder` for the next time."""
    made = folder / f"{suite}.tar"
    if not made.exists():
        part = folder / "part.tar"
        words = ["mmdebstrap", "--variant=minbase", f"--include={PACKAGES}", suite, str(part)]
        subprocess.run(words, check=True, capture_output=True)
        part.rename(made)
    return made


def make_image(folder: Path, root: Path, home: Path, wheels: Path, commands: Sequence[str]) -> Path:
    """A disk with the bare system, a user dj with `home`, and packages for pip in /media/wheels. Gives its folder.

    commands: what dj does before it is booted, as in a chroot nothing is slower than here.
    """
    system = folder / "system"
    shutil.rmtree(system, ignore_errors=True)
    system.mkdir(parents=True)
    subprocess.run(["tar", "-xf", str(root), "-C", str(system)], check=True)
    words = ["chroot", str(system), "useradd", "--create-home", "--shell", "/bin/bash", "--groups", "sudo", "dj"]
    subprocess.run(words, check=True)
    for path, text in {
        "etc/sudoers.d/dj": "dj ALL=(ALL) NOPASSWD: ALL\n",
        "etc/hostname": "booth\n",
        "etc/hosts": "127.0.0.1 localhost booth\n",
        "etc/fstab": "/dev/vda / ext4 defaults 0 1\n",
        "etc/pip.conf": "[global]\nno-index = true\nfind-links = /media/wheels\n",
        "etc/systemd/network/wired.network": _NETWORK,
        "etc/systemd/system/serial-getty@ttyS0.service.d/dj.conf": _CONSOLE,
        "etc/apt/apt.conf.d/quiet": 'Dpkg::Use-Pty "0"; quiet "1";\n',
        "home/dj/.hushlogin": "",
        "home/dj/.bashrc": f"PS1='{PROMPT}'; PATH=$PATH:/usr/sbin; bind 'set enable-bracketed-paste off'; stty -echo\n",
    }.items():
        place = system / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.unlink(missing_ok=True)
        place.write_text(text)
    shutil.copytree(wheels, system / "media/wheels")
    shutil.copytree(home, system / "home/dj", dirs_exist_ok=True)
    subprocess.run(["chroot", str(system), "chown", "-R", "dj:dj", "/home/dj"], check=True)
    subprocess.run(["chroot", str(system), "systemctl", "enable", "systemd-networkd"], check=True, capture_output=True)
    for command in commands:
        begun = time.monotonic()
        subprocess.run(["chroot", str(system), "su", "--login", "dj", "-c", command], check=True, capture_output=True)
        print(f"$ {command}: {time.monotonic() - begun:.2f} s", flush=True)
    for name in ("vmlinuz", "initrd.img"):
        shutil.copy(next((system / "boot").glob(f"{name}-*")), folder / name)
    disk = folder / "disk"
    disk.unlink(missing_ok=True)
    subprocess.run(["mkfs.ext4", "-q", "-d", str(system), str(disk), "3G"], check=True)
    shutil.rmtree(system)
    return folder


@dataclass
class Machine:
    """A machine that runs. Its console is at `console`, its monitor at `monitor`."""

    console: socket.socket
    monitor: socket.socket
    said: str = ""

    def read_until(self, pattern: str, seconds: float) -> str:
        """What the console says up to the pattern, which must come."""
        end, found = time.monotonic() + seconds, None
        while not (found := re.search(pattern, self.said)):
            self.console.settimeout(max(0.01, end - time.monotonic()))
            try:
                data = self.console.recv(65_536)
            except TimeoutError:
                data = b""
            if not data:
                raise MachineError(f"{pattern!r} did not come; it said: {self.said[-3000:]}")
            self.said += data.decode(errors="replace").replace("\r", "")
        before, self.said = self.said[: found.start()], self.said[found.end() :]
        return before

    def await_login(self) -> None:
        """Until somebody is at the console."""
        self.read_until(re.escape(PROMPT), BOOT_S)

    def run(self, command: str, status: int | None = 0) -> str:
        """One command as dj, to its end; what it said. status: that it must end with, None for any."""
        self.console.sendall(f'{command}; echo "ended:$?:"\n'.encode())
        said = self.read_until(r"ended:(?=\d+:)", COMMAND_S)
        ended = int(self.read_until(r":\n", 10))
        self.read_until(re.escape(PROMPT), 30)
        if status is not None and ended != status:
            raise MachineError(f"{command}: exit status {ended}, not {status}: {said}")
        return said.strip()

    def ask(self, execute: str, **arguments: object) -> None:
        """One command of the monitor."""
        self.monitor.sendall(json.dumps({"execute": execute, "arguments": arguments}).encode() + b"\n")


@contextmanager
def booted(folder: Path) -> Iterator[Machine]:
    """The machine of an image, powered on; powered off at the end. This one's loopback is its 10.0.2.2."""
    console, monitor = folder / "console", folder / "monitor"
    for path in (console, monitor):
        path.unlink(missing_ok=True)
    words = [
        "qemu-system-x86_64", "-accel", "tcg,thread=multi", "-cpu", "max", "-m", "1024", "-smp", "2", "-nodefaults",
        "-display", "none",
        "-kernel", str(folder / "vmlinuz"), "-initrd", str(folder / "initrd.img"),
        "-append", "root=/dev/vda rw console=ttyS0 quiet systemd.show_status=0",
        "-drive", f"file={folder / 'disk'},if=virtio,format=raw", "-device", "virtio-rng-pci",
        "-netdev", "user,id=n", "-device", "virtio-net-pci,netdev=n", "-device", "qemu-xhci",
        "-chardev", f"file,id=line,path={folder / 'line'}",
        "-serial", f"unix:{console},server=on,wait=off", "-qmp", f"unix:{monitor},server=on,wait=off",
    ]  # fmt: skip
    with subprocess.Popen(words, stderr=subprocess.PIPE) as process:
        try:
            machine = Machine(_connected(console), _connected(monitor))
            machine.ask("qmp_capabilities")
            yield machine
        finally:
            process.kill()


def _connected(path: Path) -> socket.socket:
    end = time.monotonic() + 20
    while True:
        made = socket.socket(socket.AF_UNIX)
        try:
            made.connect(str(path))
        except OSError:
            made.close()
            if time.monotonic() > end:
                raise
            time.sleep(0.05)
        else:
            return made
