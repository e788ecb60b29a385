"""The daemon as a service manager sees it: ready with the light, alive with the frames, stopping when it is told to."""

import signal
import time
from pathlib import Path

import pytest
from tests.decoded import artnet_slots
from tests.nights import copy_gig, playing
from tests.nodes import node
from tests.running import until
from tests.runtime.test_notify import manager

ALLOWED_S = 0.4


def test_ready_with_light_alive_with_frames_and_stopping(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    monkeypatch.setenv("WATCHDOG_USEC", str(int(ALLOWED_S * 1e6)))
    with manager(str(tmp_path / "notify")) as systemd, node() as receiver:
        outputs = f'[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {receiver.port}\n'
        with playing(copy_gig(tmp_path, outputs=outputs, on_stop="blackout")) as night:
            said: list[str] = []

            def told(word: str) -> bool:
                said.extend(systemd.heard())
                return any(line.startswith(word) for line in said)

            until(lambda: told("READY=1"))
            assert 1 in [artnet_slots(packet)[0] for packet in receiver.waiting()]
            until(lambda: told("WATCHDOG=1") and told("STATUS=playing '"))
            night.process.send_signal(signal.SIGSTOP)
            systemd.heard()
            since = time.monotonic()
            until(lambda: time.monotonic() - since > ALLOWED_S)
            # What was on its way when it stopped.
            assert systemd.heard().count("WATCHDOG=1") <= 1
            night.process.send_signal(signal.SIGCONT)
            said.clear()
            until(lambda: told("WATCHDOG=1"))
            assert night.status()["process"].keys() == {"priority", "memory"}
            assert night.stop() == 0
            assert told("STOPPING=1")
