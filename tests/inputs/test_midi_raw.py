"""The raw MIDI input on a pseudo-terminal, which like a raw MIDI device is a character device of bytes."""

import errno
import logging
import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.running import Running, running, until

from lanternist.core.events import Control, Lost, SongPosition, Tick, Touch
from lanternist.inputs import midi, midi_raw
from lanternist.inputs.contract import InputError
from lanternist.inputs.midi_feed import MidiFeeds
from lanternist.inputs.midi_raw import MidiRawInput, Settings, find_devices
from lanternist.inputs.tally import Tally


class Device:
    """A pty: what is written to it comes out of its path."""

    def __init__(self) -> None:
        self.near, self.far = os.openpty()
        self.path = os.ttyname(self.far)

    def send(self, text: str) -> None:
        os.write(self.near, bytes.fromhex(text))

    def unplug(self) -> None:
        if self.near >= 0:
            os.close(self.near)
            os.close(self.far)
            self.near = -1


@pytest.fixture
def device() -> Iterator[Device]:
    made = Device()
    yield made
    made.unplug()


@pytest.fixture
def raw(device: Device) -> Iterator[Running]:
    with running(MidiRawInput(Settings(device=device.path))) as run:
        until(lambda: run.where() == device.path)
        yield run


def test_bytes_become_events(raw: Running, device: Device) -> None:
    before = time.monotonic()
    # 03, 04, 0A, 0D, 11, 13, 1A: bytes that a terminal would act on, as velocities and positions.
    device.send("90 03 0A F8 04 0D B0 11 13 F2 1A 0A")
    events = raw.take(5)
    name = Path(device.path).name
    assert events == [
        Touch(Control("note", 1, 3), 10 / 127, events[0].at, name),
        Tick(events[1].at),
        Touch(Control("note", 1, 4), 13 / 127, events[2].at, name),
        Touch(Control("cc", 1, 17), 19 / 127, events[3].at, name),
        SongPosition(events[4].at, (26 + 10 * 128) / 4),
    ]
    assert before <= events[0].at <= events[4].at <= time.monotonic()


def test_unplugging_lets_go_of_keys_and_says_so(raw: Running, device: Device) -> None:
    device.send("90 24 7F")
    assert isinstance(raw.next(), Touch)
    device.unplug()
    failure = raw.ended()
    assert isinstance(failure, InputError)
    assert f"{device.path} has gone" in str(failure)
    released, lost = raw.take(2)
    assert released == Touch(Control("note", 1, 36), 0.0, released.at, Path(device.path).name)
    assert lost == Lost(released.at, Path(device.path).name)


def test_malformed_bytes_are_counted(raw: Running, device: Device) -> None:
    device.send("01 02 03 F8")
    assert isinstance(raw.next(), Tick)
    until(lambda: raw.input.describe()["malformed"] == 3)


def test_a_device_that_fails_has_gone(raw: Running, device: Device, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> bytes:
        raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))

    monkeypatch.setattr(os, "read", fail)
    device.send("F8")
    assert isinstance(raw.ended(), InputError)


def test_what_cannot_be_opened_says_why(tmp_path: Path) -> None:
    a_file = tmp_path / "file"
    a_file.write_text("no device")
    for path, reason in (
        (str(tmp_path / "none"), "No such file or directory; plug it in"),
        (str(a_file), "is not a character device"),
        (str(tmp_path), "is not a character device"),
        ("a\0b", "correct `device`"),
    ):
        with pytest.raises(InputError, match=reason):
            MidiRawInput(Settings(device=path)).run(lambda _: None)


def test_no_descriptor_is_left_open(device: Device) -> None:
    before = sorted(Path("/proc/self/fd").iterdir())
    raw = MidiRawInput(Settings(device=device.path))
    raw.stop()
    raw.run(lambda _: None)
    with pytest.raises(InputError):
        MidiRawInput(Settings(device="/proc/self/status")).run(lambda _: None)
    assert sorted(Path("/proc/self/fd").iterdir()) == before


# --- the kernel's raw devices, as the input "midi" finds them where python-rtmidi or ALSA's sequencer is missing


class Sound:
    """Folders like /dev/snd and /proc/asound, with ptys for devices."""

    def __init__(self, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._snd, self._asound = root / "snd", root / "asound"
        self._snd.mkdir()
        monkeypatch.setattr(midi_raw, "_DEVICES", self._snd)
        monkeypatch.setattr(midi_raw, "_CARDS", self._asound)
        monkeypatch.setattr(midi, "_RAW_DOOR", self._snd)
        monkeypatch.setattr(midi, "_open_rtmidi", lambda *_: None)

    def plug(self, card: int, name: str, path: str) -> Path:
        (self._asound / f"card{card}").mkdir(parents=True, exist_ok=True)
        (self._asound / f"card{card}" / "midi0").write_text(f"{name}\n\nInput 0\n")
        link = self._snd / f"midiC{card}D0"
        link.symlink_to(path)
        return link


@pytest.fixture
def sound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Sound:
    return Sound(tmp_path, monkeypatch)


def test_devices_are_found_by_a_part_of_their_name(sound: Sound) -> None:
    pads = sound.plug(0, "Pads 16", "/dev/null")
    keys = sound.plug(1, "Keys", "/dev/null")
    assert find_devices("") == {str(pads): "Pads 16", str(keys): "Keys"}
    assert find_devices("pads") == {str(pads): "Pads 16"}
    assert find_devices("organ") == {}


def test_devices_come_and_go(sound: Sound, device: Device, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    with running(midi.MidiInput(midi.Settings(port="pads"))) as run:
        until(lambda: run.where() == "no port yet")
        link = sound.plug(0, "Pads 16", device.path)
        sound.plug(1, "Keys", "/dev/null")
        until(lambda: run.where() == "Pads 16")
        device.send("99 24 7F")
        struck = run.next()
        assert struck == Touch(Control("note", 10, 36), 1.0, struck.at, "Pads 16")
        device.unplug()
        link.unlink()
        let_go, lost = run.take(2)
        assert let_go == Touch(Control("note", 10, 36), 0.0, let_go.at, "Pads 16")
        assert lost == Lost(let_go.at, "Pads 16")
        until(lambda: run.where() == "no port yet")
        another = Device()
        sound.plug(0, "Pads 16", another.path)
        until(lambda: run.where() == "Pads 16")
        another.send("F8")
        assert isinstance(run.next(), Tick)
        another.unplug()
    assert "midi: Pads 16 has gone" in caplog.messages


def open_ports() -> midi.Ports:
    return midi.open_ports("", MidiFeeds(lambda _: None, Tally(logging.getLogger("lanternist.test"), "midi")))


def test_a_device_is_opened_once(sound: Sound, device: Device) -> None:
    sound.plug(0, "Pads 16", device.path)
    ports = open_ports()
    ports.scan()
    before = sorted(Path("/proc/self/fd").iterdir())
    ports.scan()
    assert sorted(Path("/proc/self/fd").iterdir()) == before
    assert ports.names() == ["Pads 16"]
    ports.close()


def test_a_device_that_cannot_be_opened_is_said_once(sound: Sound, caplog: pytest.LogCaptureFixture) -> None:
    sound.plug(0, "Pads 16", "/proc/self/status")
    ports = open_ports()
    for _ in range(3):
        ports.scan()
    assert ports.names() == []
    assert len(caplog.messages) == 1
    assert "is not a character device" in caplog.messages[0]
    ports.close()


def test_a_device_that_may_be_opened_only_later_is_opened_then(
    sound: Sound, device: Device, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The kernel makes it for root, and udev gives it to the group some moments later."""

    def refused(path: str) -> int:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), path)

    sound.plug(0, "Pads 16", device.path)
    ports = open_ports()
    with monkeypatch.context() as early:
        early.setattr(midi_raw, "_opened", refused)
        for _ in range(3):
            ports.scan()
    assert ports.names() == []
    assert ["add the user to the group" in message for message in caplog.messages] == [True]
    ports.scan()
    assert ports.names() == ["Pads 16"]
    ports.close()
