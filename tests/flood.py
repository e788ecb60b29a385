"""Garbage on every way in until killed: `python -m tests.flood OSC_PORT MIDI_PORT CONTROL SEED`."""

import contextlib
import itertools
import random
import socket
import sys
import time

from pythonosc.osc_message_builder import OscMessageBuilder


def wrong_message() -> bytes:
    """A sound message that asks for a scene that is not there."""
    message = OscMessageBuilder("/lanternist/start")
    message.add_arg("no such scene")
    return bytes(message.build().dgram)


def datagrams(dice: random.Random) -> bytes:
    sound = wrong_message()
    return dice.choice([dice.randbytes(dice.randrange(1, 200)), sound[: dice.randrange(len(sound))], sound])


def lines(dice: random.Random) -> bytes:
    junk = dice.randbytes(dice.randrange(1, 300)).replace(b"\n", b"")
    return dice.choice([junk + b"\n", b'{"do":"fly"}\n', b"[" * 3000 + b"\n", b"x" * 70_000 + b"\n"])


def knock(path: str, dice: random.Random) -> None:
    """A client of the control socket that talks nonsense and leaves in the middle of the answers."""
    with socket.socket(socket.AF_UNIX) as control:
        control.settimeout(0.2)
        control.connect(path)
        for _ in range(20):
            control.sendall(lines(dice))
        control.recv(100)


def main(osc_port: str, midi_port: str, path: str, seed: str) -> None:
    """Flood: 2000 datagrams, ten MIDI cables' worth of bytes and 200 lines a second.

    The MIDI is data bytes and broken-off messages, so that it plays no pad by chance.
    """
    dice = random.Random(int(seed))
    midi_bytes = [*range(128), 0x80, 0x90, 0xA0, 0xF0, 0xF4, 0xFE]
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as osc,
        socket.create_connection(("127.0.0.1", int(midi_port))) as midi,
    ):
        for turn in itertools.count():
            with contextlib.suppress(ConnectionError):
                for _ in range(20):
                    osc.sendto(datagrams(dice), ("127.0.0.1", int(osc_port)))
            midi.sendall(bytes(dice.choices(midi_bytes, k=300)))
            if turn % 10 == 0:
                with contextlib.suppress(OSError):
                    knock(path, dice)
            time.sleep(0.01)


if __name__ == "__main__":
    main(*sys.argv[1:])
