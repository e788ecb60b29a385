"""DMX512 as it stands on the line, for a host that makes break and mark itself (ANSI E1.11). Times in seconds."""

BAUD = 250_000
BAUD_TOLERANCE = 0.02
SLOT_S = 11 / BAUD  # start bit, eight data bits, two stop bits: 44 us

# A transmitter's least are 92 us of break and 12 us of mark (E1.11 timing table). Some receivers want more than the
# standard lets them: 176 us is what many senders use (common practice, no source). Longer ones cost time, not light.
LEAST_BREAK_S, LEAST_MARK_S = 92e-6, 12e-6
BREAK_S, MARK_S = 176e-6, 20e-6

# With 24 slots the least break and mark just make the least time from break to break, 1204 us (E1.11 timing table).
LEAST_SLOTS, MOST_SLOTS = 24, 512

_NULL_START_CODE = b"\0"


def pack(slots: bytes, length: int = MOST_SLOTS) -> bytes:
    """What follows the mark: the start code and the slots, at least `length` of them (24 to 512), zeros after the last.

    A slot beyond `length` that is not 0 makes the packet longer: a short packet leaves no light as it was.
    """
    needed = max(length, LEAST_SLOTS, len(slots.rstrip(b"\0")))
    if needed > MOST_SLOTS:
        raise ValueError(f"{needed} slots: a universe has up to {MOST_SLOTS}")
    return _NULL_START_CODE + slots[:needed].ljust(needed, b"\0")


def line_s(packet: bytes) -> float:
    """How long the line takes for start code and slots."""
    return len(packet) * SLOT_S
