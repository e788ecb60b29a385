"""Who is there, on real sockets of loopback: asked, answered, and flooded."""

import contextlib
import ipaddress
import socket
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from tests.nodes import free_port, node

from lanternist.outputs import artnet_station, interfaces
from lanternist.outputs.artnet_station import Member, Station, join, leave, look_around
from lanternist.outputs.contract import OutputError
from lanternist.outputs.interfaces import Interface
from lanternist.wire import artnet
from lanternist.wire.nodes import POLL_S

LOOPBACK = Interface("lo", "127.0.0.1", ipaddress.IPv4Network("127.0.0.0/8"), None)
THERE = "127.0.0.2"
REPLY = artnet.pack_poll_reply(artnet.PollReply(socket.inet_aton(THERE), "Booth", takes=(1,)))


@contextmanager
def station() -> Iterator[tuple[Station, socket.socket]]:
    """A station that asks THERE, and what is there: a socket with the same port."""
    made = Station(LOOPBACK, free_port(), members={"output": Member(THERE, (1, 2, 17))})
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as there:
        there.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        there.bind((THERE, made.port))
        there.settimeout(5)
        made.open()
        try:
            yield made, there
        finally:
            made.close()


def answer(made: Station, there: socket.socket, *packets: bytes) -> None:
    for packet in packets:
        there.sendto(packet, ("127.0.0.1", made.port))


def waiting(there: socket.socket) -> Iterator[bytes]:
    there.settimeout(0)
    with contextlib.suppress(BlockingIOError):
        while True:
            yield there.recv(2048)


def test_it_asks_every_2_5_to_3_s_and_knows_who_answers() -> None:
    """Art-Net 4, ArtPoll."""
    with station() as (made, there):
        for tick in range(400):
            made.attend(tick * 0.025)
        assert list(waiting(there)) == [artnet.pack_poll()] * 4
        answer(made, there, REPLY)
        made.attend(10.0)
        made.attend(10.5)
        assert [(one.address, one.name, one.takes) for one in made.found] == [(THERE, "Booth", (1,))]
        made.attend(30.0)
        assert not made.found


def test_it_answers_within_a_second_with_all_it_sends() -> None:
    """Art-Net 4, ArtPollReply: within 3 s, after a random delay of up to 1 s; at most 4 ports of one Sub-Net each."""
    with station() as (made, there):
        made.attend(0.0)
        there.recv(2048)
        answer(made, there, artnet.pack_poll())
        made.attend(0.1)
        made.attend(1.11)
        replies = [artnet.parse(there.recv(2048)) for _ in range(2)]
        assert [(one.gives, one.bind_index) for one in replies if isinstance(one, artnet.PollReply)] == [
            ((1, 2), 1),
            ((17,), 2),
        ]


def test_a_poll_for_others_is_not_answered() -> None:
    targeted = bytes.fromhex("41 72 74 2D 4E 65 74 00 00 20 00 0E 20 00 01 2F 01 20 00 00 00 FF")
    with station() as (made, there):
        made.attend(0.0)
        there.recv(2048)
        answer(made, there, targeted)
        made.attend(0.1)
        made.attend(1.2)
        assert not list(waiting(there))


def test_a_flood_is_shed() -> None:
    """Light of others does not even wake it; of polls and replies it takes some a visit; the rest is the kernel's."""
    dmx = artnet.pack_dmx(artnet.Dmx(1, 1, bytes(512)))
    with station() as (made, there):
        answer(made, there, *[dmx] * 2000, REPLY)
        made.attend(0.0)
        made.attend(1.0)
        assert [one.name for one in made.found] == ["Booth"]
        answer(made, there, *[artnet.pack_poll(), b"Art-Net\0\x00\x21junk", REPLY[:100]] * 1000)
        for tick in range(400):
            made.attend(1.0 + tick * 0.025)
        heard = [artnet.parse(packet) for packet in waiting(there)]
        assert sum(isinstance(one, artnet.Poll) for one in heard) == 1 + int(10 / POLL_S)
        # However often somebody asks: an answer is on its way for half a second in the mean, and has two pages.
        assert 2 <= sum(isinstance(one, artnet.PollReply) for one in heard) <= 2 * 60


def test_a_port_that_another_program_keeps_is_said() -> None:
    with node() as taken:
        made = Station(LOOPBACK, taken.port)
        made.open()
        made.attend(0.0)
        assert made.error == (
            f"cannot look for nodes on lo: another program on this machine has UDP port {taken.port} to itself: end it"
        )


def test_outputs_on_one_interface_share_a_station() -> None:
    port = free_port()
    one, two = (join(LOOPBACK, port, who, Member(THERE, (1,))) for who in ("a", "b"))
    assert one is two
    leave(one, "a")
    leave(one, "a")
    with pytest.raises(OSError, match="in use"), node(port=port):
        pass
    leave(two, "b")
    with node(port=port):
        pass
    assert join(LOOPBACK, port, "c", Member(THERE, (1,))) is not one


def test_looking_around_names_the_networks_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(artnet_station, "interfaces", lambda: [LOOPBACK])
    with pytest.raises(OutputError, match='called "eth9" to look in: this machine is up on lo'):
        look_around("eth9", 1.0)
    with pytest.raises(OutputError, match="no network to look in"):
        look_around(None, 1.0)


def test_the_kernel_lists_loopback() -> None:
    loopback = next(one for one in interfaces.interfaces() if one.name == "lo")
    assert loopback == LOOPBACK
    assert loopback.mac == bytes(6)
    assert interfaces.interface_of("127.0.0.1") == loopback
    assert interfaces.interface_of("203.0.113.77") is None  # IETF RFC 5737: nobody's
