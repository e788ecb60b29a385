"""The doctor on made-up machines: each ailment is found, and a machine in good health has none.

Where the files are and what they say: the kernel's Documentation/ABI (sysfs-class-thermal, sysfs-devices-system-cpu,
sysfs-bus-usb), Documentation/filesystems/proc.rst; get_throttled: bits from memory.
"""

import json
import socket
from pathlib import Path

import pytest
from tests import rigs
from tests.nodes import free_port

from lanternist.cli import main
from lanternist.cli.doctor import told
from lanternist.core.rig import Rig
from lanternist.runtime.box import Box
from lanternist.runtime.doctor import Case, Remark, examine

HEALTHY = {
    "/etc/systemd/system/lanternist.service": "",
    "/etc/systemd/system/multi-user.target.wants/lanternist.service": "",
    "/sys/devices/system/cpu/cpu0/cpufreq/scaling_governor": "schedutil",
    "/sys/devices/system/cpu/cpu0/cpufreq/scaling_driver": "cpufreq-dt",
    "/sys/class/thermal/thermal_zone0/temp": "52000",
    "/sys/devices/platform/soc/firmware/get_throttled": "0",
    "/sys/devices/system/clocksource/clocksource0/current_clocksource": "arch_sys_counter",
    "/run/systemd/timesync/synchronized": "",
    "/run/systemd/system/.": "",
    "/var/log/journal/.": "",
    "/proc/meminfo": "MemTotal: 948000 kB\nMemAvailable: 700000 kB",
    "/proc/net/udp": "  sl  local_address rem_address\n  1: 00000000:0044 00000000:0000 07",
    "/dev/snd/seq": "",
    "/sys/class/sound/card1/id": "Pads",
    "/dev/ttyUSB0": "",
    "/sys/bus/usb/1-1/idVendor": "0403",
    "/sys/bus/usb/1-1/power/control": "on",
    "/sys/bus/usb/1-1/1-1:1.0/ttyUSB0/.": "",
    "/sys/class/tty/ttyUSB0/device": "-> ../../../bus/usb/1-1/1-1:1.0/ttyUSB0",
    "/sys/class/net/eth0/operstate": "up",
}
RIG = rigs.rig(
    '[[outputs]]\nuniverse = 1\nby = "serial-break"\n'
    '[[outputs]]\nuniverse = 2\nby = "sacn"\ninterface = "eth0"\n'
    '[[outputs]]\nuniverse = 3\nby = "artnet"\nto = "127.0.0.1"\n'
    '[[inputs]]\nby = "midi"\n[[inputs]]\nby = "osc"\n[[inputs]]\nby = "midi-tcp"\n' + rigs.row_of_dimmers(1)
)


def machine(root: Path, **changed: str | None) -> Box:
    """A healthy machine but for these files; None: not there. A folder ends in /. and a link says where it leads."""
    for name, text in (HEALTHY | changed).items():
        path = root / name.lstrip("/").removesuffix("/.")
        if text is None:
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        if name.endswith("/."):
            path.mkdir(exist_ok=True)
        elif text.startswith("-> "):
            path.symlink_to(text[3:])
        else:
            path.write_text(text)
    return Box(root)


def remarks(box: Box, rig: Rig | None = RIG, state: dict[str, object] | None = None) -> list[Remark]:
    return list(examine(Case(box, rig, state, Path("/run/lanternist/lanternist.sock"))))


def complaints(box: Box, rig: Rig | None = RIG) -> list[tuple[str, str, str]]:
    return [(one.about, one.weight, one.what) for one in remarks(box, rig) if one.weight != "good"]


@pytest.fixture(autouse=True)
def _a_user_with_rights(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever rights the tests run with."""
    monkeypatch.setattr(Box, "limit", lambda _box, _which: float("inf"))
    monkeypatch.setattr(Box, "free", lambda _box, _name: 5000.0)
    monkeypatch.setattr(Box, "is_read_only", lambda _box, _name: False)


def test_a_healthy_machine_has_nothing_to_mind(tmp_path: Path) -> None:
    assert complaints(machine(tmp_path)) == []


AILMENTS: list[tuple[dict[str, str | None], str, str, str]] = [
    ({"/etc/systemd/system/lanternist.service": None}, "service", "mind", "not installed"),
    ({"/etc/systemd/system/multi-user.target.wants/lanternist.service": None}, "service", "mind", "does not come on"),
    ({"/run/lanternist/lanternist.sock": ""}, "daemon", "mind", "does not answer"),
    ({"/sys/devices/system/cpu/cpu0/cpufreq/scaling_governor": "powersave"}, "processor", "mind", "lowest speed"),
    ({"/sys/class/thermal/thermal_zone0/temp": "91000"}, "processor", "wrong", "91 degrees"),
    ({"/sys/devices/platform/soc/firmware/get_throttled": "50005"}, "power", "wrong", "is too low"),
    ({"/sys/devices/platform/soc/firmware/get_throttled": "50000"}, "power", "wrong", "has been too low"),
    ({"/sys/devices/system/clocksource/clocksource0/current_clocksource": "hpet"}, "clock", "mind", "hpet"),
    ({"/run/systemd/timesync/synchronized": None}, "clock", "mind", "no battery clock"),
    ({"/var/log/journal/.": None}, "disk", "mind", "in memory"),
    ({"/proc/meminfo": "MemAvailable: 90000 kB"}, "memory", "mind", "90 MB"),
    ({"/dev/snd/seq": None}, "midi", "mind", "no MIDI"),
    ({"/dev/ttyUSB0": None}, "serial", "wrong", "no USB adapter"),
    ({"/sys/bus/usb/1-1/power/control": "auto"}, "serial", "mind", "fall asleep"),
    ({"/sys/class/net/eth0/operstate": "down"}, "network", "wrong", "eth0 is down"),
    ({"/sys/class/net/eth0/operstate": None}, "network", "wrong", "no interface eth0"),
    ({"/sys/class/net/lo/wireless/.": ""}, "network", "mind", "by radio"),
    ({"/proc/net/udp": "head\n 1: 0100007F:2328 00000000:0000 07"}, "ports", "wrong", "UDP port 9000 is taken"),
    ({"/proc/net/tcp": "head\n 1: 00000000:2378 00000000:0000 0A"}, "ports", "wrong", "TCP port 9080 is taken"),
]


@pytest.mark.parametrize(("changed", "about", "weight", "words"), AILMENTS)
def test_each_ailment_is_found_and_nothing_else(
    changed: dict[str, str | None], about: str, weight: str, words: str, tmp_path: Path
) -> None:
    (found,) = complaints(machine(tmp_path, **changed))
    assert found[:2] == (about, weight)
    assert words in found[2]


def test_what_is_found_says_why_and_how_to_mend_it(tmp_path: Path) -> None:
    for number, (changed, *_) in enumerate(AILMENTS):
        for one in remarks(machine(tmp_path / str(number), **changed)):
            assert one.weight == "good" or (one.why and one.mend), one


@pytest.mark.parametrize(
    ("right", "answer", "about", "words"),
    [
        ("limit", 0.0, "priority", "may not have real-time"),
        ("free", 100.0, "disk", "only 100 MB"),
        ("is_read_only", True, "disk", "read-only"),
    ],
)
def test_rights_and_room(
    right: str, answer: object, about: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Box, right, lambda _box, _name: answer)
    (found,) = complaints(machine(tmp_path))
    assert found[0] == about
    assert words in found[2]


def test_devices_that_this_user_may_not_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Box, "may_use", lambda _box, _name: False)
    assert [(about, weight) for about, weight, _ in complaints(machine(tmp_path))] == [
        ("midi", "wrong"), ("serial", "wrong"),
    ]  # fmt: skip
    assert ("serial", "mind", "this user may not use /dev/ttyUSB0") in complaints(machine(tmp_path / "2"), rig=None)


def test_no_way_there(tmp_path: Path) -> None:
    class Unreachable(Box):
        def route(self, address: str) -> str:
            raise OSError(101, "Network is unreachable")

    ((about, weight, what),) = complaints(Unreachable(machine(tmp_path).root))
    assert (about, weight, what) == ("network", "wrong", "no way to 127.0.0.1: Network is unreachable")


def test_a_door_that_lets_everybody_in_is_minded(tmp_path: Path) -> None:
    open_to = '[[inputs]]\nby = "osc"\nhost = "0.0.0.0"\nsenders = ["{}"]\n'
    box = machine(tmp_path)
    for senders, minded in (("10.0.0.0/24", []), ("0.0.0.0/0", ["osc lets everybody in"])):
        rig = rigs.rig('[[outputs]]\nuniverse = 1\nby = "null"\n' + open_to.format(senders) + rigs.row_of_dimmers(1))
        found = [one.what for one in remarks(box, rig=rig) if one.about == "doors"]
        assert found == minded


def test_a_running_daemon_is_asked_what_it_lacks(tmp_path: Path) -> None:
    state: dict[str, object] = {
        "rig": "Hall", "show": "Tide", "inputs": [],
        "outputs": [{"name": "1 artnet", "state": "retrying", "error": "no route"}, {"name": "2 sacn", "state": "up"}],
    }  # fmt: skip
    found = [one for one in remarks(machine(tmp_path), state=state) if one.weight != "good"]
    assert [one.what for one in found] == ["1 artnet is retrying: no route"]


def test_a_look_that_fails_is_told_and_the_others_go_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Box, "free", lambda _box, _name: 1 / 0)
    ((about, weight, what),) = complaints(machine(tmp_path))
    assert (about, weight) == ("disk", "mind")
    assert "ZeroDivisionError" in what


def test_this_machine(tmp_path: Path) -> None:
    """The real reader on the real machine: it says where it is, and what it listens on."""
    box = Box()
    assert box.text("/proc/self/comm")
    assert box.route("127.0.0.1") == "127.0.0.1"
    assert box.route_leaves_by("127.0.0.1") == "lo"
    assert not [one for one in remarks(box, rig=None) if "could not be looked at" in one.what]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as udp, socket.create_server(("127.0.0.1", 0)) as tcp:
        udp.bind(("127.0.0.1", 0))
        assert udp.getsockname()[1] in box.ports("udp")
        assert tcp.getsockname()[1] in box.ports("tcp")
    (tmp_path / "link").symlink_to(tmp_path)
    assert Box(tmp_path).real("/link") == "/."
    assert Box(tmp_path).has("/link")


def test_from_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LANTERNIST_SOCKET", str(tmp_path / "none.sock"))
    port = free_port()
    (tmp_path / "rig.toml").write_text(
        f'[[outputs]]\nuniverse = 1\nby = "null"\n[[inputs]]\nby = "osc"\nport = {port}\n'
        '[[fixtures]]\nname = "par"\nprofile = "par-rgbw"\nmode = 8\naddress = 1\n'
    )
    (tmp_path / "show.toml").write_text("")
    status = main(["doctor", str(tmp_path), "--json"])
    found = json.loads(capsys.readouterr().out)
    assert status == (1 if any(one["weight"] == "wrong" for one in found) else 0)
    assert found[-1]["what"].endswith("can be played")
    (tmp_path / "rig.toml").write_text("[[fixtures]]\n")
    assert main(["doctor", str(tmp_path)]) == 1
    assert "! gig         " in capsys.readouterr().out
    assert main(["doctor", str(tmp_path / "none")]) == 2


def test_it_reads_at_a_glance() -> None:
    text = told(
        [Remark("disk", "good", "5 GB free"), Remark("midi", "wrong", "not here", "no pad is heard", "plug it in")]
    )
    assert text.splitlines() == [
        "  disk        5 GB free",
        "! midi        not here",
        "              no pad is heard",
        "              -> plug it in",
        "",
        "! wrong: 1   ? to mind: 0",
    ]
