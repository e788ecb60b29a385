"""A hot spare: two boxes send the same rig, and the standard's priority alone decides which has the light."""

import signal
from pathlib import Path

from tests.independent.sacn_receiver import DATA_LOSS_S, SacnReceiver
from tests.nights import copy_gig, playing
from tests.nodes import node

FRAME_S = 0.025
# A frame may be late on a busy machine, and the spare's newest may have gone out just before.
SOME_FRAMES_S = 10 * FRAME_S


def outputs(port: int, name: str, priority: int) -> str:
    return f"""
[[outputs]]
universe = 1
by = "sacn"
to = "127.0.0.1"
port = {port}
priority = {priority}
source_name = "{name}"
"""


def test_when_the_first_dies_the_spare_has_the_rig(tmp_path: Path) -> None:
    """ANSI E1.31-2018 cl. 6.2.3 and 6.7.1: the highest priority has it, and who is silent for 2.5 s is gone."""
    for name in ("first", "spare"):
        (tmp_path / name).mkdir()
    osc = '[[inputs]]\nby = "osc"\nport = 0\n'
    with node() as stage:
        stage.stamp()
        first_gig = copy_gig(tmp_path / "first", outputs=outputs(stage.port, "first", 100), inputs=osc)
        spare_gig = copy_gig(tmp_path / "spare", outputs=outputs(stage.port, "spare", 90), inputs=osc)
        receiver = SacnReceiver(1)
        with playing(spare_gig) as spare, playing(first_gig) as first:
            for night in (spare, first):
                night.status()
                night.send("start", "slow tide")
            while len(receiver.sources) < 2:
                receiver.take(*stage.stamped())
            stage.waiting()
            assert {receiver.take(*stage.stamped()) for _ in range(40)} == {"first"}
            [leading] = [one for one in receiver.sources.values() if one.name == "first"]
            first.process.send_signal(signal.SIGKILL)
            first.process.wait()
            while receiver.take(*(taken := stage.stamped())) != "spare":
                leading = receiver.sources.get(taken[0][22:38], leading) if b"first" in taken[0] else leading
            silent = taken[1] - leading.heard
            assert DATA_LOSS_S <= silent <= DATA_LOSS_S + SOME_FRAMES_S
            assert spare.stop() == 0
            # Told of its end, a receiver does not wait: cl. 6.2.6.
            while receiver.take(*stage.stamped()) == "spare":
                pass
