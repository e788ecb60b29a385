"""The merge, on arrays: HTP for intensity, LTP for all else, by priority. `core.desk` tells the rule in words.

Theory of operation. Most of what is on stands still, and the cost of a frame must grow with what moves. So the scenes
that are on are arranged into a plan whenever one of them starts, stops, comes to rest or is given another level. What
stands still below the first moving scene is worked into the plan's base; what stands still between two moving ones is
gathered into one layer. A frame then copies the base and lays only moving scenes and gathered layers over it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from lanternist.core.effects import Floats, Ints
from lanternist.core.rig_table import RigTable
from lanternist.core.show_table import Look, Playable, Steps


@dataclass(frozen=True, slots=True)
class Voice:
    """One scene that is on, as it stands at this moment.

    light_stands, rest_stands: it is fully on, and its intensities, or all its other parameters, do not move.
    """

    playable: Playable
    started: float
    beat: float
    weight: float
    level: float
    light_stands: bool
    rest_stands: bool


@dataclass(frozen=True, slots=True)
class Still:
    """A layer of LTP rows that stand still."""

    rows: Ints
    values: Floats


@dataclass(frozen=True, slots=True)
class Tier:
    """The intensities of one priority: the highest of what stands still, where that is, and the voices that move."""

    highest: Floats
    covered: Floats
    moving: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The arrangement of voices. layers: from the lowest up, gathered ones and the numbers of voices that move."""

    base: Floats
    layers: tuple[Still | int, ...]
    tiers: tuple[Tier, ...]
    moving: tuple[int, ...]


Asked = dict[int, tuple[Floats, Floats | float]]


def arrange(table: RigTable, voices: Sequence[Voice]) -> Plan:
    """The plan for voices that stand in order, lowest first."""
    base = table.rest.copy()
    layers = _layers(base, table, voices)
    tiers = _tiers(base, table, voices)
    moving = [number for number, voice in enumerate(voices) if not (voice.light_stands and voice.rest_stands)]
    return Plan(base, layers, tiers, tuple(moving))


def merge(table: RigTable, plan: Plan, voices: Sequence[Voice], now: float, beats: Floats) -> Floats:
    """Levels of every row (rows + 1) before grand master and blackout. beats: one position for each lead of the rig."""
    levels = plan.base.copy()
    asked = {number: _asked(voices[number], now, beats) for number in plan.moving}
    for layer in plan.layers:
        if isinstance(layer, Still):
            levels[layer.rows] = layer.values
            continue
        look, (values, cover) = voices[layer].playable.look, asked[layer]
        rows, wanted = look.rows[look.intensities :], values[look.intensities :]
        share = voices[layer].weight * cover
        if isinstance(share, float) and share == 1.0:
            levels[rows] = wanted
        else:
            levels[rows] = (1.0 - share) * levels[rows] + share * wanted
    for tier in plan.tiers:
        levels[: table.intensities] = _highest(tier, voices, asked, levels[: table.intensities])
    return levels


def _highest(tier: Tier, voices: Sequence[Voice], asked: Asked, below: Floats) -> Floats:
    highest, covered = tier.highest.copy(), tier.covered.copy()
    for number in tier.moving:
        voice = voices[number]
        rows = voice.playable.look.rows[: voice.playable.look.intensities]
        values = asked[number][0][: len(rows)] * (voice.weight * voice.level)
        highest[rows] = np.maximum(highest[rows], values)
        covered[rows] = np.maximum(covered[rows], voice.weight)
    return (1.0 - covered) * below + highest


def _layers(base: Floats, table: RigTable, voices: Sequence[Voice]) -> tuple[Still | int, ...]:
    layers: list[Still | int] = []
    for stands, run in groupby(enumerate(voices), key=lambda item: item[1].rest_stands):
        if not stands:
            layers.extend(number for number, _ in run)
            continue
        gathered = base if not layers else np.full(table.rows + 1, np.nan)
        for _, voice in run:
            look = voice.playable.look
            gathered[look.rows[look.intensities :]] = look.values[look.intensities :]
        if layers:
            rows = np.flatnonzero(~np.isnan(gathered))
            layers.append(Still(rows, gathered[rows]))
    return tuple(layers)


def _tiers(base: Floats, table: RigTable, voices: Sequence[Voice]) -> tuple[Tier, ...]:
    tiers: list[Tier] = []
    for _, group in groupby(enumerate(voices), key=lambda item: item[1].playable.priority):
        tier = _tier(table, list(group))
        if tier.moving or tiers:
            tiers.append(tier)
        else:
            base[: table.intensities] = np.where(tier.covered > 0, tier.highest, base[: table.intensities])
    return tuple(tiers)


def _tier(table: RigTable, group: Iterable[tuple[int, Voice]]) -> Tier:
    highest, covered = np.zeros(table.intensities), np.zeros(table.intensities)
    moving = []
    for number, voice in group:
        if not voice.light_stands:
            moving.append(number)
            continue
        look = voice.playable.look
        rows = look.rows[: look.intensities]
        highest[rows] = np.maximum(highest[rows], voice.level * look.values[: look.intensities])
        covered[rows] = 1.0
    return Tier(highest, covered, tuple(moving))


def _asked(voice: Voice, now: float, beats: Floats) -> tuple[Floats, Floats | float]:
    """What a voice asks for now: a value for each of its rows, and how far it covers each LTP row (before its fade)."""
    playable = voice.playable
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
    begun = np.floor(voice.beat / every) * every
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
            sums[steps.places[step]] += share * _values(steps.looks[step], seconds, beats)
            shares[steps.places[step]] += share
    cover = shares[look.intensities :]
    sums[look.intensities :] /= np.where(cover > 0, cover, 1.0)
    return sums, cover
