"""Fog over time, from the levels or slots that were sent. Knows no guard."""

from collections.abc import Sequence


def intervals(on: Sequence[bool], times: Sequence[float]) -> list[tuple[float, float]]:
    """When it was on; a frame lasts until the next, the last one not at all."""
    found: list[tuple[float, float]] = []
    for is_on, start, end in zip(on, times, times[1:], strict=False):
        if is_on and found and found[-1][1] == start:
            found[-1] = (found[-1][0], end)
        elif is_on:
            found.append((start, end))
    return found


def bursts(on: Sequence[bool], times: Sequence[float], rest: float) -> list[tuple[float, float]]:
    """The same, with what lies less than `rest` seconds apart taken as one."""
    found: list[tuple[float, float]] = []
    for start, end in intervals(on, times):
        if found and start - found[-1][1] < rest - 1e-6:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return found


def longest(on: Sequence[bool], times: Sequence[float], rest: float) -> float:
    """The longest burst in seconds."""
    return max((end - start for start, end in bursts(on, times, rest)), default=0.0)


def duty(on: Sequence[bool], times: Sequence[float], window: float = 600.0) -> float:
    """The most seconds on in any `window` seconds."""
    spans = intervals(on, times)
    most = 0.0
    for _, end in spans:
        begin = end - window
        most = max(most, sum(max(0.0, min(b, end) - max(a, begin)) for a, b in spans))
    return most
