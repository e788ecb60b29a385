"""An sACN receiver written from the standard's text alone: which source has a universe. It shares no code with ours.

ANSI E1.31-2018: offsets of cl. 5 to 7; priority cl. 6.2.3; network data loss 2.5 s cl. 6.7.1; stream terminated
cl. 6.2.6; sequence cl. 6.7.2.
"""

from dataclasses import dataclass, field

DATA_LOSS_S = 2.5


@dataclass
class Source:
    """What is known of one source of the universe."""

    name: str
    priority: int
    sequence: int
    heard: float
    slots: bytes


@dataclass
class SacnReceiver:
    """One universe. sources: by CID, those that are alive."""

    universe: int
    sources: dict[bytes, Source] = field(default_factory=dict)

    def take(self, packet: bytes, now: float) -> str:
        """Take a packet that came at `now` (s); gives the name of the source that has the universe, "" if none."""
        if packet[4:16] == b"ASC-E1.17\0\0\0" and packet[18:22] == b"\0\0\0\4" and self._is_mine(packet):
            self._take(packet, now)
        self.sources = {cid: one for cid, one in self.sources.items() if now - one.heard < DATA_LOSS_S}
        leading = max(self.sources.values(), key=lambda one: one.priority, default=None)
        return leading.name if leading else ""

    def _is_mine(self, packet: bytes) -> bool:
        return int.from_bytes(packet[113:115], "big") == self.universe and not packet[112] & 0x80

    def _take(self, packet: bytes, now: float) -> None:
        cid, sequence = packet[22:38], packet[111]
        if packet[112] & 0x40:
            self.sources.pop(cid, None)
            return
        if cid in self.sources:
            step = (sequence - self.sources[cid].sequence + 128) % 256 - 128
            if -20 < step <= 0:
                return
        name = packet[44:108].rstrip(b"\0").decode()
        self.sources[cid] = Source(name, packet[108], sequence, now, packet[126:])
