"""An Art-Net node written from the published layout alone, with its light: it shares no code with the package.

Field tables of Art-Net 4 (protocol revision 14): ArtPoll, ArtPollReply, ArtDmx, ArtSync.
"""

import socket
import threading

PORT = 6454
ID = b"Art-Net\0"
POLL, REPLY, DMX, SYNC = b"\x00\x20", b"\x00\x21", b"\x00\x50", b"\x00\x52"


class ArtNetNode:
    """Answers polls on `sock` until that is closed, and keeps what comes.

    light: the newest slots by Port-Address. ports: UDP ports of those who sent them.
    """

    def __init__(self, sock: socket.socket, address: str, name: str, takes: list[int]) -> None:
        self.sock = sock
        self._reply = self._say(address, name, takes)
        self.light: dict[int, bytes] = {}
        self.polls = self.syncs = 0
        self.ports: set[int] = set()
        self.replies: list[bytes] = []
        threading.Thread(target=self._run, daemon=True).start()

    def poll(self, to: str) -> None:
        """Ask who is there, as a controller does."""
        self.sock.sendto(ID + POLL + b"\x00\x0e\x00\x00", (to, PORT))

    def _say(self, address: str, name: str, takes: list[int]) -> bytes:
        reply = bytearray(239)
        reply[0:10] = ID + REPLY
        reply[10:14] = socket.inet_aton(address)
        reply[14:16] = PORT.to_bytes(2, "little")
        reply[18], reply[19] = takes[0] >> 8, takes[0] >> 4 & 15
        reply[26 : 26 + len(name)] = name.encode()
        reply[173] = len(takes)
        for at, port in enumerate(takes):
            reply[174 + at], reply[190 + at] = 0x80, port & 15
        reply[211] = 1
        return bytes(reply)

    def _run(self) -> None:
        while True:
            try:
                packet, sender = self.sock.recvfrom(2048)
            except OSError:
                return
            if packet[:8] == ID:
                self._take(packet, sender)

    def _take(self, packet: bytes, sender: tuple[str, int]) -> None:
        kind = packet[8:10]
        if kind == POLL:
            self.polls += 1
            self.sock.sendto(self._reply, (sender[0], PORT))
        elif kind == DMX:
            self.ports.add(sender[1])
            self.light[packet[15] << 8 | packet[14]] = packet[18 : 18 + int.from_bytes(packet[16:18], "big")]
        elif kind == SYNC:
            self.syncs += 1
        elif kind == REPLY:
            self.replies.append(packet)
