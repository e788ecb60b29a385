"""What every network output does when the network does not do what it should. Art-Net stands for both."""

import errno
import os
import socket
from typing import Any, ClassVar

import pytest
from tests.nodes import free_port, node

from lanternist.outputs.artnet import ArtNetOutput, ArtNetSettings
from lanternist.outputs.contract import OutputError, RefusedError
from lanternist.testing.outputs import check_refusal
from lanternist.wire import artnet

FULL = {1: b"\xff" * 4}
DARK = {1: bytes(4)}


class ScriptedSocket(socket.socket):
    """A real socket whose next sends fail with the errors in `errors`, as the kernel's would."""

    errors: ClassVar[list[int]] = []

    def sendto(self, *arguments: Any) -> int:
        if self.errors:
            number = self.errors.pop(0)
            raise OSError(number, os.strerror(number))
        return super().sendto(*arguments)


@pytest.fixture
def errors(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    found: list[int] = []
    monkeypatch.setattr(ScriptedSocket, "errors", found)
    monkeypatch.setattr(socket, "socket", ScriptedSocket)
    return found


def to_port(port: int, to: str = "127.0.0.1") -> ArtNetOutput:
    return ArtNetOutput(ArtNetSettings(to=to, port=port), [1])


def slots_of(packets: list[bytes]) -> list[bytes]:
    found = [artnet.parse(packet) for packet in packets]
    return [packet.slots for packet in found if isinstance(packet, artnet.Dmx)]


def test_nobody_listens_is_a_warning_and_the_light_is_back_with_the_node() -> None:
    output = to_port(free_port())
    output.open()
    for n in range(10):
        output.send({1: bytes([n, 0])}, n * 0.025)
    facts = output.describe()
    assert 1 <= int(facts["undelivered"]) <= 9  # each send hears of one before it
    assert "nobody listens" in str(facts["warning"])
    with node(port=int(facts["port"])) as back:
        output.send(FULL, 0.25)
        assert slots_of([back.receive()]) == [FULL[1]]
        output.send(DARK, 0.275)
        assert slots_of([back.receive()]) == [DARK[1]]
        assert "warning" in output.describe()
        output.send(FULL, 6.0)
        assert "warning" not in output.describe()
    output.close()


def test_a_still_frame_is_warned_about_without_a_gap(errors: list[int]) -> None:
    """At the slowest rate there is: one repeat every 0.9 s, and Linux tells of a node that is off every 3 s."""
    with node() as receiver:
        output = to_port(receiver.port)
        output.open()
        told_at = 0.0
        for n in range(1, 800):
            now = n * 0.025
            if now - told_at >= 3.0:
                errors[:] = [errno.EHOSTUNREACH]
            output.send(FULL, now)
            if now - told_at >= 3.0 and not errors:
                told_at = now
            assert ("warning" in output.describe()) is (told_at > 0.0)
        assert told_at > 10.0
        output.close()


def test_the_kernel_is_asked_to_tell_of_a_node_that_is_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """Linux keeps "no route to host" from a UDP socket unless IP_RECVERR (11, linux/in.h) is set: ip(7)."""
    made: list[socket.socket] = []

    class Noted(socket.socket):
        def __init__(self, *arguments: Any) -> None:
            super().__init__(*arguments)
            made.append(self)

    monkeypatch.setattr(socket, "socket", Noted)
    output = to_port(6454)
    output.open()
    assert made[0].getsockopt(socket.IPPROTO_IP, 11) == 1
    output.close()


def test_a_node_that_is_off_is_a_warning_and_nothing_is_lost(errors: list[int]) -> None:
    with node() as receiver:
        output = to_port(receiver.port)
        output.open()
        errors.append(errno.EHOSTUNREACH)
        output.send(FULL, 0.0)
        assert slots_of(receiver.waiting()) == [FULL[1]]  # the error was about an earlier packet
        assert "nothing answers there; check that the node is on" in str(output.describe()["warning"])
        output.close()


def test_what_was_told_twice_stays_due(errors: list[int]) -> None:
    with node() as receiver:
        output = to_port(receiver.port)
        output.open()
        errors += [errno.EHOSTUNREACH, errno.ECONNREFUSED]
        output.send(FULL, 0.0)
        assert receiver.waiting() == []
        output.send(FULL, 0.025)
        assert slots_of(receiver.waiting()) == [FULL[1]]
        output.close()


@pytest.mark.parametrize(("to", "fails"), [("localhost", True), ("127.0.0.1", False)])
def test_after_15_s_a_name_is_worth_asking_for_again(errors: list[int], to: str, fails: bool) -> None:
    with node() as receiver:
        output = to_port(receiver.port, to)
        output.open()
        for n in range(30):
            errors[:] = [errno.ECONNREFUSED]
            output.send({1: bytes([n, 0])}, n * 0.5)
        errors[:] = [errno.ECONNREFUSED]
        if fails:
            with pytest.raises(OutputError, match="nobody listens"):
                output.send(FULL, 15.0)
        else:
            output.send(FULL, 15.0)
        output.close()


def test_absences_apart_from_each_other_do_not_add_up(errors: list[int]) -> None:
    with node() as receiver:
        output = to_port(receiver.port, "localhost")
        output.open()
        for n in range(10):
            errors.append(errno.EHOSTUNREACH)
            output.send({1: bytes([n, 0])}, n * 6.0)
        assert len(receiver.waiting()) == 10
        output.close()


def test_opened_again_the_15_s_begin_anew(errors: list[int]) -> None:
    with node() as receiver:
        output = to_port(receiver.port, "localhost")
        for start in (0.0, 14.0):
            output.open()
            for n in range(4):
                errors.append(errno.EHOSTUNREACH)
                output.send({1: bytes([n, 0])}, start + n * 4.0)
            output.close()
        assert len(receiver.waiting()) == 8


def test_a_full_buffer_drops_and_the_frame_stays_due(errors: list[int]) -> None:
    with node() as receiver:
        output = to_port(receiver.port)
        output.open()
        errors += [errno.EAGAIN, errno.ENOBUFS]
        output.send(FULL, 0.0)
        output.send(FULL, 0.025)
        assert receiver.waiting() == []
        output.send(FULL, 0.05)
        output.send(FULL, 0.075)
        [packet] = receiver.waiting()
        assert packet[12] == artnet.FIRST_SEQUENCE  # what was dropped took no number
        assert slots_of([packet]) == [FULL[1]]
        facts = output.describe()
        assert (facts["packets"], facts["dropped"]) == (1, 2)
        output.close()


@pytest.mark.parametrize(
    ("number", "says"),
    [
        (errno.ENETUNREACH, "cable"),
        (errno.ENETDOWN, "cable"),
        (errno.EPERM, "firewall"),
        (errno.EIO, os.strerror(errno.EIO)),
    ],
)
def test_what_the_network_says_is_told_in_words(errors: list[int], number: int, says: str) -> None:
    with node() as receiver:
        output = to_port(receiver.port)
        output.open()
        errors.append(number)
        with pytest.raises(OutputError, match=says) as raised:
            output.send(FULL, 0.0)
        assert f"127.0.0.1, port {receiver.port}" in str(raised.value)
        output.close()


def test_a_failed_output_plays_on_after_it_was_opened_again(errors: list[int]) -> None:
    with node() as receiver:
        output = to_port(receiver.port)
        output.open()
        errors.append(errno.ENETUNREACH)
        with pytest.raises(OutputError):
            output.send(FULL, 0.0)
        output.close()
        output.open()
        output.send(FULL, 1.0)
        assert slots_of(receiver.waiting()) == [FULL[1]]
        output.close()


def test_out_of_sockets_is_told_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    def none_left(*_: object) -> None:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    monkeypatch.setattr(socket, "socket", none_left)
    check_refusal(lambda: to_port(6454))


def test_broadcast_is_refused() -> None:
    """Art-Net 4: ArtDmx goes to one node."""
    output = to_port(6454, to="255.255.255.255")
    with pytest.raises(RefusedError, match="not a broadcast address"):
        output.open()


def test_a_name_that_cannot_be_one() -> None:
    check_refusal(lambda: to_port(6454, to="dimmer..hall"))


def test_a_name_that_nobody_knows(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown(*_: object) -> None:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    check_refusal(lambda: to_port(6454, to="dimmer-hall"))
    with pytest.raises(OutputError, match=r'"dimmer-hall".*check the name'):
        to_port(6454, to="dimmer-hall").open()


def test_the_name_is_asked_for_anew_at_every_open(monkeypatch: pytest.MonkeyPatch) -> None:
    addresses = iter(["127.0.0.1", "127.0.0.2"])

    def moved(_: str, port: int, *__: object) -> list[tuple[int, int, int, str, tuple[str, int]]]:
        return [(socket.AF_INET, socket.SOCK_DGRAM, 17, "", (next(addresses), port))]

    with node("127.0.0.1") as before, node("127.0.0.2", before.port) as after:
        monkeypatch.setattr(socket, "getaddrinfo", moved)
        output = to_port(before.port, to="dimmer-hall")
        for _ in range(2):
            output.open()
            output.send(FULL, 0.0)
            output.close()
        assert len(before.waiting()) == len(after.waiting()) == 1


def test_localhost_is_a_name() -> None:
    with node() as receiver:
        output = to_port(receiver.port, to="localhost")
        output.open()
        output.send(FULL, 0.0)
        assert len(receiver.waiting()) == 1
        output.close()
