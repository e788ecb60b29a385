"""Forecast: what the guard would hold back of each scene and chase, played alone at a steady tempo."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from lanternist.core.desk import Desk
from lanternist.core.effects import Floats, Ints, Waves
from lanternist.core.guard.beams import Beams, beams_of
from lanternist.core.guard.flashing import Flashes, recent
from lanternist.core.guard.fog import DUTY_S, ON, machines_of
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.guard.light import LUMINANCE
from lanternist.core.guard.lights import Lights
from lanternist.core.guard.movement import movement_of
from lanternist.core.guard.reds import Reds
from lanternist.core.rig_table import KINDS_OF_PARAMETER, RigTable
from lanternist.core.show_table import Look, Playable, ShowTable

FRAME_S = 0.025
LOOKED_AT_S = 4.0
# Fog is slow: looked at for as long as its share is counted over, and less closely.
FOG_STEP_S = 0.5
NAMED = 4
# What flashes exactly as often as allowed may come a frame early; a frame in a second is forgiven.
STRETCHED = 1.0 / (1.0 - FRAME_S)
# More than any limit: how many onsets are told apart.
COUNTED = 40


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing that the guard would hold back. limit: as in `holding.LIMITS`. text: a whole sentence for a person."""

    playable: str
    limit: str
    fixtures: tuple[str, ...]
    text: str


def forecast(show: ShowTable, table: RigTable, bpm: float) -> list[Caution]:
    """What each scene and chase of the show asks for beyond the limits of the rig, at `bpm` beats a minute."""
    sketch = _Sketch(table, show, bpm)
    return [caution for number in range(len(show.playables)) for caution in sketch.cautions(number)]


class _Sketch:
    """A rig and show being looked at."""

    def __init__(self, table: RigTable, show: ShowTable, bpm: float) -> None:
        self.table, self.show, self.bpm = table, show, bpm
        self.limit = flashes_allowed(table.rig.limits)
        self.lights, self.beams = Lights(table, self.limit), beams_of(table)
        self.movement, self.machines = movement_of(table), machines_of(table)

    def cautions(self, number: int) -> Iterator[Caution]:
        playable = self.show.playables[number]
        kind = "scene" if number < len(self.show.show.scenes) else "chase"
        levels = self._levels(number, FRAME_S, LOOKED_AT_S)
        for limit, fixtures, text in (
            *self._flashes(playable, levels),
            *self._strobes(levels),
            *self._zones(playable, levels),
            *self._windows(playable, levels),
            *self._fog(playable, number),
        ):
            names = tuple(dict.fromkeys(self.table.patched[one].fixture.name for one in fixtures))
            yield Caution(playable.name, limit, names, f"{kind} {playable.name!r} {text.format(named=_named(names))}")

    def _levels(self, number: int, step: float, seconds: float) -> Floats:
        """Levels of a scene alone and at full, in light, a row each step."""
        desk = Desk(self.table, self.show)
        desk.only(number, 0.0, 0.0)
        beats = self.bpm / 60.0
        times = np.arange(0.0, seconds, step)
        return np.array(
            [self.table.in_light(desk.render(now, (now + self.table.leads) * beats)) for now in times.tolist()]
        )

    def _flashes(self, playable: Playable, levels: Floats) -> Iterator[tuple[str, list[int], str]]:
        lights = self.lights
        if not lights.cells or (levels == levels[0]).all():
            return
        counted = list(zip(("flashes", "red flashes"), self._counted(levels), strict=True))
        allowed = f"this rig allows {self.limit} flashes a second"
        for what, counts in counted:
            cells = counts[: lights.cells]
            over = np.flatnonzero(cells > self.limit)
            if len(over):
                rate = (
                    self._rate(playable, lights.light.cells[over]) or f"for {cells.max()} {what} a second on {{named}}"
                )
                yield "flashing", self._fixtures(over), f"asks {rate}; {allowed}"
                return
        for what, counts in counted:
            fields = counts[lights.cells :]
            if (fields > self.limit).any():
                worst = int(fields.argmax())
                members = np.flatnonzero(lights.fields.members(np.arange(len(fields)) == worst))
                where = f"{_field(lights.fields.keys[worst])}, seen as one"
                yield (
                    "flashing",
                    self._fixtures(members),
                    f"gives {fields[worst]} {what} a second on {where}; {allowed}",
                )
                return

    def _counted(self, levels: Floats) -> tuple[Ints, Ints]:
        """The most onsets and entries into red in any second, for cells and then fields."""
        lights = self.lights
        flashes = Flashes.of(lights.cells, len(lights.fields.keys), COUNTED)
        reds = Reds.of(lights.cells + len(lights.fields.keys), COUNTED)
        most = np.zeros((2, lights.cells + len(lights.fields.keys)), dtype=np.intp)
        for frame, one in enumerate(levels):
            rgb = lights.light.rgb(lights.light.drives(one))
            seen, now = np.concatenate([rgb, lights.fields.mean(rgb)], axis=1), frame * FRAME_S * STRETCHED
            flashes.count(LUMINANCE @ seen, now)
            reds.count(seen, now)
            most = np.maximum(most, [recent(flashes.stamps, now), recent(reds.stamps, now)])
        return most[0], most[1]

    def _fixtures(self, cells: Ints) -> list[int]:
        return [self.table.cells[cell].fixture for cell in self.lights.light.cells[cells]]

    def _rate(self, playable: Playable, cells: Ints) -> str:
        """The fastest wave on the light of some cells, in words, if one is too fast by itself."""
        fastest, words = float(self.limit), ""
        for waves in playable.look.waves:
            of = np.isin(self.table.cell[playable.look.rows[waves.at]], cells)
            for every in np.unique(waves.every[of]):
                rate = _hertz(waves, float(every), self.bpm)
                if rate > fastest:
                    fastest, words = rate, f"for {rate:.3g} Hz on {{named}} ({_wave(waves, float(every), self.bpm)})"
        return words

    def _strobes(self, levels: Floats) -> Iterator[tuple[str, list[int], str]]:
        strobes = self.lights.strobes
        asked = levels[:, strobes.rows].max(axis=0)
        fixtures = self.table.fixture[strobes.rows]
        fast = np.flatnonzero(asked > self.limit)
        if len(fast):
            text = f"asks {{named}} to strobe at {asked.max():.3g} Hz; this rig allows {self.limit} flashes a second"
            yield "strobes", fixtures[fast].tolist(), text
        lamps = np.flatnonzero((asked > 0) & (strobes.lamp > 0))
        if len(lamps) > 1:
            text = f"asks {len(lamps)} lamps to strobe that can do so by themselves alone ({{named}}); one of them will"
            yield "strobes", fixtures[lamps].tolist(), text

    def _zones(self, playable: Playable, levels: Floats) -> Iterator[tuple[str, list[int], str]]:
        beams, zones = self.beams, self.table.rig.limits.zones
        aimed = np.isin(beams.fixture, self.table.fixture[_rows(playable.look, self.table, "pan", "tilt")])
        if not zones or not aimed.any():
            return
        enters = np.any([_entered(beams, one) for one in levels], axis=0) & aimed[:, None]
        for at, zone in enumerate(zones):
            if enters[:, at].any():
                text = f"aims {{named}} into the zone {zone.name!r}; there it is dark"
                yield "zones", beams.fixture[enters[:, at]].tolist(), text

    def _windows(self, playable: Playable, levels: Floats) -> Iterator[tuple[str, list[int], str]]:
        movement = self.movement
        own = np.isin(movement.rows, playable.look.rows)
        asked = levels[:, movement.rows]
        beyond = own & ((asked < movement.low - 1e-9) | (asked > movement.high + 1e-9)).any(axis=0)
        if beyond.any():
            yield "movement", movement.fixture[beyond].tolist(), "turns {named} beyond a window; it stops at its edge"

    def _fog(self, playable: Playable, number: int) -> Iterator[tuple[str, list[int], str]]:
        machines = self.machines
        own = np.isin(machines.rows, playable.look.rows)
        if not own.any():
            return
        on = self._levels(number, FOG_STEP_S, DUTY_S)[:, machines.rows] >= ON
        for at in np.flatnonzero(own & on.any(axis=0)):
            told = _fog_excess(on[:, at], *(float(one[at]) for one in (machines.burst, machines.rest, machines.most)))
            if told:
                yield "fog", [int(self.table.fixture[machines.rows[at]])], f"asks {{named}} for {told}"


def _fog_excess(on: NDArray[np.bool_], burst: float, rest: float, most: float) -> str:
    """What is too much of fog over time, in words."""
    share = float(on.mean())
    if share * DUTY_S > most:
        return f"fog {share:.0%} of the time; this rig allows {most / DUTY_S:.0%}"
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    lengths, breaks = (edges[1::2] - edges[::2]) * FOG_STEP_S, (edges[2::2] - edges[1:-1:2]) * FOG_STEP_S
    if lengths.max() > burst + FOG_STEP_S:
        return f"{lengths.max():.3g} s of fog at a time; this rig allows {burst:g} s"
    if len(breaks) and breaks.min() < rest - FOG_STEP_S and np.isfinite(burst) and lengths.sum() > burst:
        return f"fog again after {breaks.min():.3g} s; this rig has it rest for {rest:g} s"
    return ""


def _entered(beams: Beams, levels: Floats) -> NDArray[np.bool_]:
    """Which heads shine into which zones, (h, z)."""
    angles = beams.angles(beams.directions(levels[beams.pan] * beams.has_pan, levels[beams.tilt] * beams.has_tilt))
    entered: NDArray[np.bool_] = beams.inside | (angles <= beams.reach(levels)[:, None])
    return entered


def _rows(look: Look, table: RigTable, *parameters: str) -> Ints:
    """The rows of a look that are of these parameters."""
    kinds = [KINDS_OF_PARAMETER.index(one) for one in parameters]
    return look.rows[np.isin(table.kind[look.rows], kinds)]


def _hertz(waves: Waves, every: float, bpm: float) -> float:
    """Flashes a second of a wave; a random one rises at every second of its steps at most."""
    seconds = every * 60.0 / bpm if waves.beats else every
    return 1.0 / seconds if waves.wave != "random" else 0.5 / seconds


def _wave(waves: Waves, every: float, bpm: float) -> str:
    if not waves.beats:
        return f"{waves.wave}, every {every:.3g} s"
    beats = Fraction(every).limit_denominator(64)
    return f"{waves.wave}, every {beats} beat{'s' if beats > 1 else ''} at {bpm:.4g} bpm"


def _field(key: tuple[str, str]) -> str:
    what, name = key
    return {"group": f"the group {name!r}", "near": f"all that hangs near {name}", "fixture": name}.get(
        what, "all lights"
    )


def _named(names: Sequence[str]) -> str:
    more = len(names) - NAMED
    return ", ".join(names[:NAMED]) + (f" and {more} more" if more > 0 else "")
