"""The main job through real MIDI ports: pads and a clock on JACK, light on Art-Net."""

from functools import partial
from pathlib import Path

import pytest
from tests.jack import NEEDS_JACK, Pad, playing_jack
from tests.nights import Night, copy_gig, playing
from tests.nodes import node
from tests.running import until

pytestmark = [
    *NEEDS_JACK,
    pytest.mark.skipif(Path("/dev/snd/seq").exists(), reason="where ALSA runs it is used instead of JACK"),
]

INPUTS = """
[[inputs]]
by = "midi"
"""
PAR_1 = 18  # where the slots of an ArtDmx packet begin; par 1 is at address 1


def has_heard(night: Night, more_than: int) -> bool:
    return any(int(way["events"]) > more_than for way in night.status()["inputs"] if way["name"].endswith("midi"))


def test_a_pad_on_a_midi_port_lights_the_rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with playing_jack(monkeypatch), node() as receiver:
        output = f'[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {receiver.port}\n'
        with playing(copy_gig(tmp_path, outputs=output, inputs=INPUTS)) as night:
            pad = Pad("gig pads")
            until(lambda: any(pad.name in str(way["listens on"]) for way in night.status()["inputs"]))
            pad.send("99 29 7F")  # note 41 on channel 10: hold full
            until(lambda: receiver.receive()[PAR_1] == 255)
            pad.send("FA")
            for sent in range(12, 97, 12):
                for _ in range(12):
                    pad.send("F8")
                # JACK takes one buffer of messages a period; a pause by waiting for what was sent.
                until(partial(has_heard, night, sent))
            until(lambda: night.status()["beat"]["source"] == "midi")
            pad.send("89 29 00")
            until(lambda: receiver.receive()[PAR_1] < 128)
            pad.unplug()
