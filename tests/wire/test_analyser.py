"""Our packets, decoded field by field by a general protocol analyser, where it is installed."""

import shutil
import subprocess
from pathlib import Path

import pytest
from tests.pcap import write_pcap

from lanternist.wire import artnet, sacn

TSHARK = shutil.which("tshark")
pytestmark = pytest.mark.skipif(TSHARK is None, reason="tshark is not installed")

MAC = bytes(range(6))
ACN = ["--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE", "-o", "acn.dmx_display_zeros:TRUE"]


def decode(path: Path, packets: list[tuple[int, bytes]], fields: list[str]) -> list[list[str]]:
    write_pcap(path, packets)
    asked = [option for field in fields for option in ("-e", field)]
    command = [str(TSHARK), "-n", "-r", str(path), *ACN, "-T", "fields", *asked]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    return [line.split("\t") for line in done.stdout.splitlines()]


def test_artnet(tmp_path: Path) -> None:
    packets = [
        artnet.pack_dmx(artnet.Dmx(0x0123, 1, b"\xff\x80\x07")),
        artnet.pack_dmx(artnet.Dmx(0x7FFF, 255, bytes(range(256)) * 2, physical=9)),
        artnet.pack_sync(),
    ]
    names = ["header.id", "header.opcode", "header.protver", "output.universe", "output.sequence", "output.physical"]
    fields = [f"artnet.{name}" for name in [*names, "output.length"]] + ["dmx_chan.data_filter", "_ws.malformed"]
    found = decode(tmp_path / "artnet.pcap", [(artnet.PORT, packet) for packet in packets], fields)
    slots = (bytes(range(256)) * 2).hex()
    assert found == [
        ["Art-Net", "0x5000", "14", "291", "1", "0", "4", "ff800700", ""],
        ["Art-Net", "0x5000", "14", "32767", "255", "9", "512", slots, ""],
        ["Art-Net", "0x5200", "14", "", "", "", "", "", ""],
    ]


def test_artnet_poll_and_reply(tmp_path: Path) -> None:
    """It shows switches as whole Port-Addresses: 0x125 is 293, 0x12F is 303, 0x7FF9 is 32761."""
    replies = [
        artnet.PollReply(
            bytes((10, 0, 0, 20)), "Booth", "Booth node", "#0001 [0007] fine", (0x125, 0x12F), (), mac=MAC
        ),
        artnet.PollReply(bytes((10, 0, 0, 5)), "lamps", style=artnet.CONTROLLER, gives=(0x7FF9,), bind_index=2),
    ]
    packets = [artnet.pack_poll(), *(artnet.pack_poll_reply(reply) for reply in replies)]
    names = ["ip_address", "port_nr", "netswitch", "subswitch", "short_name", "long_name", "node_report", "num_ports"]
    names += ["port_types_1", "port_types_2", "swin_1_universe", "swout_1_universe", "swout_2_universe", "style", "mac"]
    names += ["bind_index", "addrsupport"]
    fields = ["artnet.header.opcode", *(f"artnet.poll_reply.{name}" for name in names), "_ws.malformed"]
    found = decode(tmp_path / "poll.pcap", [(artnet.PORT, packet) for packet in packets], fields)
    report, hall = "#0001 [0007] fine", ["0x80", "0x80", "288", "293", "303", "0x00", "00:01:02:03:04:05"]
    lamps = ["0x40", "0x00", "32761", "32752", "32752", "0x01", "00:00:00:00:00:00"]
    assert found == [
        ["0x2000", *[""] * 18],
        ["0x2100", "10.0.0.20", "6454", "0x01", "0x02", "Booth", "Booth node", report, "2", *hall, "0x01", "0x01", ""],
        ["0x2100", "10.0.0.5", "6454", "0x7f", "0x0f", "lamps", "", "", "1", *lamps, "0x02", "0x01", ""],
    ]


def test_sacn(tmp_path: Path) -> None:
    """At least 20 slots a packet: this analyser shows slots in lines of 20, and calls what is shorter malformed."""
    cid = bytes(range(16))
    packets = [
        sacn.Data(cid, "b\u00fchne", 300, 9, bytes(range(20)), priority=120, preview=True),
        sacn.Data(cid, "booth", 63_999, 255, bytes(512), sync_address=7, terminated=True),
    ]
    names = ["source_name", "priority", "reserved", "seq_number", "option_p", "option_s", "universe", "count"]
    fields = ["acn.preamble_size", "acn.postamble_size", "acn.packet_identifier", "acn.pdu.length", "acn.cid"]
    fields += [f"acn.dmx.{name}" for name in names] + ["acn.dmx.start_code2", "_ws.malformed", "acn.dmx.data"]
    found = decode(tmp_path / "sacn.pcap", [(sacn.PORT, sacn.pack_data(data)) for data in packets], fields)
    root = ["16", "0", "ASC-E1.17"]
    guid = "00010203-0405-0607-0809-0a0b0c0d0e0f"
    # What it calls reserved is the synchronization address, which came with the 2016 edition.
    assert [line[:-1] for line in found] == [
        [*root, "130,108,31", guid, "b\u00fchne", "120", "0", "9", "1", "0", "300", "21", "0", ""],
        [*root, "622,600,523", guid, "booth", "100", "7", "255", "0", "1", "63999", "513", "0", ""],
    ]
    shown = found[0][-1].rpartition(":")[2].replace("|", "").split()
    assert bytes(int(slot, 16) for slot in shown) == packets[0].slots
