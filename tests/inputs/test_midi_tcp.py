"""MIDI over TCP, with mido's socket ports as the senders."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import mido
import mido.sockets
import pytest
from tests.namespaces import BOOTH, STAGE, joined
from tests.running import Running, running, until

from lanternist.core.events import Control, Lost, Tick, Touch
from lanternist.inputs import midi_tcp
from lanternist.inputs.contract import InputError
from lanternist.inputs.midi_tcp import MOST_CLIENTS, MidiTcpInput, Settings

HERE = "127.0.0.1"


@pytest.fixture
def tcp() -> Iterator[Running]:
    with running(MidiTcpInput(Settings(port=0))) as run:
        yield run


@contextmanager
def connected(tcp: Running) -> Iterator[mido.sockets.SocketPort]:
    """One of mido's senders. Its own close leaves the connection open as long as its files are."""
    port = mido.sockets.connect(HERE, tcp.port())
    try:
        yield port
    finally:
        port._rfile.close()
        port._wfile.close()
        port.close()


def device_of(sender: socket.socket) -> str:
    return "tcp {}:{}".format(*sender.getsockname())


def clients(tcp: Running, count: int) -> None:
    until(lambda: tcp.input.describe()["clients"] == count)


def test_what_mido_sends_arrives(tcp: Running) -> None:
    before = time.monotonic()
    with connected(tcp) as sender:
        sender.send(mido.Message("note_on", channel=9, note=36, velocity=127))
        for _ in range(100):
            sender.send(mido.Message("clock"))
        note, *clocks = tcp.take(101)
        device = device_of(sender._socket)
    assert note == Touch(Control("note", 10, 36), 1.0, note.at, device)
    assert all(isinstance(clock, Tick) for clock in clocks)
    stamps = [note.at, *(clock.at for clock in clocks)]
    assert stamps == sorted(stamps)
    assert before <= stamps[0]
    assert stamps[-1] <= time.monotonic()


def test_two_senders_do_not_mix_their_bytes(tcp: Running) -> None:
    with (
        socket.create_connection((HERE, tcp.port())) as one,
        connected(tcp) as other,
    ):
        one.sendall(bytes.fromhex("90 3C"))
        clients(tcp, 2)
        other.send(mido.Message("control_change", control=7, value=127))
        fader = tcp.next()
        assert fader == Touch(Control("cc", 1, 7), 1.0, fader.at, device_of(other._socket))
        one.sendall(bytes.fromhex("64"))
        touch = tcp.next()
        assert touch == Touch(Control("note", 1, 60), 100 / 127, touch.at, device_of(one))
    assert tcp.input.describe()["malformed"] == 0


def test_a_sender_that_leaves_lets_go_of_its_keys(tcp: Running) -> None:
    with connected(tcp) as sender:
        sender.send(mido.Message("note_on", note=60))
        tcp.next()
        device = device_of(sender._socket)
    let_go, lost = tcp.take(2)
    assert let_go == Touch(Control("note", 1, 60), 0.0, let_go.at, device)
    assert lost == Lost(let_go.at, device)
    clients(tcp, 0)


def test_too_many_senders_are_turned_away(tcp: Running) -> None:
    senders = [socket.create_connection((HERE, tcp.port())) for _ in range(MOST_CLIENTS)]
    clients(tcp, MOST_CLIENTS)
    with socket.create_connection((HERE, tcp.port())) as refused:
        refused.settimeout(10)
        assert refused.recv(1) == b""
    senders[0].sendall(b"\xf8")
    assert isinstance(tcp.next(), Tick)
    for sender in senders:
        sender.close()
    clients(tcp, 0)


def test_a_port_in_use_says_so(tcp: Running) -> None:
    with pytest.raises(InputError, match=f"port {tcp.port()}: Address already in use; another program"):
        MidiTcpInput(Settings(port=tcp.port())).run(lambda _: None)


def test_stopping_closes_every_connection() -> None:
    tcp = MidiTcpInput(Settings(port=0))
    with running(tcp) as run, socket.create_connection((HERE, run.port())) as sender:
        sender.settimeout(10)
        sender.sendall(bytes.fromhex("90 3C 64"))
        run.next()
        tcp.stop()
        assert run.ended() is None
        assert sender.recv(1) == b""
        assert isinstance(run.next(), Touch)


def test_a_sender_whose_cable_is_pulled_lets_go_after_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(midi_tcp, "GONE_AFTER_S", 3)
    with joined() as (booth, stage):
        run = Running(MidiTcpInput(Settings(host=BOOTH, port=0, senders=[STAGE])))
        run.thread = threading.Thread(target=lambda: booth.call(run.run), daemon=True)
        run.thread.start()
        where = BOOTH, run.port()

        def press() -> socket.socket:
            pads = socket.create_connection(where, 10)
            pads.sendall(b"\x90\x3c\x7f")
            return pads

        with stage.call(press):
            assert isinstance(run.next(), Touch)
            stage.ip("link set stage0 down")
            let_go, lost = run.take(2)
            assert isinstance(let_go, Touch)
            assert let_go.value == 0
            assert isinstance(lost, Lost)
            run.input.stop()
            assert run.ended() is None
