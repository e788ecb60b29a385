"""A whole night on a network of its own: who is there, and what a network does that fails."""

import ctypes
import json
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.independent.artnet_node import PORT, ArtNetNode
from tests.namespaces import BOOTH, STAGE, Namespace, joined
from tests.nights import PATIENCE, Night, copy_gig, playing
from tests.running import until

RIG = f"""
[[outputs]]
universe = [1, 2]
by = "artnet"
to = "{STAGE}"
[[outputs]]
universe = 1
by = "artnet"
to = "10.77.0.99"
[[outputs]]
universe = 1
by = "artnet"
to = "lantern.invalid"
[[outputs]]
universe = 1
by = "null"
"""
OSC = '[[inputs]]\nby = "osc"\nport = 0\n'


@contextmanager
def node_on(stage: Namespace, takes: list[int]) -> Iterator[ArtNetNode]:
    def bound() -> socket.socket:
        sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        sock.bind(("", PORT))
        return sock

    sock = stage.call(bound)
    try:
        yield ArtNetNode(sock, STAGE, "Booth node", takes)
    finally:
        sock.close()


def says(night: Night, booth: Namespace, *words: str) -> tuple[int, str]:
    """One command in the booth: exit status, and what it wrote."""
    command = [*booth.command, "env", f"LANTERNIST_SOCKET={night.socket}", sys.executable, "-m", "lanternist", *words]
    done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE)
    return done.returncode, done.stdout + done.stderr


def test_who_is_there_and_what_a_failing_network_does(tmp_path: Path) -> None:
    (tmp_path / "quiet").mkdir()
    with joined() as (booth, stage), node_on(stage, [0, 1]) as node:
        gig = copy_gig(tmp_path, outputs=RIG, inputs=OSC)
        quiet_gig = copy_gig(tmp_path / "quiet", inputs=OSC)
        with playing(gig, before=booth.command) as night, playing(quiet_gig) as quiet:
            night.status()
            check_discovery(night, booth, node)
            check_answer(node)
            night.send("start", "slow tide")
            check_fault(night, booth, node, "link set booth0 down", "link set booth0 up")
            # With the address its routes are gone too.
            check_fault(night, booth, node, f"addr del {BOOTH}/24 dev booth0", f"addr add {BOOTH}/24 brd + dev booth0")
            lose_30_per_cent(node.sock)
            night.send("start", "full")
            until(lambda: node.light.get(1, b"")[:1] == b"\xff")  # the dimmer of the first par; "slow tide" ends below
            late, quiet_late = (one.status()["frames"]["late_p50_ms"] for one in (night, quiet))
            assert late < 10 * quiet_late  # usually the same; other work on this machine weighs on both
            assert night.stop() == 0, night.said()


def lose_30_per_cent(sock: socket.socket) -> None:
    """What the kernel drops by chance before a socket: a random word of its own, kept if above 0.3 of its range."""
    lines = ((0x20, 0, 0, 0xFFFFF038), (0x25, 0, 1, int(0.3 * 2**32)), (0x06, 0, 0, 0xFFFF), (0x06, 0, 0, 0))
    memory = ctypes.create_string_buffer(b"".join(struct.pack("HBBI", *line) for line in lines))
    sock.setsockopt(socket.SOL_SOCKET, 26, struct.pack("HP", len(lines), ctypes.addressof(memory)))  # SO_ATTACH_FILTER


def check_discovery(night: Night, booth: Namespace, node: ArtNetNode) -> None:
    seen(night, lambda status: status["nodes"])
    status, said = says(night, booth, "nodes", "--json")
    assert status == 0
    assert json.loads(said) == [
        {"address": STAGE, "name": "Booth node", "long_name": "", "is_controller": False, "takes": [0, 1], "gives": []}
    ]
    output = seen(night, lambda status: status["outputs"][0].get("warning"))["outputs"][0]
    assert output["node"] == "Booth node"
    assert f'"Booth node" at {STAGE} does not take 2 (0.0.2)' in output["warning"]
    # Art-Net 4: ArtDmx comes from port 6454; ArtSync follows where there are several universes.
    assert node.ports == {PORT}
    assert set(node.light) == {1, 2}
    assert node.syncs


def check_answer(node: ArtNetNode) -> None:
    """Art-Net 4, ArtPollReply: whoever asks is told within 3 s, by unicast; byte 200 is the style, 1 a controller."""
    node.poll(BOOTH)
    until(lambda: bool(node.replies))
    reply = node.replies[0]
    assert reply[10:14] == socket.inet_aton(BOOTH)
    assert reply[26:44].rstrip(b"\0") == b"lanternist"
    assert reply[200] == 1
    # It sends 1 and 2: two ports with bit 6, and their numbers as inputs.
    assert reply[172:178] == b"\0\2\x40\x40\0\0"
    assert reply[186:188] == b"\1\2"


def check_fault(night: Night, booth: Namespace, node: ArtNetNode, fail: str, mend: str) -> None:
    """It is said, every frame goes to the null output meanwhile, and the light is back by itself."""
    before = night.status()
    booth.ip(fail)
    during = seen(night, lambda status: "no network leads there" in status["outputs"][0]["error"])
    frames = during["outputs"][3]["frames"] - before["outputs"][3]["frames"]
    made = during["frames"]["begun"] - before["frames"]["begun"]
    assert abs(frames - made) <= 2
    booth.ip(mend)
    node.light.clear()
    until(lambda: 1 in node.light)


def seen(night: Night, met: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    """The status that meets a condition, which must come."""
    end = time.monotonic() + PATIENCE
    while not met(status := night.status()):
        assert time.monotonic() < end, (status["outputs"], status["nodes"], night.said())
        time.sleep(0.02)
    return status
