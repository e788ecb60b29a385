"""What could spoil a night on this machine, and how to mend it. Looks only: nothing is changed, no packet is sent."""

import importlib.metadata
import platform
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from lanternist.core.rig import Rig
from lanternist.outputs.interfaces import is_address
from lanternist.runtime.box import Box, Protocol
from lanternist.runtime.process import PRIORITY

Weight = Literal["good", "mind", "wrong"]

# Little enough for a log of weeks, and what updates need.
LEAST_FREE_MB, LEAST_MEMORY_MB = 200.0, 150.0
HOT_C = 80.0
# The kernel's own order of what it trusts: these cost a trap or a slow read each time they are asked.
SLOW_CLOCKS = {"hpet", "acpi_pm", "jiffies", "refined-jiffies"}
# Drivers whose `powersave` only leaves the choice to the processor.
CHOOSES_ITSELF = {"intel_pstate", "amd-pstate-epp"}
# Bits of the firmware's word on small boards: the supply is too low, or has been since the start.
LOW_NOW, LOW_BEFORE = 1 << 0, 1 << 16
SERIAL = ("serial-break", "serial-buffered")
# How an input listens, and on which port unless the rig says so.
DOORS: Mapping[str, tuple[Protocol, int]] = {"osc": ("udp", 9000), "midi-tcp": ("tcp", 9080)}
UNIT = "/etc/systemd/system/lanternist.service"


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing that was looked at. why: what it can do to a night. mend: what to type, or to do."""

    about: str
    weight: Weight
    what: str
    why: str = ""
    mend: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """What is looked at: the machine, a rig if one is named, and what the daemon says of itself if it runs."""

    box: Box
    rig: Rig | None
    state: Mapping[str, object] | None
    socket: Path


def examine(case: Case) -> Iterator[Remark]:
    """Every remark, in an order to read them in. A look that fails is a remark as well."""
    for look in LOOKS:
        try:
            yield from look(case)
        except Exception as fault:
            name = look.__name__.strip("_").replace("_", " ")
            yield Remark(name, "mind", f"could not be looked at: {type(fault).__name__}: {fault}")


def _versions(case: Case) -> Iterator[Remark]:
    version = importlib.metadata.version
    packages = ", ".join(f"{name} {version(name)}" for name in ("numpy", "pydantic", "mido", "pyserial"))
    kernel = case.box.text("/proc/sys/kernel/osrelease") or platform.release()
    python = platform.python_version()
    yield Remark("versions", "good", f"lanternist {version('lanternist')}, Python {python}, {packages}, Linux {kernel}")


def _daemon(case: Case) -> Iterator[Remark]:
    if case.state is not None:
        yield Remark("daemon", "good", f"plays {case.state.get('show')!r} on {case.state.get('rig')!r}")
        yield from _what_it_says(case.state)
    elif case.box.has(str(case.socket)):
        why = "it was killed, or its machine lost power"
        yield Remark("daemon", "mind", f"does not answer at {case.socket}", why, "start it again: it takes the place")
    else:
        yield Remark("daemon", "good", "does not run")


def _what_it_says(state: Mapping[str, object]) -> Iterator[Remark]:
    for kind in ("outputs", "inputs"):
        parts = state.get(kind)
        for part in parts if isinstance(parts, list) else []:
            if part.get("state") != "up":
                yield Remark("daemon", "wrong", f"{part.get('name')} is {part.get('state')}: {part.get('error')}")


def _service(case: Case) -> Iterator[Remark]:
    if not case.box.has(UNIT):
        why = "the lights do not come on by themselves when the box gets power"
        yield Remark("service", "mind", "not installed", why, "lanternist install GIG")
        return
    enabled = any(name.endswith("/lanternist.service") for name in case.box.find("/etc/systemd/system/*.wants/*"))
    if enabled:
        yield Remark("service", "good", "comes on with the box")
    else:
        why = "the lights do not come on by themselves when the box gets power"
        yield Remark("service", "mind", "installed, but does not come on", why, "sudo systemctl enable lanternist")


def _priority(case: Case) -> Iterator[Remark]:
    # The service asks for its own rights; these are those of whoever plays from a terminal.
    if case.box.limit("rtprio") >= PRIORITY:
        yield Remark("priority", "good", "real-time priority is allowed")
    else:
        why = "when another program is busy, frames are some milliseconds late"
        mend = "install the service, which has it; or for a terminal: a line `@audio - rtprio 20` in limits.conf"
        yield Remark("priority", "mind", "this user may not have real-time priority", why, mend)


def _processor(case: Case) -> Iterator[Remark]:
    cores = case.box.find("/sys/devices/system/cpu/cpu[0-9]*/cpufreq")
    slow = [
        core
        for core in cores
        if case.box.text(f"{core}/scaling_governor") == "powersave"
        and case.box.text(f"{core}/scaling_driver") not in CHOOSES_ITSELF
    ]
    if slow:
        mend = "echo schedutil | sudo tee /sys/devices/system/cpu/cpu*/cpufreq/scaling_governor"
        yield Remark("processor", "mind", "is held at its lowest speed (powersave)", "frames take longer", mend)
    elif cores:
        yield Remark("processor", "good", f"speed is chosen by {case.box.text(cores[0] + '/scaling_governor')}")
    hot = max(
        (_number(case.box.text(name)) for name in case.box.find("/sys/class/thermal/thermal_zone*/temp")), default=0
    )
    if hot / 1000 > HOT_C:
        why = "it will slow down, or switch off"
        yield Remark("processor", "wrong", f"is {hot / 1000:.0f} degrees hot", why, "give the box air; dust its fan")


def _power(case: Case) -> Iterator[Remark]:
    for name in case.box.find("/sys/devices/platform/soc/*/get_throttled"):
        word = int(case.box.text(name) or "0", 16)
        if word & (LOW_NOW | LOW_BEFORE):
            when = "is" if word & LOW_NOW else "has been"
            why = "the box slows down, loses its USB devices, or stops"
            mend = "a stronger supply and a shorter cable; adapters on a hub with a supply of its own"
            yield Remark("power", "wrong", f"the supply {when} too low", why, mend)
        else:
            yield Remark("power", "good", "the supply has held since the start")


def _clock(case: Case) -> Iterator[Remark]:
    source = case.box.text("/sys/devices/system/clocksource/clocksource0/current_clocksource")
    if source in SLOW_CLOCKS:
        why = "asking for the time is slow, and deadlines are met less exactly"
        mend = "look in the kernel's log (sudo dmesg | grep -i clocksource) for why it gave up the faster one"
        yield Remark("clock", "mind", f"the kernel reads time from {source}", why, mend)
    elif source:
        yield Remark("clock", "good", f"the kernel reads time from {source}")
    is_set = case.box.has("/run/systemd/timesync/synchronized")
    if not is_set and not case.box.find("/dev/rtc*"):
        why = "the log has wrong times, and what was on before a power cut may be taken for too old; lights do not care"
        yield Remark("clock", "mind", "no battery clock, and nobody has set the time", why, "let it see a network once")


def _disk(case: Case) -> Iterator[Remark]:
    home = "/var/lib/lanternist"
    if case.box.is_read_only(home):
        why = "nothing is remembered over a power cut, and no night can be recorded; all else works"
        yield Remark("disk", "mind", "is read-only", why, "if that is not on purpose: sudo mount -o remount,rw /")
    elif (free := case.box.free(home)) < LEAST_FREE_MB:
        why = "nights are not recorded to their end; the show goes on"
        yield Remark("disk", "mind", f"only {free:.0f} MB are free", why, "sudo apt-get clean; old recordings")
    else:
        yield Remark("disk", "good", f"{free / 1000:.1f} GB free")
    if case.box.has("/run/systemd/system") and not case.box.has("/var/log/journal"):
        mend = "sudo mkdir -p /var/log/journal && sudo systemctl restart systemd-journald"
        yield Remark(
            "disk", "mind", "the log is kept in memory", "after a power cut nobody can read what happened", mend
        )


def _memory(case: Case) -> Iterator[Remark]:
    lines = (line.split() for line in case.box.text("/proc/meminfo").splitlines())
    free = next((float(words[1]) / 1000 for words in lines if words[0] == "MemAvailable:"), None)
    if free is not None and free < LEAST_MEMORY_MB:
        why = "the kernel may end programs, and what it swaps out comes back late"
        yield Remark(
            "memory", "mind", f"only {free:.0f} MB are left", why, "end what is not needed: ps aux --sort=-rss"
        )
    elif free is not None:
        yield Remark("memory", "good", f"{free / 1000:.1f} GB left")


def _midi(case: Case) -> Iterator[Remark]:
    if case.rig is not None and not any(one.by.startswith("midi") for one in case.rig.inputs):
        return
    if not case.box.has("/dev/snd/seq"):
        why = "no pad or clock on a MIDI port is heard"
        mend = "plug the controller in; if it stays so: sudo modprobe snd-seq"
        yield Remark("midi", "mind", "no MIDI here (/dev/snd/seq)", why, mend)
    elif not case.box.may_use("/dev/snd/seq"):
        mend = "sudo usermod -aG audio $USER, then log in again"
        yield Remark("midi", "wrong", "this user may not use MIDI", "no pad or clock is heard", mend)
    else:
        names = [case.box.text(f"{name}/id") for name in case.box.find("/sys/class/sound/card[0-9]*")]
        yield Remark("midi", "good", f"may be used; sound devices: {', '.join(names) or 'none yet'}")


def _serial(case: Case) -> Iterator[Remark]:
    ports = case.box.find("/dev/ttyUSB*") + case.box.find("/dev/ttyACM*")
    wanted = case.rig is not None and any(one.by in SERIAL for one in case.rig.outputs)
    if wanted and not ports:
        mend = "plug it in; then look whether the kernel has seen it: sudo dmesg | tail"
        yield Remark("serial", "wrong", "no USB adapter is plugged in", "the rig's serial lines stay silent", mend)
    for port in ports:
        if case.box.may_use(port):
            yield Remark("serial", "good", f"{port} may be used")
        else:
            mend = "sudo usermod -aG dialout $USER, then log in again"
            yield Remark(
                "serial", "wrong" if wanted else "mind", f"this user may not use {port}", "it stays dark", mend
            )
        yield from _asleep(case.box, port)


def _asleep(box: Box, port: str) -> Iterator[Remark]:
    """Whether the kernel may switch off the USB device of a port."""
    inside = Path(box.real(f"/sys/class/tty/{Path(port).name}/device"))
    control = next((f"{one}/power/control" for one in inside.parents if box.has(f"{one}/idVendor")), "")
    if box.text(control) == "auto":
        why = "after a quiet while the first frames are lost"
        yield Remark("serial", "mind", f"{port} may fall asleep", why, f"echo on | sudo tee {control}")


def _network(case: Case) -> Iterator[Remark]:
    seen = set[str]()
    for output in case.rig.outputs if case.rig is not None else ():
        settings = output.model_extra or {}
        interface, to = settings.get("interface"), settings.get("to")
        if isinstance(interface, str) and not is_address(interface) and interface not in seen:
            yield from _interface(case.box, interface)
            seen.add(interface)
        if isinstance(to, str) and output.by in ("artnet", "sacn") and to not in seen:
            yield from _destination(case.box, to)
            seen.add(to)


def _interface(box: Box, name: str) -> Iterator[Remark]:
    state = box.text(f"/sys/class/net/{name}/operstate")
    if not state:
        there = ", ".join(Path(one).name for one in box.find("/sys/class/net/*"))
        yield Remark("network", "wrong", f"there is no interface {name}", "nothing leaves", f"there are: {there}")
    elif state == "down":
        yield Remark(
            "network", "wrong", f"{name} is down", "nothing leaves by it", f"its cable; sudo ip link set {name} up"
        )
    else:
        yield Remark("network", "good", f"{name} is {state}")


def _destination(box: Box, to: str) -> Iterator[Remark]:
    if not is_address(to):
        why = "where the name server is not there, the lights are not either"
        yield Remark("network", "mind", f"{to} is a name", why, "write its address in the rig file")
        return
    try:
        name = box.route_leaves_by(to)
    except OSError as error:
        mend = "give this box an address in the same network: sudo nmtui, or ip addr"
        yield Remark("network", "wrong", f"no way to {to}: {error.strerror}", "nothing arrives there", mend)
        return
    if box.has(f"/sys/class/net/{name}/wireless"):
        why = "radio loses packets and gathers others, most of all with a full room"
        yield Remark("network", "mind", f"{to} is reached by radio ({name})", why, "use a cable")
    else:
        yield Remark("network", "good", f"{to} is reached by {name}")


def _ports(case: Case) -> Iterator[Remark]:
    if case.state is not None or case.rig is None:
        return  # a running daemon says itself what it could not have
    for one in case.rig.inputs:
        protocol, usual = DOORS.get(one.by, (None, 0))
        port = (one.model_extra or {}).get("port", usual)
        if protocol is not None and port in case.box.ports(protocol):
            who = f"who: sudo ss -{protocol[0]}lpn 'sport = :{port}'"
            why = f"{one.by} is not heard while another program has it"
            yield Remark("ports", "wrong", f"{protocol.upper()} port {port} is taken", why, who)


def _doors(case: Case) -> Iterator[Remark]:
    for one in case.rig.inputs if case.rig is not None else ():
        senders = (one.model_extra or {}).get("senders", [])
        if isinstance(senders, list) and any(str(sender).endswith("/0") for sender in senders):
            why = "whoever is in the same network can play the lights: there is no password"
            mend = 'name who sends, in the rig file: senders = ["10.0.0.7"]'
            yield Remark("doors", "mind", f"{one.by} lets everybody in", why, mend)


LOOKS: tuple[Callable[[Case], Iterator[Remark]], ...] = (
    _versions, _daemon, _service, _priority, _processor, _power, _clock, _disk, _memory, _midi, _serial, _network,
    _ports, _doors,
)  # fmt: skip


def _number(text: str) -> float:
    return float(text) if text.lstrip("-").isdigit() else 0.0
