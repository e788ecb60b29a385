"""A night that is cut short, and the one after it: light soon, what stood stands again, and no file can prevent it."""

import signal
import subprocess
import sys
import time
from pathlib import Path

from tests.decoded import artnet_slots
from tests.nights import PATIENCE, Night, copy_gig, playing
from tests.nodes import Node, node
from tests.running import until

# Imports of what a daemon cannot do without, in an interpreter that does nothing else.
BARE = "import numpy, pydantic, asyncio, logging.handlers"
RESTART_S = 3.0
USUAL_BARE_S = 0.25
FULL = 255  # the first dimmer in the scene of that name


def gig_in(folder: Path, receiver: Node) -> Path:
    outputs = f'[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {receiver.port}\n'
    return copy_gig(folder, outputs=outputs, inputs='[[inputs]]\nby = "osc"\nport = 0\n', on_stop="blackout")


def shown(receiver: Node, level: int, most: int = 400) -> list[int]:
    """Wait until the first par is at that level; all levels that it had up to then."""
    levels: list[int] = []
    while not levels or levels[-1] != level:
        levels.append(artnet_slots(receiver.receive())[1][0])
        assert len(levels) < most, levels
    return levels


def names(night: Night) -> list[str]:
    return [scene["name"] for scene in night.status()["scenes"]]


def keep_full(night: Night, receiver: Node) -> None:
    """Have "full" on, and kept."""
    night.status()
    night.send("start", "full")
    shown(receiver, FULL)
    writes = int(night.status()["state"]["writes"])
    night.send("level", "full", 1.0)
    until(lambda: night.status()["state"]["writes"] > writes)


def test_after_a_kill_there_is_light_in_three_seconds_and_it_is_what_was_on(tmp_path: Path) -> None:
    with node() as receiver:
        gig = gig_in(tmp_path, receiver)
        with playing(gig) as night:
            keep_full(night, receiver)
            night.stop(signal.SIGKILL)
        receiver.waiting()
        [kept] = (tmp_path / "state/lanternist").iterdir()
        whole, bare, begun = kept.read_bytes(), bare_start(), time.monotonic()
        with playing(gig) as night:
            light = lit_at(receiver) - begun
            # Softly: the guard holds what would be a flash, and nothing falls on the way up.
            levels = shown(receiver, FULL)
            assert levels == sorted(levels)
            assert names(night) == ["house", "full"]
            assert night.stop() == 0
            assert "the last night was cut short" in night.said()
        # Three seconds on a machine that has nothing else to do, where the bare interpreter takes USUAL_BARE_S.
        slower = max(1.0, bare / USUAL_BARE_S, bare_start() / USUAL_BARE_S)
        assert light < RESTART_S * slower, (light, bare)
        # What was stopped has ended.
        assert list(kept.parent.iterdir()) == []
        kept.write_bytes(whole[: len(whole) // 2])
        with playing(gig) as night:
            assert names(night) == ["house"]
            assert f"is torn; it is set aside as {kept.stem}.aside, and the night begins anew" in night.said()


def lit_at(receiver: Node) -> float:
    """When the first packet came that shows light."""
    receiver.stamp()
    packet, at = receiver.stamped(PATIENCE)
    while not artnet_slots(packet)[1][0]:
        packet, at = receiver.stamped(PATIENCE)
    return at


def bare_start() -> float:
    """Seconds that the imports take alone."""
    begun = time.monotonic()
    subprocess.run([sys.executable, "-c", BARE], check=True)
    return time.monotonic() - begun
