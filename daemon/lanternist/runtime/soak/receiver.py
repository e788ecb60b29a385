"""The receiver of a soak: a node on this machine that knows when packets came, and when the light went out."""

import socket
import threading
import time
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lanternist.core.encode import encode
from lanternist.core.rig_table import RigTable
from lanternist.files.gig import Gig
from lanternist.runtime.soak.flashes import Flashes
from lanternist.runtime.soak.slot_light import SlotLight
from lanternist.wire import artnet

# Art-Net 4 asks for the newest frame again within 4 s, and we send it once a second: what is longer is a gap.
GAP_S = 1.5
_LISTEN_S = 0.2
# Packets come a little early or late: what the guard has put a second apart may be less apart here.
SECOND_S = 0.95


def slots_of_light(table: RigTable) -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Of each universe, which slots dim, and what they hold in the dark."""
    off, on = table.rest.copy(), table.rest.copy()
    off[: table.intensities], on[: table.intensities] = 0.0, 1.0
    dark, lit = encode(table, off), encode(table, on)
    return {
        universe: (np.flatnonzero(dark[at] != lit[at]), dark[at][dark[at] != lit[at]])
        for at, universe in enumerate(table.universes)
    }


class WireFlashes:
    """Flashes of what comes in. Outputs are not in step, so only what hangs on one universe is looked at."""

    def __init__(self, gig: Gig) -> None:
        self.lights: dict[int, tuple[SlotLight, NDArray[np.intp], Flashes]] = {}
        self._away: set[int] = set()
        universes = sorted({one.universe for one in gig.rig.fixtures})
        for universe in universes:
            fixtures = [one for one in gig.rig.fixtures if one.universe == universe]
            light = SlotLight(gig.rig.model_copy(update={"fixtures": fixtures}), gig.profiles, [universe])
            alone = {one.name for one in fixtures} if len(universes) > 1 else set(light.names)
            which = np.array([at for at, name in enumerate(light.names) if name in alone], dtype=np.intp)
            self.lights[universe] = light, which, Flashes(len(which), SECOND_S)

    def add(self, universe: int, slots: NDArray[np.uint8], now: float) -> None:
        """A packet of a universe."""
        if universe in self.lights:
            light, which, flashes = self.lights[universe]
            luminance = np.minimum(light.luminance(slots), 1.0)[which]
            if universe in self._away:
                self._away.discard(universe)
                flashes.resume(luminance)
            flashes.add(now, luminance)

    def away(self) -> None:
        """Nothing comes in for a while."""
        self._away.update(self.lights)

    def most(self) -> tuple[Flashes, list[str]]:
        """The worst of the counts, with the names of its lights."""
        light, which, flashes = max(self.lights.values(), key=lambda one: one[2].most)
        return flashes, [light.names[at] for at in which]


@dataclass(slots=True)
class Receiver:
    """Listens on a thread of its own.

    packets: how many came. longest_s: the longest gap of a universe, but for those that were begun by `go`.
    beat_on: the universe whose first slot shows the beat; beat: when it came last, and what it was, 0-1.
    """

    light: dict[int, tuple[np.ndarray, np.ndarray]]
    flashes: WireFlashes
    beat_on: int
    beat: tuple[float, float] = (0.0, 0.0)
    port: int = 0
    packets: int = 0
    longest_s: float = 0.0
    _socket: socket.socket | None = None
    _last: dict[int, float] = field(default_factory=dict)
    _dark: dict[int, bool] = field(default_factory=dict)
    _went_dark: dict[int, float] = field(default_factory=dict)
    _leaving: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def come(self) -> None:
        """Be there, at the same port as before."""
        listening = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        listening.settimeout(_LISTEN_S)
        listening.bind(("127.0.0.1", self.port))
        self.port = listening.getsockname()[1]
        with self._lock:
            self._last.clear()
            self._socket = listening

    def go(self) -> None:
        """Be gone, as a node whose cable was pulled."""
        with self._lock:
            if self._socket is not None:
                self._socket.close()
            self._socket = None
            self._last.clear()
        self.flashes.away()

    def run(self) -> None:
        """Listen until `leave`."""
        while not self._leaving.is_set():
            listening = self._socket
            if listening is None:
                self._leaving.wait(_LISTEN_S)
                continue
            try:
                packet = listening.recv(1024)
            except OSError:
                continue  # nothing came, or it is gone
            self._take(packet, time.monotonic())

    def leave(self) -> None:
        """Make `run` return."""
        self._leaving.set()
        self.go()

    def is_lit(self) -> bool:
        """Whether any universe gives light."""
        return any(not dark for dark in self._dark.values())

    def went_dark(self, since: float) -> float | None:
        """When the last universe that was lit went dark after `since`; None while one is lit."""
        if self.is_lit():
            return None
        return max((at for at in self._went_dark.values() if at >= since), default=None)

    def _take(self, packet: bytes, now: float) -> None:
        dmx = artnet.parse(packet)
        if not isinstance(dmx, artnet.Dmx):
            return
        universe = dmx.port_address
        if universe == self.beat_on:
            self.beat = now, dmx.slots[0] / 255
        if universe not in self.light:
            return
        with self._lock:
            self.packets += 1
            if universe in self._last:
                self.longest_s = max(self.longest_s, now - self._last[universe])
            if self._socket is not None:
                self._last[universe] = now
        places, off = self.light[universe]
        slots = np.frombuffer(dmx.slots.ljust(512, b"\0"), dtype=np.uint8)
        self.flashes.add(universe, slots, now)
        dark = bool((slots[places] == off).all())
        if dark and not self._dark.get(universe, True):
            self._went_dark[universe] = now
        self._dark[universe] = dark
