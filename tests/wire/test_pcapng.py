"""Frames as a capture file: read back, cut short, damaged, and decoded by an independent dissector."""

import io
import shutil
import struct
import subprocess
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lanternist.wire.pcapng import Packet, pack, pack_header, read

packets = st.builds(Packet, st.integers(0, 2**63), st.integers(1, 63_999), st.binary(min_size=1, max_size=512))


def whole(slots: bytes) -> bytes:
    return slots.ljust(512, b"\0")


@given(st.lists(packets, max_size=5), st.integers(0, 20))
def test_packets_come_back_and_one_that_is_cut_short_is_left_out(sent: list[Packet], cut: int) -> None:
    data = pack_header("a program") + b"".join(map(pack, sent))
    back = [(one.ns, one.universe, whole(one.slots)) for one in read(io.BytesIO(data).read)]
    assert back == [(one.ns, one.universe, whole(one.slots)) for one in sent]
    short = list(read(io.BytesIO(data[: len(data) - cut]).read))
    assert len(short) == max(0, len(sent) - (cut > 0))


@given(st.binary(max_size=200), st.lists(packets, max_size=2), st.integers(0, 400))
def test_damage_is_told_or_passed_over_and_nothing_else_happens(noise: bytes, sent: list[Packet], at: int) -> None:
    data = bytearray(pack_header("a program") + b"".join(map(pack, sent)))
    data[at : at + len(noise)] = noise
    with suppress(ValueError):
        for one in read(io.BytesIO(data).read):
            assert len(one.slots) <= 512


@pytest.mark.parametrize("data", [b"lanternist frames 1\n", bytes(64), pack(Packet(0, 1, b"\1"))])
def test_another_file_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match="not a capture of frames"):
        list(read(io.BytesIO(data).read))


def test_the_blocks_are_those_of_the_draft() -> None:
    """draft-ietf-opsawg-pcapng: section 4.1 (section header), 4.2 (interface), 4.3 (enhanced packet)."""
    header = pack_header("x")
    kind, length, magic, major, minor, section = struct.unpack_from("<IIIHHq", header)
    assert (kind, magic, major, minor, section) == (0x0A0D0D0A, 0x1A2B3C4D, 1, 0, -1)
    assert header[length - 4 : length] == length.to_bytes(4, "little")
    kind, _, link, _, snap = struct.unpack_from("<IIHHI", header, length)
    assert (kind, link, snap) == (1, 101, 0)
    block = pack(Packet(0x1_0000_0002, 7, b"\1\2\3"))
    kind, length, interface, high, low, captured, original = struct.unpack_from("<IIIIIII", block)
    assert (kind, length, interface, high, low) == (6, len(block), 0, 1, 2)
    assert captured == original == 20 + 8 + 18 + 4
    assert length % 4 == 0


def test_a_universe_that_no_port_can_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="65536 is not 1 to 65535"):
        pack(Packet(0, 65_536, b"\1"))


@pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed")
def test_an_analyser_opens_it_and_sees_art_net(tmp_path: Path) -> None:
    path = tmp_path / "night.pcapng"
    sent = [
        Packet(1_700_000_000_123_456_789, 1, bytes((255, 128, 0))),
        Packet(1_700_000_001 * 10**9, 40_000, bytes(512)),
        Packet(1_700_000_002 * 10**9, 258, bytes(range(1, 256)) + b"\7"),
    ]
    path.write_bytes(pack_header("a program") + b"".join(map(pack, sent)))
    fields = ("frame.time_epoch", "ip.checksum.status", "udp.srcport", "artnet.header.opcode", "artnet.output.length")
    wanted = [word for field in (*fields, "dmx_chan.data_filter", "_ws.malformed") for word in ("-e", field)]
    options = ["-o", "ip.check_checksum:TRUE", "-T", "fields"]
    done = subprocess.run(
        ["tshark", "-n", "-r", str(path), *options, *wanted], capture_output=True, text=True, check=True, timeout=60
    )
    rows = [line.split("\t") for line in done.stdout.splitlines()]
    assert [row[0] for row in rows] == ["1700000000.123456789", "1700000001.000000000", "1700000002.000000000"]
    assert [row[1:3] for row in rows] == [["1", "1"], ["1", "40000"], ["1", "258"]]
    assert [int(row[3], 0) for row in rows] == [0x5000] * 3
    assert [row[4] for row in rows] == ["2", "2", "256"]
    assert [row[5] for row in rows] == ["ff80", "0000", (bytes(range(1, 256)) + b"\7").hex()]
    assert not any(row[6:] != [""] for row in rows)
