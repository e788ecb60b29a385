"""The merge, on arrays: HTP for intensity, LTP for all else, by priority. `core.desk` tells the rule in words.

Theory of operation. Most of what is on stands still, and the cost of a frame must grow with what moves. So the scenes
that are on are arranged into a plan whenever one of them starts, stops, comes to rest or is given another level.
Priorities under the lowest one in which something moves are worked into the plan's base; above, what stands still
between two scenes that move is gathered into one piece. A frame copies the base and lays only those pieces and the
moving scenes over it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from lanternist.core.dimming import light_of
from lanternist.core.effects import Floats, Ints
from lanternist.core.rig_table import RigTable
from lanternist.core.show_table import Look, Playable, Steps

# The least light that a fading scene's colour counts for: without it, colour on a dark cell would come with a jump.
FAINT = 0.01
# From this share on a choice is that of the scene that fades in: between two colours of a wheel there is none.
HALF = 0.5


@dataclass(frozen=True, slots=True)
class Voice:
    """One scene that is on, as it stands at this moment.

    speed: how many times as fast as written its effects run on the beat.
    light_stands, rest_stands: it is fully on, and its intensities, or all its other parameters, do not move.
    """

    playable: Playable
    started: float
    beat: float
    weight: float
    level: float
    speed: int
    light_stands: bool
    rest_stands: bool


@dataclass(frozen=True, slots=True)
class Still:
    """What stands still between two moving scenes: LTP rows with values, intensity rows `lit` with the highest."""

    rows: Ints
    values: Floats
    lit: Ints
    light: Floats


@dataclass(frozen=True, slots=True)
class Moving:
    """A scene of which the intensities, all else, or both move. number: which of the voices."""

    number: int
    light: bool
    rest: bool


Piece = Still | Moving


@dataclass(frozen=True, slots=True)
class Plan:
    """The arrangement of voices. tiers: the pieces of each priority, lowest first. moving: numbers of voices."""

    base: Floats
    tiers: tuple[tuple[Piece, ...], ...]
    moving: tuple[int, ...]


Asked = dict[int, tuple[Floats, Floats | float]]


def arrange(table: RigTable, voices: Sequence[Voice]) -> Plan:
    """The plan for voices that stand in order, lowest first."""
    base = table.rest.copy()
    tiers: list[tuple[Piece, ...]] = []
    for _, group in groupby(enumerate(voices), key=lambda item: item[1].playable.priority):
        pieces = _pieces(table, list(group))
        if tiers or any(isinstance(piece, Moving) for piece in pieces):
            tiers.append(pieces)
        else:
            _lay(table, pieces, voices, {}, base)
    moving = [number for number, voice in enumerate(voices) if not (voice.light_stands and voice.rest_stands)]
    return Plan(base, tuple(tiers), tuple(moving))


def merge(table: RigTable, plan: Plan, voices: Sequence[Voice], now: float, beats: Floats) -> Floats:
    """Levels of every row (rows + 1) before grand master and blackout. beats: one position for each lead of the rig."""
    levels = plan.base.copy()
    asked = {number: _asked(voices[number], now, beats) for number in plan.moving}
    for pieces in plan.tiers:
        _lay(table, pieces, voices, asked, levels)
    return levels


def _lay(table: RigTable, pieces: Sequence[Piece], voices: Sequence[Voice], asked: Asked, levels: Floats) -> None:
    """Lay one priority over the levels that lower ones leave."""
    under = levels[: table.intensities]
    highest, covered = np.zeros(table.intensities), np.zeros(table.intensities)
    for piece in pieces:
        if isinstance(piece, Still):
            levels[piece.rows] = piece.values
            highest[piece.lit] = np.maximum(highest[piece.lit], piece.light)
            covered[piece.lit] = 1.0
            continue
        voice, (values, cover) = voices[piece.number], asked[piece.number]
        look = voice.playable.look
        lights = values[: look.intensities] * voice.level
        if piece.rest:
            shares = _shares(look, voice.weight * cover, lights, highest, covered, under)
            rows, wanted = look.rows[look.intensities :], values[look.intensities :]
            levels[rows] = wanted if shares is None else (1.0 - shares) * levels[rows] + shares * wanted
        if piece.light:
            rows = look.rows[: look.intensities]
            highest[rows] = np.maximum(highest[rows], lights * voice.weight)
            covered[rows] = np.maximum(covered[rows], voice.weight)
    levels[: table.intensities] = (1.0 - covered) * under + highest


def _shares(
    look: Look, weight: Floats | float, lights: Floats, highest: Floats, covered: Floats, under: Floats
) -> Floats | None:
    """How far each LTP row goes to what the scene asks for, 0-1; None: all of them all the way.

    An emitter of a cell that the scene itself lights goes by the scene's share of the light there, over what the
    scenes before it give: `highest`, and what they have not `covered` of what lies `under` their priority. A choice is
    taken over half way.
    """
    if isinstance(weight, float) and weight == 1.0:
        return None
    shares = np.empty(len(look.rows) - look.intensities)
    shares[:] = weight
    rows = look.rows[look.own_light]
    part = shares[look.lit] * np.maximum(light_of(lights[look.own_light]), FAINT)
    whole = part + (1.0 - shares[look.lit]) * light_of((1.0 - covered[rows]) * under[rows] + highest[rows])
    shares[look.lit] = part / np.where(whole > 0, whole, 1.0)
    shares[look.choices] = shares[look.choices] >= HALF
    return shares


def _pieces(table: RigTable, group: Sequence[tuple[int, Voice]]) -> tuple[Piece, ...]:
    """The voices of one priority in order, what stands still gathered: only moving LTP rows part what is gathered."""
    pieces: list[Piece] = []
    still: list[Voice] = []
    for number, voice in group:
        if not voice.rest_stands:
            pieces.append(_gathered(table, still))
            still = []
        if not (voice.light_stands and voice.rest_stands):
            pieces.append(Moving(number, light=not voice.light_stands, rest=not voice.rest_stands))
        if voice.light_stands or voice.rest_stands:
            still.append(voice)
    pieces.append(_gathered(table, still))
    return tuple(piece for piece in pieces if isinstance(piece, Moving) or len(piece.rows) or len(piece.lit))


def _gathered(table: RigTable, still: Sequence[Voice]) -> Still:
    values, light = np.full(table.rows + 1, np.nan), np.full(table.intensities, -1.0)
    for voice in still:
        look = voice.playable.look
        rows, rest = look.rows[: look.intensities], look.rows[look.intensities :]
        if voice.light_stands:
            light[rows] = np.maximum(light[rows], voice.level * look.values[: look.intensities])
        if voice.rest_stands:
            values[rest] = look.values[look.intensities :]
    rows, lit = np.flatnonzero(~np.isnan(values)), np.flatnonzero(light >= 0)
    return Still(rows, values[rows], lit, light[lit])


def _asked(voice: Voice, now: float, beats: Floats) -> tuple[Floats, Floats | float]:
    """What a voice asks for now: a value for each of its rows, and how far it covers each LTP row (before its fade)."""
    playable = voice.playable
    beats = beats if voice.speed == 1 else beats * voice.speed
    if playable.steps is not None:
        return _chase(playable.look, playable.steps, voice, now, beats)
    return _values(playable.look, now - voice.started, beats), 1.0


def _values(look: Look, seconds: float, beats: Floats) -> Floats:
    values = look.values.copy()
    for waves in look.waves:
        values[waves.at] = waves.values(beats, seconds)
    return values


def _chase(look: Look, steps: Steps, voice: Voice, now: float, beats: Floats) -> tuple[Floats, Floats]:
    """A chase at each of the rig's leads, and from that each row at its own."""
    every, in_beats = steps.every.amount, steps.every.unit == "beats"
    # The first step begins on the beat (or whole step) that was running when the chase was started.
    begun = np.floor(voice.beat * voice.speed / every) * every
    seconds = now - voice.started
    at_lead = [_step(look, steps, (beat - begun if in_beats else seconds) / every, seconds, beats) for beat in beats]
    if len(at_lead) == 1:
        return at_lead[0]
    values, cover = (np.stack(each) for each in zip(*at_lead, strict=True))
    rows = np.arange(len(look.rows))
    return values[steps.lead, rows], cover[steps.lead[look.intensities :], rows[look.intensities :] - look.intensities]


def _step(look: Look, steps: Steps, position: float, seconds: float, beats: Floats) -> tuple[Floats, Floats]:
    """The step at a position counted in steps, cross-fading from the one before it."""
    number = int(np.floor(position))
    into = min(1.0, (position - number) / steps.fade) if steps.fade > 0 and number > 0 else 1.0
    sums, shares = np.zeros(len(look.rows)), np.zeros(len(look.rows))
    for one, share in ((number - 1, 1.0 - into), (number, into)):
        if share > 0:
            step = one % len(steps.looks)
            parts = _parts(steps.looks[step], share, comes=one == number)
            sums[steps.places[step]] += parts * _values(steps.looks[step], seconds, beats)
            shares[steps.places[step]] += parts
    cover = shares[look.intensities :]
    sums[look.intensities :] /= np.where(cover > 0, cover, 1.0)
    return sums, cover


def _parts(look: Look, share: float, *, comes: bool) -> Floats:
    """The share of a step for each of its rows; a choice is that of the step that comes from half way on."""
    parts = np.full(len(look.rows), share)
    parts[look.intensities + look.choices] = share >= HALF if comes else share > HALF
    return parts
