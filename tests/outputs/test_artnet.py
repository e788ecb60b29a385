"""Art-Net out, at the wire: a real socket on loopback."""

import pytest
from pydantic import ValidationError
from tests.nodes import Node, node

from lanternist.outputs.artnet import ArtNetOutput, ArtNetSettings
from lanternist.outputs.contract import OutputError
from lanternist.testing.outputs import check_output
from lanternist.wire import artnet

FRAME = {1: b"\x01" * 512, 2: b"\x02" * 24, 7: b"\x07\x08\x09"}


def make(receiver: Node, *universes: int, port_address: int | None = None) -> ArtNetOutput:
    settings = ArtNetSettings(to="127.0.0.1", port=receiver.port, port_address=port_address)
    return ArtNetOutput(settings, universes)


def received(receiver: Node) -> list[artnet.Dmx]:
    packets = [artnet.parse(packet) for packet in receiver.waiting()]
    assert all(isinstance(packet, artnet.Dmx | artnet.Sync) for packet in packets)
    return [packet for packet in packets if isinstance(packet, artnet.Dmx)]


def test_keeps_the_contract() -> None:
    with node() as receiver:
        check_output(lambda: make(receiver, 1, 2), [1, 2])


def test_universe_n_goes_to_port_address_n() -> None:
    with node() as receiver:
        output = make(receiver, 1, 2, 7)
        output.open()
        output.send(FRAME, 0.0)
        output.close()
        assert received(receiver) == [
            artnet.Dmx(1, 1, FRAME[1]),
            artnet.Dmx(2, 1, FRAME[2]),
            artnet.Dmx(7, 1, FRAME[7] + b"\0"),
        ]


def test_port_addresses_count_up_from_the_first() -> None:
    with node() as receiver:
        output = make(receiver, 1, 2, 7, port_address=0x0FE)
        output.open()
        output.send(FRAME, 0.0)
        output.close()
        assert [packet.port_address for packet in received(receiver)] == [0x0FE, 0x0FF, 0x100]


def test_port_address_0_can_be_chosen() -> None:
    with node() as receiver:
        output = make(receiver, 5, port_address=0)
        output.open()
        output.send({5: b"\1\2"}, 0.0)
        output.close()
        assert received(receiver) == [artnet.Dmx(0, 1, b"\1\2")]


def test_only_its_own_universes_and_only_those_that_come() -> None:
    with node() as receiver:
        output = make(receiver, 2, 3)
        output.open()
        output.send(FRAME, 0.0)
        output.close()
        assert [packet.port_address for packet in received(receiver)] == [2]


def test_only_the_universe_that_changed_is_sent() -> None:
    with node() as receiver:
        output = make(receiver, 1, 2)
        output.open()
        output.send(FRAME, 0.0)
        output.send({**FRAME, 2: b"\x03" * 24}, 0.025)
        output.close()
        assert received(receiver)[2:] == [artnet.Dmx(2, 2, b"\x03" * 24)]


def test_still_frames_are_repeated_every_0_9_s() -> None:
    """Art-Net 4 recommends a repeat every 0.8 to 1.0 s."""
    with node() as receiver:
        output = make(receiver, 1)
        output.open()
        for n in range(100):
            output.send(FRAME, n * 0.025)
        output.close()
        assert [packet.sequence for packet in received(receiver)] == [1, 2, 3]


def test_sequence_never_is_0_and_goes_on_after_reopening() -> None:
    """Art-Net 4, ArtDmx: 1 to 255, then 1 again."""
    with node() as receiver:
        output = make(receiver, 1)
        seen = []
        for _ in range(2):
            output.open()
            for n in range(150):
                output.send({1: bytes([n, n])}, n * 0.025)
                seen += [packet.sequence for packet in received(receiver)]
            output.close()
        assert seen == [1 + n % 255 for n in range(300)]


def test_sync_follows_the_universes_of_a_frame_if_there_are_several() -> None:
    """Art-Net 4, ArtSync: after the ArtDmx packets of one frame; a still frame needs none."""
    with node() as receiver:
        output = make(receiver, 1, 2)
        output.open()
        for now in (0.0, 0.025):
            output.send(FRAME, now)
        output.send({**FRAME, 2: b"\x03" * 24}, 0.05)
        kinds = [type(artnet.parse(packet)) for packet in receiver.waiting()]
        output.close()
    assert kinds == [artnet.Dmx, artnet.Dmx, artnet.Sync, artnet.Dmx, artnet.Sync]


def test_a_single_universe_needs_no_sync() -> None:
    with node() as receiver:
        output = make(receiver, 1)
        output.open()
        output.send(FRAME, 0.0)
        output.close()
        assert [type(artnet.parse(packet)) for packet in receiver.waiting()] == [artnet.Dmx]


def test_close_sends_nothing() -> None:
    with node() as receiver:
        output = make(receiver, 1)
        output.open()
        output.send(FRAME, 0.0)
        receiver.waiting()
        output.close()
        assert receiver.waiting() == []


def test_describe_says_where_and_how_many() -> None:
    with node() as receiver:
        output = make(receiver, 1, 2)
        output.open()
        output.send(FRAME, 0.0)
        output.close()
        assert output.describe() == {
            "to": "127.0.0.1",
            "port": receiver.port,
            "universes": "1, 2",
            "packets": 3,  # one is the ArtSync
            "dropped": 0,
            "undelivered": 0,
        }


def test_settings_of_a_plain_node() -> None:
    """Art-Net 4: UDP port 6454."""
    assert ArtNetSettings(to="10.0.0.20").model_dump() == {"to": "10.0.0.20", "port": 6454, "port_address": None}


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"to": ""},
        {"to": 10},
        {"to": "node", "port": 0},
        {"to": "node", "port": 65_536},
        {"to": "node", "port": "6454"},
        {"to": "node", "port_address": 32_768},
        {"to": "node", "port_address": -1},
        {"to": "node", "universe": 1},
    ],
)
def test_wrong_settings(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        ArtNetSettings.model_validate(wrong)


@pytest.mark.parametrize(("universes", "port_address"), [([1, 2], 32_767), ([32_768], None)])
def test_universes_that_do_not_fit(universes: list[int], port_address: int | None) -> None:
    """Art-Net 4: Port-Addresses have 15 bits."""
    settings = ArtNetSettings(to="node", port_address=port_address)
    with pytest.raises(OutputError, match="Port-Address 32768"):
        ArtNetOutput(settings, universes)
