"""What the daemon asks of the kernel so that frames are on time: exact timers, real-time priority, locked memory."""

import ctypes
import faulthandler
import gc
import os
import resource
import sys
from contextlib import suppress

# Below what the kernel gives to its own interrupt threads (50): packets and USB transfers go before our arithmetic.
PRIORITY = 10
_PR_SET_TIMERSLACK = 29  # linux/prctl.h
# mman.h: all there is, all to come, and each page only once it is used, or every thread's stack would be filled.
_MCL_CURRENT, _MCL_FUTURE, _MCL_ONFAULT = 1, 2, 4


def settle() -> dict[str, str]:
    """Ask for all of it; what came of it, for `watch`.

    To be called on the loop's thread before the others begin, as they take after it.
    """
    faulthandler.enable()  # the watchdog's SIGABRT tells where each thread stood
    gc.collect()
    gc.freeze()
    sys.setswitchinterval(0.0005)
    ctypes.CDLL(None).prctl(_PR_SET_TIMERSLACK, 1, 0, 0, 0)
    return {"priority": _go_first(), "memory": _lock_memory()}


def _go_first() -> str:
    """Real-time priority for every thread, the loop's one above the others.

    All of them, since one that holds the interpreter lock and waits for a processor would keep the loop waiting too.
    """
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(PRIORITY))
    except OSError as error:
        return f"not real-time: {error.strerror}"
    return "real-time"


def loop_goes_first() -> None:
    """One above the other threads, once they have begun; nothing where they have no real-time priority."""
    if os.sched_getscheduler(0) == os.SCHED_RR:
        with suppress(PermissionError):  # a limit of exactly PRIORITY
            os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(PRIORITY + 1))


def what_it_starts_comes_last() -> None:
    """Processes that this thread starts have no real-time priority, from their first instruction on."""
    policy = os.sched_getscheduler(0)
    if policy == os.SCHED_RR:
        with suppress(OSError):
            os.sched_setscheduler(0, policy | os.SCHED_RESET_ON_FORK, os.sched_getparam(0))


def _lock_memory() -> str:
    """Keep every page that is used in memory.

    Only without a limit: one that is met later would make memory fail that could have been had.
    """
    if resource.getrlimit(resource.RLIMIT_MEMLOCK)[0] != resource.RLIM_INFINITY and os.geteuid():
        return "not locked: not permitted"
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.mlockall(_MCL_CURRENT | _MCL_FUTURE | _MCL_ONFAULT):
        return f"not locked: {os.strerror(ctypes.get_errno())}"
    return "locked"
