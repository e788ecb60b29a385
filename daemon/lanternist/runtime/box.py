"""What this machine says of itself: files of the kernel and of its services, rights and routes. Nothing is changed."""

import os
import resource
import shutil
import socket
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from lanternist.outputs.interfaces import interface_of

Limit = Literal["rtprio", "memlock"]
Protocol = Literal["udp", "tcp"]
_LIMITS = {"rtprio": resource.RLIMIT_RTPRIO, "memlock": resource.RLIMIT_MEMLOCK}
_DISCARD_PORT = 9


@dataclass(frozen=True, slots=True)
class Box:
    """The machine whose files begin at `root`."""

    root: Path = Path("/")

    def path(self, name: str) -> Path:
        """Where one of its files is; name: absolute, as on the machine itself."""
        return self.root / name.lstrip("/")

    def has(self, name: str) -> bool:
        """Whether there is such a file, folder or link."""
        return os.path.lexists(self.path(name))

    def text(self, name: str) -> str:
        """What a file says, without white space at its ends; empty if it cannot be read."""
        try:
            return self.path(name).read_text(errors="replace").strip()
        except OSError:
            return ""

    def find(self, pattern: str) -> list[str]:
        """The names of all files that match, in order."""
        return sorted(f"/{path.relative_to(self.root)}" for path in self.root.glob(pattern.lstrip("/")))

    def real(self, name: str) -> str:
        """Where a link ends up, as a name on the machine."""
        path = self.path(name).resolve()
        return f"/{path.relative_to(self.root.resolve())}" if path.is_relative_to(self.root.resolve()) else str(path)

    def may_use(self, name: str) -> bool:
        """Whether this user may read and write it."""
        return os.access(self.path(name), os.R_OK | os.W_OK)

    def limit(self, which: Limit) -> float:
        """How far this user may go with it; infinite for root."""
        soft, _ = resource.getrlimit(_LIMITS[which])
        return float("inf") if soft == resource.RLIM_INFINITY or os.geteuid() == 0 else float(soft)

    def free(self, name: str) -> float:
        """Free megabytes on the disk that holds a folder, or would hold it."""
        path = self.path(name)
        while not path.exists():
            path = path.parent
        return shutil.disk_usage(path).free / 1e6

    def is_read_only(self, name: str) -> bool:
        """Whether that disk takes nothing."""
        path = self.path(name)
        while not path.exists():
            path = path.parent
        return bool(os.statvfs(path).f_flag & os.ST_RDONLY)

    def route(self, address: str) -> str:
        """The address of ours from which packets for an IPv4 address would leave. Sends none. Raises OSError."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
            probe.connect((address, _DISCARD_PORT))
            return str(probe.getsockname()[0])

    def route_leaves_by(self, address: str) -> str:
        """The name of the network interface that packets for an IPv4 address leave by. Raises OSError."""
        ours = interface_of(self.route(address))
        return ours.name if ours is not None else "?"

    def ports(self, protocol: Protocol) -> set[int]:
        """The ports that somebody listens on (proc(5)); state 0A is LISTEN, 07 a UDP socket that is not connected."""
        return set(_ports(self.text(f"/proc/net/{protocol}"), "07" if protocol == "udp" else "0A"))

    def process(self, pid: int) -> dict[str, float]:
        """What the kernel says of a process (proc(5)), named by unit; less of it if it belongs to another user."""
        found: dict[str, float] = {}
        stat = self.text(f"/proc/{pid}/stat").rpartition(")")[2].split()
        if len(stat) > 21:
            ticks = os.sysconf("SC_CLK_TCK")
            found["cpu_seconds_total"] = (int(stat[11]) + int(stat[12])) / ticks
            found["threads"] = float(stat[17])
            found["resident_memory_bytes"] = self._resident(pid) or float(int(stat[21]) * os.sysconf("SC_PAGE_SIZE"))
        with suppress(OSError):
            found["open_fds"] = float(sum(1 for _ in self.path(f"/proc/{pid}/fd").iterdir()))
        return found

    def _resident(self, pid: int) -> float:
        """Bytes of a process's memory, to the page; what `stat` tells may be off by hundreds of kB. 0: not told."""
        lines = self.text(f"/proc/{pid}/smaps_rollup").splitlines()
        return sum(1024.0 * int(line.split()[1]) for line in lines if line.startswith("Rss:"))


def _ports(table: str, state: str) -> Iterator[int]:
    for line in table.splitlines()[1:]:
        words = line.split()
        if len(words) > 3 and words[3] == state:
            yield int(words[1].rsplit(":", 1)[1], 16)
