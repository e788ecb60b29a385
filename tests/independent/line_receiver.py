"""A DMX512 receiver that reads a line by its edges, written from ANSI E1.11 alone: no code of lanternist in it."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field

BIT = 4e-6  # E1.11: 250 kbit/s
# What a transmitter must keep (E1.11 timing table), in seconds.
TX_BREAK, TX_MARK, TX_BREAK_TO_BREAK = 92e-6, 12e-6, 1204e-6
# A low of this length is no character: a start bit and eight zeros are 36 us; a receiver accepts a break from 88 us.
RX_BREAK = 88e-6


@dataclass
class Packet:
    """One packet. at: when its break began; break_s, mark_s: how long they were; data: start code and slots."""

    at: float
    break_s: float
    mark_s: float
    data: bytearray = field(default_factory=bytearray)


def receive(edges: Sequence[tuple[float, bool]]) -> tuple[list[Packet], list[str]]:
    """Packets and framing errors on a line that is high before its first edge. edges: (time, level after it)."""
    times = [at for at, _ in edges]
    packets: list[Packet] = []
    errors: list[str] = []

    def level(at: float) -> bool:
        place = bisect_right(times, at)
        return edges[place - 1][1] if place else True

    def next_edge(after: float, *, to: bool) -> float | None:
        places = range(bisect_right(times, after), len(edges))
        return next((times[place] for place in places if edges[place][1] is to), None)

    now: float | None = next_edge(-1.0, to=False)
    while now is not None:
        rise = next_edge(now, to=True)
        if rise is None:
            break
        if rise - now >= RX_BREAK - 1e-9:
            fall = next_edge(rise, to=False)
            packets.append(Packet(now, rise - now, (fall - rise) if fall is not None else 1.0))
            now = fall
            continue
        bits = [level(now + (place + 0.5) * BIT) for place in range(11)]
        if bits[0] or not (bits[9] and bits[10]):
            errors.append(f"no character at {now:.6f}: {bits}")
        if not packets:
            errors.append(f"a character without a break at {now:.6f}")
        else:
            packets[-1].data.append(sum(bit << place for place, bit in enumerate(bits[1:9])))
        end = now + 10.75 * BIT
        now = end if not level(end) else next_edge(end, to=False)
    return packets, errors
