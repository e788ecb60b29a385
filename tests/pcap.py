"""Packets written as a capture file, for a protocol analyser to decode: classic pcap, link type 101 (raw IP)."""

import struct
from pathlib import Path

_LOOPBACK = bytes((127, 0, 0, 1))


def write_pcap(path: Path, packets: list[tuple[int, bytes]]) -> None:
    """Write (UDP destination port, payload) after (port, payload), from and to 127.0.0.1."""
    parts = [struct.pack("!IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 101)]
    for port, payload in packets:
        udp = struct.pack("!HHHH", 50_000, port, 8 + len(payload), 0) + payload
        ip = struct.pack("!BBHHHBBH4s4s", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0, _LOOPBACK, _LOOPBACK) + udp
        parts.append(struct.pack("!IIII", 0, 0, len(ip), len(ip)) + ip)
    path.write_bytes(b"".join(parts))
