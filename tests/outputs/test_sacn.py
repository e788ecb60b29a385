"""sACN out, at the wire: real sockets on loopback, unicast and multicast."""

import errno
import itertools
import os
import socket
import uuid
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError
from sacn.messages.data_packet import DataPacket
from tests.nodes import Node, free_port, node

from lanternist.outputs import sacn as output_module
from lanternist.outputs.contract import OutputError
from lanternist.outputs.sacn import SacnOutput, SacnSettings, cid
from lanternist.testing.outputs import check_output, check_refusal
from lanternist.wire import sacn

FRAME = {1: b"\x01" * 512, 2: b"\x02" * 24}


def make(receiver: Node, *universes: int, **more: object) -> SacnOutput:
    settings = SacnSettings.model_validate({"to": "127.0.0.1", "port": receiver.port, **more})
    return SacnOutput(settings, universes)


def received(receiver: Node) -> list[sacn.Data]:
    packets = [sacn.parse(packet) for packet in receiver.waiting()]
    assert all(packets)
    return [packet for packet in packets if isinstance(packet, sacn.Data)]


def test_keeps_the_contract() -> None:
    with node() as receiver:
        check_output(lambda: make(receiver, 1, 2), [1, 2])


def test_says_what_it_was_told() -> None:
    """Decoded by the PyPI library sacn."""
    with node() as receiver:
        output = make(receiver, 1, 2, priority=150, source_name="b\u00fchne", preview=True)
        output.open()
        output.send(FRAME, 0.0)
        packets = receiver.waiting()
        output.close()
    theirs = [DataPacket.make_data_packet(tuple(packet)) for packet in packets]
    assert [(packet.universe, packet.sequence, packet.priority) for packet in theirs] == [(1, 0, 150), (2, 0, 150)]
    assert [(packet.sourceName, packet.option_PreviewData) for packet in theirs] == [("b\u00fchne", True)] * 2
    assert [bytes(packet.dmxData) for packet in theirs] == [FRAME[1], FRAME[2].ljust(512, b"\0")]
    assert not any(packet.option_StreamTerminated or packet.syncAddr for packet in theirs)


def test_three_copies_then_a_repeat_every_0_8_to_1_s() -> None:
    """ANSI E1.31-2018 cl. 6.6.2."""
    with node() as receiver, closing(make(receiver, 1)) as output:
        output.open()
        times = []
        for n in range(120):
            output.send(FRAME, n * 0.025)
            times += [n * 0.025] * len(receiver.waiting())
    assert times[:3] == [0.0, 0.025, 0.05]
    gaps = [later - sooner for sooner, later in itertools.pairwise(times[2:])]
    assert len(gaps) == 3
    assert all(0.8 <= gap <= 1.0 for gap in gaps)


def test_close_terminates_every_stream_that_began() -> None:
    """ANSI E1.31-2018 cl. 6.2.6: three packets with the option stream terminated; the sequence goes on."""
    with node() as receiver:
        output = make(receiver, 1, 2, 3)
        output.open()
        output.send(FRAME, 0.0)
        before = received(receiver)
        output.close()
        after = received(receiver)
    assert not any(packet.terminated for packet in before)
    assert all(packet.terminated for packet in after)
    assert [(packet.universe, packet.sequence) for packet in after] == [(1, 1), (2, 1), (1, 2), (2, 2), (1, 3), (2, 3)]


def test_a_stream_that_never_began_is_not_ended() -> None:
    with node() as receiver:
        output = make(receiver, 1)
        output.open()
        output.close()
        assert receiver.waiting() == []


def test_opened_again_the_stream_lives_and_the_sequence_goes_on() -> None:
    """ANSI E1.31-2018 cl. 6.7.2: a receiver discards what is up to 19 numbers behind."""
    with node() as receiver:
        output = make(receiver, 1)
        for _ in range(2):
            output.open()
            output.send(FRAME, 0.0)
            output.close()
        packets = received(receiver)
    assert [packet.sequence for packet in packets] == list(range(8))
    assert [packet.terminated for packet in packets] == [False, True, True, True] * 2


def test_a_receiver_that_is_gone_does_not_hinder_closing() -> None:
    settings = SacnSettings(to="127.0.0.1", port=free_port())
    output = SacnOutput(settings, [1])
    output.open()
    output.send(FRAME, 0.0)
    output.close()
    with pytest.raises(OutputError, match="not open"):
        output.send(FRAME, 0.025)


def test_a_network_that_is_gone_does_not_hinder_closing(monkeypatch: pytest.MonkeyPatch) -> None:
    class Cut(socket.socket):
        cut = False

        def sendto(self, *arguments: Any) -> int:
            if self.cut:
                raise OSError(errno.ENETUNREACH, os.strerror(errno.ENETUNREACH))
            return super().sendto(*arguments)

    with node() as receiver:
        monkeypatch.setattr(socket, "socket", Cut)
        output = make(receiver, 1)
        output.open()
        output.send(FRAME, 0.0)
        monkeypatch.setattr(Cut, "cut", True)
        output.close()
        with pytest.raises(OutputError, match="not open"):
            output.send(FRAME, 0.025)


def test_multicast_goes_to_the_group_of_each_universe() -> None:
    """ANSI E1.31-2018 cl. 9.3.1."""
    here = socket.inet_aton("127.0.0.1")
    universes = [1, 1000]
    with node(sacn.multicast_group(1)) as first, node(sacn.multicast_group(1000), first.port) as second:
        for universe, receiver in zip(universes, (first, second), strict=True):
            group = socket.inet_aton(sacn.multicast_group(universe))
            receiver.sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, group + here)
        output = make(first, *universes, to=None, interface="127.0.0.1", ttl=3)
        output.open()
        output.send({1: b"\1", 1000: b"\2"}, 0.0)
        packets = [sacn.parse(receiver.receive()) for receiver in (first, second)]
        output.close()
    assert [(packet.universe, packet.slots) for packet in packets if isinstance(packet, sacn.Data)] == [
        (1, b"\1"),
        (1000, b"\2"),
    ]


def test_synchronised_frames_are_followed_by_their_packet() -> None:
    """ANSI E1.31-2018 cl. 6.2.4 and 11: the address in the data, one packet after a frame that counts by itself."""
    with node() as receiver, closing(make(receiver, 1, 2, sync_universe=9)) as output:
        output.open()
        for now in (0.0, 0.025, 0.05, 0.075):
            output.send(FRAME, now)
        packets = [sacn.parse(packet) for packet in receiver.waiting()]
    data = [one for one in packets if isinstance(one, sacn.Data)]
    # Were the packets of synchronisation to stop, a receiver goes on: force_sync, cl. 6.2.6.
    assert {(one.sync_address, one.force_sync) for one in data} == {(9, True)}
    assert [one.sequence if isinstance(one, sacn.Sync) else "data" for one in packets] == [
        *("data", "data", 0),
        *("data", "data", 1),
        *("data", "data", 2),
    ]
    assert {one.address for one in packets if isinstance(one, sacn.Sync)} == {9}


def test_what_a_source_sends_is_told_every_10_s() -> None:
    """ANSI E1.31-2018 cl. 4.3: all its universes, also those of other outputs; cl. 12.2: within two intervals."""
    with node() as receiver, closing(make(receiver, 1)) as one, closing(make(receiver, 7, 2)) as two:
        one.open()
        two.open()
        told = []
        for tick in range(1300):
            one.send(FRAME, tick * 0.025)
            if tick % 20 == 0:
                told += [
                    (tick * 0.025, one) for one in map(sacn.parse, receiver.waiting()) if type(one) is sacn.Discovery
                ]
        two.close()
        one.send(FRAME, 42.5)
        last = [one for one in map(sacn.parse, receiver.waiting()) if isinstance(one, sacn.Discovery)]
    assert [round(at / 10) for at, _ in told] == [1, 2, 3]
    assert {packet.universes for _, packet in told} == {(1, 2, 7)}
    assert [packet.universes for packet in last] == [(1,)]


def test_the_interface_may_be_named() -> None:
    output = SacnOutput(SacnSettings(interface="lo"), [1])
    output.open()
    output.close()
    with pytest.raises(OutputError, match="no such interface"):
        SacnOutput(SacnSettings(interface="eth99"), [1]).open()


def test_ttl_and_interface_reach_the_socket(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[socket.socket] = []

    class Noted(socket.socket):
        def __init__(self, *arguments: Any) -> None:
            super().__init__(*arguments)
            made.append(self)

    monkeypatch.setattr(socket, "socket", Noted)
    output = SacnOutput(SacnSettings(interface="127.0.0.1", ttl=7), [1])
    output.open()
    assert made[0].getsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL) == 7
    assert made[0].getsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, 4) == socket.inet_aton("127.0.0.1")
    output.close()


def test_an_interface_that_this_machine_does_not_have() -> None:
    """203.0.113.0/24 belongs to nobody: IETF RFC 5737."""
    check_refusal(lambda: SacnOutput(SacnSettings(interface="203.0.113.77"), [1]))
    with pytest.raises(OutputError, match="`interface`"):
        SacnOutput(SacnSettings(interface="203.0.113.77"), [1]).open()


def test_cid_stays_with_machine_and_name() -> None:
    """ANSI E1.31-2018 cl. 5.6: a UUID as in IETF RFC 4122, the same for the life of the source."""
    one = cid("machine", "booth")
    assert one == cid("machine", "booth")
    assert len({one, cid("other", "booth"), cid("machine", "other")}) == 3
    assert (uuid.UUID(bytes=one).version, uuid.UUID(bytes=one).variant) == (5, uuid.RFC_4122)
    # Our own value, kept so that an update cannot turn a box into a new source: receivers would see two for a while.
    assert uuid.UUID(bytes=one) == uuid.UUID("bbe801f3-0f73-5a60-8a1f-0aa2efd53862")


def test_cid_on_the_wire_is_the_same_after_a_restart(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    machine = tmp_path / "machine-id"
    machine.write_text("0123456789abcdef0123456789abcdef\n")
    monkeypatch.setattr(output_module, "_MACHINE_ID", machine)
    seen = []
    with node() as receiver:
        for _ in range(2):
            output = make(receiver, 1, source_name="booth")
            output.open()
            output.send(FRAME, 0.0)
            seen += [packet.cid for packet in received(receiver)]
            output.close()
            receiver.waiting()
    assert seen == [cid("0123456789abcdef0123456789abcdef", "booth")] * 2


@pytest.mark.parametrize("content", [None, b"", b"\n", b"\xff\xfe"])
def test_without_a_machine_id_the_host_name_serves(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, content: bytes | None
) -> None:
    machine = tmp_path / "machine-id"
    if content is not None:
        machine.write_bytes(content)
    monkeypatch.setattr(output_module, "_MACHINE_ID", machine)
    monkeypatch.setattr(socket, "gethostname", lambda: "booth-box")
    with node() as receiver, closing(make(receiver, 1, source_name="booth")) as output:
        output.open()
        output.send(FRAME, 0.0)
        assert [packet.cid for packet in received(receiver)] == [cid("booth-box", "booth")]


def test_settings_left_out() -> None:
    """ANSI E1.31-2018: port 5568 (App. A), priority 100 (cl. 6.2.3); multicast."""
    settings = SacnSettings()
    assert (settings.to, settings.port, settings.priority, settings.preview) == (None, 5568, 100, False)


@pytest.mark.parametrize(
    "wrong",
    [
        {"to": ""},
        {"port": 0},
        {"priority": -1},
        {"priority": 201},
        {"source_name": ""},
        {"source_name": "\u00fc" * 32},
        {"source_name": "a\0b"},
        {"interface": "10.0.0"},
        {"interface": "the lighting network"},
        {"sync_universe": 0},
        {"sync_universe": 64_000},
        {"interface": "::1"},
        {"to": "node", "interface": "10.0.0.5"},
        {"ttl": 0},
        {"ttl": 256},
        {"preview": 1},
        {"universe": 1},
    ],
)
def test_wrong_settings(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        SacnSettings.model_validate(wrong)


@pytest.mark.parametrize("universe", [0, 64_000])
def test_universes_that_do_not_fit(universe: int) -> None:
    """ANSI E1.31-2018 cl. 6.2.7."""
    with pytest.raises(OutputError, match=f"universe {universe}.*1 to 63999"):
        SacnOutput(SacnSettings(), [universe])
