"""The network interfaces of this machine, as the kernel lists them: IPv4 alone, as lighting networks are."""

import array
import fcntl
import ipaddress
import socket
import struct
from dataclasses import dataclass
from pathlib import Path

# Linux: uapi/linux/sockios.h and net/if.h.
_LIST, _FLAGS, _MASK = 0x8912, 0x8913, 0x891B
_IS_UP, _HAS_BROADCAST = 0x1, 0x2
_ENTRY = 40  # struct ifreq on 64 bits
_MOST = 256


@dataclass(frozen=True, slots=True)
class Interface:
    """One IPv4 address of this machine. broadcast: of its network; None where there is none, as on loopback."""

    name: str
    address: str
    network: ipaddress.IPv4Network
    broadcast: str | None

    @property
    def mac(self) -> bytes:
        """The 6 bytes of its hardware address; zeros if it has none."""
        try:
            return bytes.fromhex(Path(f"/sys/class/net/{self.name}/address").read_text().strip().replace(":", ""))[:6]
        except (OSError, ValueError):
            return bytes(6)


def interfaces() -> list[Interface]:
    """Every IPv4 address of every interface that is up, in the kernel's order. Raises OSError."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        room = array.array("B", bytes(_MOST * _ENTRY))
        where, _ = room.buffer_info()
        length, _ = struct.unpack("iP", fcntl.ioctl(sock, _LIST, struct.pack("iP", len(room), where)))
        entries = [room[at : at + _ENTRY].tobytes() for at in range(0, length, _ENTRY)]
        return [_interface(sock, entry) for entry in entries if _flags(sock, entry) & _IS_UP]


def interface_of(address: str) -> Interface | None:
    """The interface that has this IPv4 address. Raises OSError."""
    return next((one for one in interfaces() if one.address == address), None)


def is_address(text: str) -> bool:
    """Whether a text is an IPv4 address, and no name."""
    try:
        ipaddress.IPv4Address(text)
    except ValueError:
        return False
    return True


def _interface(sock: socket.socket, entry: bytes) -> Interface:
    # An alias has the name of its interface, a colon and a label.
    name = entry[:16].partition(b"\0")[0].partition(b":")[0].decode()
    address = _address(entry)
    network = ipaddress.IPv4Network(f"{address}/{_address(fcntl.ioctl(sock, _MASK, entry))}", strict=False)
    has_broadcast = _flags(sock, entry) & _HAS_BROADCAST and network.num_addresses > 2
    return Interface(name, address, network, str(network.broadcast_address) if has_broadcast else None)


def _flags(sock: socket.socket, entry: bytes) -> int:
    return int(struct.unpack_from("H", fcntl.ioctl(sock, _FLAGS, entry), 16)[0])


def _address(entry: bytes) -> str:
    """The IPv4 address in a struct ifreq: after 16 bytes of name, 2 of family and 2 of port."""
    return socket.inet_ntoa(entry[20:24])
