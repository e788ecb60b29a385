"""The main job on real input: pads, clock and OSC in, Art-Net and sACN out, decoded by independent libraries.

What the show asks for is written out here by hand, slot by slot, from the demo's files and the profiles' slot lists.
"""

import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import mido
import pytest
import sacn
from tests.nights import PATIENCE, Night, connected, copy_gig, osc, playing
from tests.nodes import Node, node
from tests.pcap import write_pcap

INPUTS = """
[[inputs]]
by = "midi-tcp"
port = 0
[[inputs]]
by = "osc"
port = 0
"""

OPEN = 3  # the middle of the shutter's open range, 0 to 7
PAR_DARK = [0, 0, 0, 0, 255, OPEN, 0, 0]
PAR_WHITE = [255, 0, 0, 0, 255, OPEN, 0, 0]


def outputs(artnet: Node, streaming: Node, universes: str) -> str:
    return f"""
[[outputs]]
universe = {universes}
by = "artnet"
to = "127.0.0.1"
port = {artnet.port}
[[outputs]]
universe = {universes}
by = "sacn"
to = "127.0.0.1"
port = {streaming.port}
"""


def artnet_slots(packet: bytes) -> tuple[int, list[int]]:
    """Port-Address and slots by the offsets of the Art-Net 4 specification, ArtDmx: written out here again."""
    assert packet[:8] == b"Art-Net\0"
    assert packet[8:12] == b"\x00\x50\x00\x0e"
    assert int.from_bytes(packet[16:18], "big") == len(packet) - 18
    return packet[14] | packet[15] << 8, list(packet[18:])


def sacn_slots(packet: bytes) -> tuple[int, list[int]]:
    """Universe and slots as the PyPI library `sacn` reads them."""
    decoded = sacn.DataPacket.make_data_packet(list(packet))
    return decoded.universe, list(decoded.dmxData)


def wait_for(
    receiver: Node, decode: Callable[[bytes], tuple[int, list[int]]], wanted: dict[int, list[int]]
) -> list[bytes]:
    """The packets that showed, for each universe, slots that begin with what is wanted."""
    shown: dict[int, bytes] = {}
    last: dict[int, list[int]] = {}
    for _ in range(round(PATIENCE * 40 * len(wanted))):
        packet = receiver.receive()
        universe, slots = decode(packet)
        last[universe] = slots
        if universe in wanted and slots[: len(wanted[universe])] == wanted[universe]:
            shown[universe] = packet
        elif universe in shown:
            del shown[universe]
        if shown.keys() == wanted.keys():
            return list(shown.values())
    raise AssertionError(f"wanted {wanted}, last was { {u: last[u][: len(w)] for u, w in wanted.items()} }")


@pytest.fixture
def nodes() -> Iterator[tuple[Node, Node]]:
    with node() as artnet, node() as streaming:
        yield artnet, streaming


def test_small_rig(tmp_path: Path, nodes: tuple[Node, Node]) -> None:
    artnet, streaming = nodes
    gig = copy_gig(tmp_path, outputs=outputs(artnet, streaming, "1"), inputs=INPUTS)
    with playing(gig) as night:
        with connected(night.door("midi-tcp")) as pads:
            drive_small_rig(night, pads, artnet, streaming)
            assert night.stop() == 0
        ended = [sacn.DataPacket.make_data_packet(list(packet)) for packet in streaming.waiting()][-3:]
        assert [packet.option_StreamTerminated for packet in ended] == [True] * 3


def drive_small_rig(night: Night, pads: socket.socket, artnet: Node, streaming: Node) -> None:
    """Full by pad; then over OSC blackout and back, and half of the grand master; each seen on both wires."""
    full = {1: PAR_WHITE * 4 + [255, 255, 255] * 8}
    pads.sendall(mido.Message("note_on", channel=9, note=41, velocity=127).bin())
    packets = wait_for(artnet, artnet_slots, full)
    wait_for(streaming, sacn_slots, full)
    if shutil.which("tshark"):
        assert analysed(night.log.parent / "wire.pcap", packets) == bytes(full[1] + [0] * (512 - len(full[1])))
    door = night.door("osc")
    osc(door, "/lanternist/blackout", 1)
    dark = {1: PAR_DARK * 4 + [0, 0, 0] * 8}
    wait_for(artnet, artnet_slots, dark)
    wait_for(streaming, sacn_slots, dark)
    osc(door, "/lanternist/blackout", 0)
    wait_for(streaming, sacn_slots, full)
    # Half of the grand master: 128 is 0.5 x 255, halves up; the emitters behind a dimmer slot do not change.
    osc(door, "/lanternist/master", 0.5)
    half = {1: [128, 0, 0, 0, 255, OPEN, 0, 0] * 4 + [128, 128, 128] * 8}
    wait_for(artnet, artnet_slots, half)
    wait_for(streaming, sacn_slots, half)


def analysed(path: Path, packets: list[bytes]) -> bytes:
    """The slots of an ArtDmx packet as a general protocol analyser reads them."""
    write_pcap(path, [(6454, packets[0])])
    command = ["tshark", "-n", "-r", str(path), "-T", "fields", "-e", "dmx_chan.data_filter"]
    return bytes.fromhex(subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout.strip())
