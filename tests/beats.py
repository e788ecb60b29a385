"""When beats land on the wire: a daemon flips a light on every beat of a MIDI clock, the kernel stamps its packets."""

import statistics
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.decoded import artnet_slots
from tests.nights import connected, copy_gig, playing
from tests.nodes import Node, node
from tests.players import Player, music

HALF_FRAME_S = 0.0125
LEAD_S = 0.06
SKIPPED = 8  # beats in which the clock finds its tempo
FLIP = """
[[scenes]]
name = "flip"
priority = 200
[[scenes.parts]]
on = "wash"
intensity = { wave = "square", low = 10, high = 90, every = "2 beats" }
"""


@dataclass(frozen=True)
class Landing:
    """off: for every beat, seconds from it, less the lead, to its packet; above 0: late. wrong: flips the wrong way.

    witness: how late the sender of the beats was with each tick, in seconds: what this machine did to it meanwhile.
    """

    off: list[float]
    wrong: int
    witness: list[float]
    frames: dict[str, Any]

    @property
    def missed(self) -> list[float]:
        """How far from its beat each packet was, early or late."""
        return [abs(one) for one in self.off]


def quantile(values: list[float], share: float) -> float:
    """The value that `share` of the values do not exceed."""
    return sorted(values)[min(len(values) - 1, round(share * (len(values) - 1)))]


def land(folder: Path, bpm: float, beats: int) -> Landing:
    """Play so many beats and watch them land."""
    with node() as receiver:
        outputs = "\n".join([
            '[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"',
            f"port = {receiver.port}\nlead_ms = {LEAD_S * 1000}\n",
        ])  # fmt: skip
        inputs = '[[inputs]]\nby = "midi-tcp"\nport = 0\n'
        with playing(copy_gig(folder, outputs=outputs, inputs=inputs, show=FLIP, on_stop="hold")) as night:
            with connected(night.door("midi-tcp")) as line:
                night.send("start", "flip")
                receiver.stamp()
                receiver.waiting()
                with music(line, bpm) as player:
                    off, wrong = _watch(receiver, player, beats)
            frames = night.status()["frames"]
            assert night.stop() == 0, night.said()
    return Landing(off, wrong, player.late, frames)


def _watch(receiver: Node, player: Player, beats: int) -> tuple[list[float], int]:
    off: list[float] = []
    wrong, before = 0, None
    while True:
        packet, at = receiver.stamped()
        beat = player.beat_at(at + LEAD_S)
        if beat > SKIPPED + beats - 0.5:
            return off, wrong
        high = artnet_slots(packet)[1][0] > 127
        if high != before and before is not None and beat > SKIPPED - 0.5:
            # All that is known of the wave: it is high from even beats on, and low from odd ones on.
            wrong += high != (round(beat) % 2 == 0)
            off.append((beat - round(beat)) * 60 / player.bpm)
        before = high


def within_half_a_frame(landing: Landing, beats: int, share: float) -> bool:
    """Whether every beat landed, the typical one and `share` of all within half a frame.

    Of a share of all, what the machine made the sender itself late is taken off: it did the same to the daemon.
    """
    return (
        len(landing.off) == beats
        and landing.wrong == 0
        and statistics.median(landing.missed) <= HALF_FRAME_S
        and quantile(landing.missed, share) <= HALF_FRAME_S + quantile(landing.witness, share)
    )
