"""What the kernel gives the daemon's process, read back from /proc."""

import os
import subprocess
import sys

import pytest

from lanternist.runtime.process import PRIORITY

SETTLED = """
import os, subprocess, sys, threading
from pathlib import Path
from lanternist.runtime.process import loop_goes_first, settle, what_it_starts_comes_last
if sys.argv[1:] == ["nobody"]:
    os.setresgid(65534, 65534, 65534)
    os.setresuid(65534, 65534, 65534)
given, other = settle(), []
loop_goes_first()
def look():
    other.append(os.sched_getscheduler(0))
    what_it_starts_comes_last()
    # Its policy is the 41st field, proc_pid_stat(5); the third comes after the name in brackets.
    stat = subprocess.run(["/bin/cat", "/proc/self/stat"], capture_output=True, text=True).stdout
    other.append(int(stat.rpartition(")")[2].split()[41 - 3]))
def priority(): return os.sched_getparam(0).sched_priority
thread = threading.Thread(target=look)
thread.start()
thread.join()
locked = next(line.split()[1] for line in Path("/proc/self/status").read_text().splitlines() if line[:6] == "VmLck:")
print(given["priority"], given["memory"], priority(), *other, int(locked) > 0, sep="; ")
"""


def settled(*who: str) -> list[str]:
    """What it is told, its priority, policies of another thread and what that starts, whether memory is locked."""
    command = [sys.executable, "-c", SETTLED, *who]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout.strip().split("; ")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may be sure to get it")
def test_it_has_priority_and_locked_memory_where_that_is_permitted() -> None:
    priority, memory, loop, *others, locked = settled()
    if priority != "real-time":
        pytest.skip(f"this machine gives no real-time priority: {priority}")
    assert (loop, *others) == (str(PRIORITY + 1), str(os.SCHED_RR), str(os.SCHED_OTHER))
    assert (memory, locked) == ("locked", "True")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody who has no such right")
def test_it_goes_on_without_them_and_says_so() -> None:
    priority, memory, loop, *others, locked = settled("nobody")
    assert priority == "not real-time: Operation not permitted"
    assert (loop, *others) == ("0", str(os.SCHED_OTHER), str(os.SCHED_OTHER))
    assert (memory, locked) == ("not locked: not permitted", "False")
