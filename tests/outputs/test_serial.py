"""Serial outputs: timing on a simulated line with an independent receiver, and ports that block, fail and vanish.

A pty proves bytes, errors and reconnecting; it passes over the break and the bit rate, which the simulated line has.
"""

import os
import pty
import termios
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import serial
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from tests.independent.line_receiver import TX_BREAK, TX_BREAK_TO_BREAK, TX_MARK, receive
from tests.running import PATIENCE, until
from tests.uart import Uart

from lanternist.outputs import registry, serial_break, serial_port
from lanternist.outputs.contract import OutputError, RefusedError
from lanternist.outputs.serial_break import SerialBreakOutput, SerialBreakSettings
from lanternist.outputs.serial_buffered import SerialBufferedOutput, SerialBufferedSettings
from lanternist.outputs.serial_port import SerialSettings, find
from lanternist.runtime.sender import Sender
from lanternist.testing.outputs import check_output, check_refusal
from lanternist.wire.serial_buffered import Message, Reader, pack

UNIVERSE = 3


def on_paper(uart: Uart, patch: pytest.MonkeyPatch, **settings: Any) -> SerialBreakOutput:
    patch.setattr(serial_break, "time", uart)
    output = SerialBreakOutput(SerialBreakSettings(**settings), [UNIVERSE])
    output._port = uart  # type: ignore[assignment]
    output.open()
    return output


# Milliseconds: what a control transfer to a USB adapter takes, and a thread that was not woken at once.
delays = st.lists(st.floats(0, 8e-3), min_size=1, max_size=30)


@settings(max_examples=30)
@example([b"\1" * 512, b"\2" * 512], [5e-3, 0, 0, 0, 0, 0], 512)  # data that starts on its way late
@given(st.lists(st.binary(min_size=1, max_size=512), min_size=2, max_size=3), delays, st.integers(24, 512))
def test_every_frame_on_the_line_is_by_the_standard_whatever_the_adapter_takes(
    frames: list[bytes], waits: list[float], slots: int
) -> None:
    turn = iter(range(10**9))
    uart = Uart(lambda: waits[next(turn) % len(waits)])
    with pytest.MonkeyPatch.context() as patch:
        output = on_paper(uart, patch, slots=slots)
        for frame in frames:
            output.send({UNIVERSE: frame}, uart.now)
    packets, errors = receive(uart.edges())
    assert errors == []
    assert [bytes(packet.data[1:]).ljust(512, b"\0") for packet in packets] == [one.ljust(512, b"\0") for one in frames]
    assert all(packet.data[0] == 0 and len(packet.data) >= 25 for packet in packets)
    assert min(packet.break_s for packet in packets) >= TX_BREAK
    assert min(packet.mark_s for packet in packets) >= TX_MARK
    assert min(later.at - before.at for before, later in pairwise(packets)) >= TX_BREAK_TO_BREAK


def test_the_receiver_of_this_test_sees_a_break_within_a_packet_and_one_that_is_too_short() -> None:
    uart = Uart()
    uart.set_break(on=True)
    uart.sleep(90e-6)
    uart.set_break(on=False)
    uart.sleep(20e-6)
    uart.write(b"\0" + b"\xff" * 30)
    uart.sleep(120e-6)
    uart.set_break(on=True)
    uart.sleep(200e-6)
    uart.set_break(on=False)
    packets, _ = receive(uart.edges())
    assert packets[0].break_s < TX_BREAK
    assert len(packets[0].data) < 31


def test_a_full_universe_at_40_frames_a_second_fits_an_adapter_that_is_quick_enough(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """E1.11: 22.57 ms for 513 slots at 44 us, which leaves 2.2 ms of 25 for break, mark and what USB takes."""
    uart = Uart(lambda: 0.25e-3)  # eight of them a frame
    output = on_paper(uart, monkeypatch)
    start = uart.now
    for number in range(11):
        uart.now = max(uart.now, start + number * 0.025)
        output.send({UNIVERSE: bytes(512)}, uart.now)
    packets, _ = receive(uart.edges())
    assert 10 / (packets[-1].at - packets[0].at) == pytest.approx(40, abs=0.01)


def test_a_light_beyond_the_slots_asked_for_is_sent_and_warned_of(monkeypatch: pytest.MonkeyPatch) -> None:
    output = on_paper(Uart(), monkeypatch, slots=24)
    output.send({UNIVERSE: bytes(512)}, 0.0)
    assert "warning" not in output.describe()
    output.send({UNIVERSE: bytes(99) + b"\1" + bytes(412)}, 0.0)
    assert "slot 100 is lit" in str(output.describe()["warning"])


def test_a_driver_that_runs_at_another_speed_is_refused_with_a_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    uart = Uart()
    monkeypatch.setattr(uart, "baud", lambda: 256_001)
    with pytest.raises(RefusedError, match=r"runs at 256001 baud, and DMX512 needs 250000 .* another adapter"):
        on_paper(uart, monkeypatch)


class Line:
    """A pty: `path` is what an output opens, `read` what arrives at the other end."""

    def __init__(self) -> None:
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self.slave = slave  # held open: a pty whose other end was never open fails to be read
        self._ends = [slave, self.master]

    def read(self, count: int) -> bytes:
        data = b""
        while len(data) < count:
            data += os.read(self.master, count - len(data))
        return data

    def unplug(self, ends: int = 2) -> None:
        """Close the slave's end, and if `ends` is 2 the master's too; once each, as numbers of files are used again."""
        for end in self._ends[:ends]:
            os.close(end)
        del self._ends[:ends]


@pytest.fixture
def line() -> Iterator[Line]:
    made = Line()
    yield made
    made.unplug()


def breaking(path: str) -> SerialBreakOutput:
    return SerialBreakOutput(SerialBreakSettings(device=path), [UNIVERSE])


def buffered(path: str) -> SerialBufferedOutput:
    return SerialBufferedOutput(SerialBufferedSettings(device=path), [UNIVERSE])


KINDS = pytest.mark.parametrize("kind", [breaking, buffered])


@contextmanager
def swallowed(line: Line) -> Iterator[None]:
    """What arrives is read and thrown away."""

    def swallow() -> None:
        with suppress(OSError):
            while os.read(line.master, 4096):
                pass

    thread = threading.Thread(target=swallow, daemon=True)
    thread.start()
    yield
    line.unplug(1)
    thread.join(PATIENCE)


@KINDS
def test_keeps_the_contract(kind: Any, line: Line, tmp_path: Path) -> None:
    with swallowed(line):
        check_output(lambda: kind(line.path), [UNIVERSE])
    check_refusal(lambda: kind(str(tmp_path / "nothing")), [UNIVERSE])


def test_every_byte_of_a_break_output_arrives(line: Line) -> None:
    output = breaking(line.path)
    output.open()
    attributes = termios.tcgetattr(line.slave)
    assert attributes[2] & termios.CSTOPB
    assert not attributes[2] & (termios.PARENB | termios.CRTSCTS)
    assert attributes[2] & termios.CSIZE == termios.CS8
    for level in range(3):
        output.send({UNIVERSE: bytes((level,)) * 512}, 0.0)
        assert line.read(513) == b"\0" + bytes((level,)) * 512
    output.close()


def test_a_buffered_interface_is_asked_what_it_is_and_gets_every_frame(line: Line) -> None:
    output, reader = buffered(line.path), Reader()
    output.open()
    assert list(reader.feed(line.read(7))) == [Message(3, bytes(2))]
    os.write(line.master, b"noise" + pack(Message(3, bytes((4, 1, 9, 1, 40)))))
    for level in range(3):
        output.send({UNIVERSE: bytes((level,)) * 512}, 10.0 + level)
        assert list(reader.feed(line.read(518))) == [Message(6, b"\0" + bytes((level,)) * 512)]
    until(lambda: sent_again(output, line).get("firmware") == "1.4")
    assert "warning" not in output.describe()
    output.close()


def sent_again(output: SerialBufferedOutput, line: Line) -> dict[str, Any]:
    output.send({UNIVERSE: b"\0"}, 20.0)
    line.read(30)
    return output.describe()


def test_a_device_that_does_not_answer_as_a_buffered_one_is_warned_of(line: Line) -> None:
    output = buffered(line.path)
    output.open()
    with swallowed(line):
        output.send({UNIVERSE: b"\1"}, 5.0)
        assert "warning" not in output.describe()
        output.send({UNIVERSE: b"\1"}, 8.0)
        assert "serial-break" in str(output.describe()["warning"])
        output.close()


def send_many(output: Any, frames: int) -> None:
    for _ in range(frames):
        output.send({UNIVERSE: bytes(512)}, 0.0)


@KINDS
def test_a_port_that_takes_nothing_fails_in_bounded_time_and_in_words(
    kind: Any, line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serial_port, "_PATIENCE_S", 0.05)
    output = kind(line.path)
    output.open()
    with pytest.raises(OutputError, match="takes no more data; unplug"):
        send_many(output, 200)
    output.close()


@KINDS
def test_an_adapter_pulled_in_the_middle_of_a_write_is_said_to_be_gone(kind: Any, line: Line) -> None:
    output = kind(line.path)
    output.open()
    pulled = threading.Timer(0.1, line.unplug)
    pulled.start()
    with pytest.raises(OutputError, match="the adapter is gone; plug it in again"):
        send_many(output, 10_000)
    output.close()
    pulled.join()


def test_a_slow_reader_gets_whole_frames_and_at_last_the_newest(line: Line) -> None:
    sender = Sender("slow", breaking(line.path), [UNIVERSE], retry_s=(0.01,))
    sender.start()
    got: list[bytes] = []
    until(lambda: sender.describe()["state"] == "up")
    reader = threading.Thread(target=lambda: got.extend(iter(lambda: line.read(513), LAST)), daemon=True)
    for level in range(30):
        if level == 12:
            reader.start()
        sender.offer({UNIVERSE: bytes((level,)) * 512})
        threading.Event().wait(0.002)
    sender.offer({UNIVERSE: LAST[1:]})
    reader.join(PATIENCE)
    assert not reader.is_alive()
    assert all(frame == b"\0" + frame[1:2] * 512 for frame in got)
    sender.leave()
    assert sender.ended(PATIENCE)


LAST = b"\0" + b"\xff" * 512


def test_an_adapter_that_vanishes_and_comes_back_is_found_again(tmp_path: Path) -> None:
    link, first = tmp_path / "dmx", Line()
    link.symlink_to(first.path)
    sender = Sender("stage", breaking(str(link)), [UNIVERSE], retry_s=(0.01,))
    sender.start()
    until(lambda: sender.describe()["state"] == "up")
    sender.offer({UNIVERSE: b"\1" * 512})
    assert first.read(513)[1] == 1
    link.unlink()
    first.unplug()
    until(lambda: offered(sender)["state"] == "retrying" and "there is no" in str(sender.describe()["error"]))
    second = Line()
    link.symlink_to(second.path)
    until(lambda: offered(sender)["state"] == "up")
    assert second.read(513)[1] == 2
    with swallowed(second):
        sender.leave()
        assert sender.ended(PATIENCE)


def offered(sender: Sender) -> dict[str, Any]:
    sender.offer({UNIVERSE: b"\2" * 512})
    return sender.describe()


def test_a_port_that_another_program_has_is_not_shared(line: Line) -> None:
    one, other = breaking(line.path), breaking(line.path)
    one.open()
    with pytest.raises(OutputError, match="another program has it"):
        other.open()
    one.close()
    other.open()
    other.close()


@KINDS
@pytest.mark.parametrize(
    ("device", "says"), [("/dev/null", "no serial port"), ("rig.toml", "no serial port"), (".", "a folder")]
)
def test_what_is_no_port_is_refused(kind: Any, device: str, says: str, tmp_path: Path) -> None:
    (tmp_path / "rig.toml").touch()
    output = kind(str(tmp_path / device))
    with pytest.raises(RefusedError, match=says):
        output.open()
    output.close()


@pytest.mark.parametrize(
    ("number", "says"),
    [
        (13, "at 250000 baud: it is not allowed"),
        (1, "group dialout"),
        (22, "newer kernel"),
        (16, "another program"),
        (28, "No space"),
    ],
)
def test_what_the_kernel_says_is_put_in_words(number: int, says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise OSError(number, "no")

    monkeypatch.setattr(serial, "Serial", fails)
    with pytest.raises(OutputError, match=says):
        breaking("/dev/null").open()


def test_a_break_that_the_driver_does_not_know_is_told(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise termios.error(25, "Inappropriate ioctl for device")

    output = breaking(line.path)
    output.open()
    monkeypatch.setattr(serial.Serial, "break_condition", property(None, fails))
    with pytest.raises(RefusedError, match=r"cannot send a break on .* its driver cannot do this"):
        output.send({UNIVERSE: b"\1"}, 0.0)
    output.close()


def plug(monkeypatch: pytest.MonkeyPatch, **adapters: str) -> None:
    """These USB adapters, by name and serial number; and one port that is built in."""
    found = [
        SimpleNamespace(device=f"/dev/{name}", serial_number=number, vid=0x403) for name, number in adapters.items()
    ]
    built_in = SimpleNamespace(device="/dev/ttyS0", serial_number=None, vid=None)
    monkeypatch.setattr(serial_port, "comports", lambda: [*found, built_in])


def test_a_port_is_the_one_named_or_the_only_one(monkeypatch: pytest.MonkeyPatch) -> None:
    plug(monkeypatch, ttyUSB0="A1", ttyUSB1="B2")
    assert find(SerialSettings(serial_number="B2")) == "/dev/ttyUSB1"
    with pytest.raises(OutputError, match=r"no USB adapter has the serial number C3; plugged in: /dev/ttyUSB0 \(ser"):
        find(SerialSettings(serial_number="C3"))
    with pytest.raises(RefusedError, match=r"plugged in: .*; say which with `device` or `serial_number`"):
        find(SerialSettings())
    plug(monkeypatch, ttyUSB0="B2", ttyUSB1="B2")
    with pytest.raises(RefusedError, match=r"say which with `device`$"):
        find(SerialSettings(serial_number="B2"))
    plug(monkeypatch, ttyUSB1="B2")
    assert find(SerialSettings()) == "/dev/ttyUSB1"
    plug(monkeypatch)
    with pytest.raises(OutputError, match="no USB serial adapter is plugged in; plug it in"):
        find(SerialSettings())
    with pytest.raises(ValidationError, match="leave out one of them"):
        SerialSettings(device="/dev/x", serial_number="A1")


def test_a_line_carries_one_universe() -> None:
    for name in ("serial-break", "serial-buffered"):
        assert registry.make(name, {}, [1])
        with pytest.raises(OutputError, match="a serial line carries one universe"):
            registry.make(name, {}, [1, 2])
