"""The OSC input on real UDP sockets, with python-osc's client as the sender."""

import socket
import time
from collections.abc import Iterator

import pytest
from pythonosc.udp_client import SimpleUDPClient
from tests.running import Running, running, until

from lanternist.core.events import Action, Beat, Control, Touch
from lanternist.inputs.contract import InputError
from lanternist.inputs.osc import LONGEST_DATAGRAM, OscInput, Settings

HERE = "127.0.0.1"


@pytest.fixture
def osc() -> Iterator[Running]:
    with running(OscInput(Settings(port=0))) as run:
        yield run


@pytest.fixture
def sender(osc: Running) -> Iterator[SimpleUDPClient]:
    client = SimpleUDPClient(HERE, osc.port())
    yield client
    client._sock.close()


def test_messages_become_events_stamped_on_arrival(osc: Running, sender: SimpleUDPClient) -> None:
    before = time.monotonic()
    sender.send_message("/lanternist/level", ["slow ember", 0.5])
    sender.send_message("/pad/1", True)
    level, touch = osc.take(2)
    assert level == Action("level", level.at, "slow ember", 0.5)
    assert touch == Touch(Control("osc", path="/pad/1"), 1.0, touch.at, HERE)
    assert before <= level.at <= touch.at <= time.monotonic()


def test_a_burst_is_not_lost(osc: Running, sender: SimpleUDPClient) -> None:
    for n in range(1000):
        sender.send_message("/lanternist/beat", n)
    numbers = [event.number for event in osc.take(1000) if isinstance(event, Beat)]
    assert numbers == list(range(1000))


def test_malformed_datagrams_are_counted_and_survived(
    osc: Running, sender: SimpleUDPClient, caplog: pytest.LogCaptureFixture
) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as raw:
        for bad in (b"", b"\xff" * 7, b"/lanternist/beat\0\0\0\0,f\0\0", b"#bundle\0", bytes(LONGEST_DATAGRAM + 4)):
            raw.sendto(bad, (HERE, osc.port()))
    sender.send_message("/lanternist/tap", [])
    assert isinstance(osc.next(), Action)
    assert osc.input.describe()["malformed"] == 5
    assert osc.input.describe()["events"] == 1
    assert len(caplog.messages) == 1
    assert "osc: refused 1, for example: neither an OSC message nor a bundle" in caplog.messages[0]


TAP = b"/lanternist/tap\0,\0\0\0"
ELEMENT = len(TAP).to_bytes(4, "big") + TAP


def longest() -> tuple[bytes, int]:
    """A bundle of the greatest length allowed: this many taps and one touch."""
    count = (LONGEST_DATAGRAM - 16) // len(ELEMENT)
    padding = b"/" + b"x" * (LONGEST_DATAGRAM - 16 - count * len(ELEMENT) - 4 - 2) + b"\0"
    datagram = b"#bundle\0" + bytes(7) + b"\1" + ELEMENT * count + len(padding).to_bytes(4, "big") + padding
    assert len(datagram) == LONGEST_DATAGRAM
    return datagram, count


def test_the_longest_datagram_is_read(osc: Running) -> None:
    datagram, count = longest()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as raw:
        raw.sendto(datagram, (HERE, osc.port()))
    assert all(isinstance(event, Action) for event in osc.take(count))
    assert isinstance(osc.next(), Touch)


def test_a_longer_datagram_is_refused_not_cut(osc: Running, caplog: pytest.LogCaptureFixture) -> None:
    datagram, _ = longest()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as raw:
        raw.sendto(datagram + ELEMENT, (HERE, osc.port()))
    until(lambda: osc.input.describe()["malformed"] == 1)
    assert osc.events.empty()
    until(lambda: caplog.messages == ["osc: refused 1, for example: a datagram of more than 8192 bytes from 127.0.0.1"])


def test_a_port_in_use_says_so() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind((HERE, 0))
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=f"port {port}: Address already in use; another program.*choose another"):
            OscInput(Settings(port=port)).run(lambda _: None)


def test_an_address_that_is_not_ours_says_so() -> None:
    # 192.0.2.0/24 is kept for documentation (RFC 5737).
    with pytest.raises(InputError, match=r"no such address: choose another `host`"):
        OscInput(Settings(host="192.0.2.1", port=0, senders=["192.0.2.0/24"])).run(lambda _: None)


def test_a_stop_before_run_is_not_lost_and_the_port_is_let_go() -> None:
    osc = OscInput(Settings(port=0))
    osc.stop()
    osc.run(lambda _: None)
    assert osc.describe() == {"listens on": osc.describe()["listens on"], "events": 0, "malformed": 0}
    port = int(str(osc.describe()["listens on"]).rpartition(":")[2])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind((HERE, port))


def test_it_runs_again_after_an_error() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind((HERE, 0))
        osc = OscInput(Settings(port=taken.getsockname()[1]))
        with pytest.raises(InputError):
            osc.run(lambda _: None)
    with running(osc) as run:
        until(lambda: run.where() != "nothing yet")
