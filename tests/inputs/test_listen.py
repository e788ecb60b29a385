"""Doors to the network: whom they let in, and that what cannot be looked at is counted."""

import ipaddress
import socket
import threading

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from tests.namespaces import BOOTH, STAGE, joined
from tests.running import Running, running, until

from lanternist.core.events import Event
from lanternist.inputs import listen
from lanternist.inputs.listen import DoorSettings
from lanternist.inputs.midi_tcp import MidiTcpInput
from lanternist.inputs.midi_tcp import Settings as MidiTcpSettings
from lanternist.inputs.osc import OscInput
from lanternist.inputs.osc import Settings as OscSettings

HERE = "127.0.0.1"
STRANGER = "10.77.0.66"
TAP = b"/lanternist/tap\0,\0\0\0"
V4 = st.integers(0, 2**32 - 1).map(lambda number: str(ipaddress.IPv4Address(number)))


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.1", "::", "booth.example"])
def test_a_door_that_is_opened_says_to_whom(host: str) -> None:
    with pytest.raises(ValidationError, match=r"opens this to the network, so say who may send: senders = \["):
        OscSettings(host=host)
    assert OscSettings(host=host, senders=["192.0.2.0/24"]).admits("192.0.2.200")


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.1.2.3"])
def test_on_loopback_nobody_need_be_named(host: str) -> None:
    assert MidiTcpSettings(host=host).admits(HERE)
    assert not MidiTcpSettings(host=host).admits("192.0.2.1")


@pytest.mark.parametrize("sender", ["booth", "10.0.0.0/33", "10.0.0", ""])
def test_what_is_no_sender_is_told(sender: str) -> None:
    with pytest.raises(ValidationError, match="is no address and no network"):
        OscSettings(senders=[sender])


@given(V4, st.integers(8, 32), V4)
def test_in_is_who_is_in_the_network(network: str, length: int, sender: str) -> None:
    """By hand: the first `length` bits are the same (RFC 4632)."""
    first, second = (int.from_bytes(socket.inet_aton(one)) >> (32 - length) for one in (network, sender))
    door = DoorSettings(host="0.0.0.0", port=0, senders=[f"{network}/{length}"])
    assert door.admits(sender) == (first == second or sender.startswith("127."))


def test_strangers_are_not_read_but_counted(monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:
    monkeypatch.setattr(DoorSettings, "admits", lambda _door, _sender: False)
    with running(OscInput(OscSettings(port=0))) as osc, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stranger:
        stranger.sendto(TAP, (HERE, osc.port()))
        until(lambda: osc.input.describe()["malformed"] == 1)
        assert osc.events.empty()
    with running(MidiTcpInput(MidiTcpSettings(port=0))) as tcp:
        with socket.create_connection((HERE, tcp.port())) as stranger:
            stranger.settimeout(10)
            assert stranger.recv(1) == b""
        assert tcp.input.describe()["clients"] == 0
    assert sum("not among `senders`" in message for message in caplog.messages) == 2


def test_what_the_kernel_throws_away_is_counted() -> None:
    """More than its buffer holds, while the input waits: what was taken and what was lost make what was sent."""
    go_on, taken, sent = threading.Event(), list[Event](), 20_000

    def emit(event: Event) -> None:
        go_on.wait(20)
        taken.append(event)

    osc = OscInput(OscSettings(port=0))
    thread = threading.Thread(target=osc.run, args=(emit,))
    thread.start()
    until(lambda: ":" in str(osc.describe()["listens on"]))
    where = HERE, int(str(osc.describe()["listens on"]).rpartition(":")[2])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as flood:
        for _ in range(sent):
            flood.sendto(TAP, where)
        go_on.set()

        def one_more_and_all_are_told_of() -> bool:
            nonlocal sent
            flood.sendto(TAP, where)
            sent += 1
            until(lambda: osc.describe()["events"] == len(taken))
            return len(taken) + int(osc.describe()["malformed"]) == sent

        until(one_more_and_all_are_told_of)
    osc.stop()
    thread.join()
    assert int(osc.describe()["malformed"]) > 1000


V127 = st.integers(0, 2**24 - 1).map(lambda number: str(ipaddress.IPv4Address((127 << 24) + number)))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(V127, st.integers(8, 32)), max_size=3), V127.filter(lambda one: one != "127.255.255.255"))
def test_the_kernel_lets_in_whom_the_rig_names(networks: list[tuple[str, int]], sender: str) -> None:
    named = [ipaddress.IPv4Network(f"{one}/{length}", strict=False) for one, length in networks]
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as door,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outside,
    ):
        door.bind((HERE, 0))
        door.settimeout(0)
        outside.bind((sender, 0))
        listen._let_in(named, door)
        outside.sendto(TAP, door.getsockname())
        came = True
        try:
            door.recv(100)
        except BlockingIOError:
            came = False
        assert came == any(ipaddress.IPv4Address(sender) in one for one in named)


def test_a_flood_of_strangers_leaves_room_for_those_who_are_named() -> None:
    with joined() as (booth, stage):
        stage.ip(f"addr add {STRANGER}/24 dev stage0")
        run = Running(OscInput(OscSettings(host=BOOTH, port=0, senders=[STAGE])))
        run.thread = threading.Thread(target=lambda: booth.call(run.run), daemon=True)
        run.thread.start()
        where = BOOTH, run.port()

        def sender(address: str) -> socket.socket:
            made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            made.bind((address, 0))
            return made

        with stage.call(lambda: sender(STRANGER)) as stranger, stage.call(lambda: sender(STAGE)) as phone:
            for _ in range(5000):
                stranger.sendto(TAP, where)
            # What had come before is looked at first.
            until(lambda: bool(phone.sendto(TAP, where)) and not run.events.empty())
            before = run.events.qsize()
            for _ in range(500):
                for _ in range(20):
                    stranger.sendto(TAP, where)
                phone.sendto(TAP, where)
            assert len(run.take(before + 500)) >= 500
            # What the kernel has thrown away is told with the next that it lets in.
            phone.sendto(TAP, where)
            until(lambda: int(run.input.describe()["malformed"]) > 10_000)
        run.input.stop()
        assert run.ended() is None
