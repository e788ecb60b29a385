"""A slow, obvious desk: plain dicts, one parameter at a time, written from the words at the head of `core.desk` alone.

It shares no code with the core. Values are in the core's units; a parameter is (fixture, what).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

Parameter = tuple[str, str]
Length = tuple[float, str]  # so many "s" or "beats"
EMITTERS = {"red"}


@dataclass(frozen=True)
class Wave:
    """An effect: high on the beat, but for the ramp, which rises from low and falls on the beat."""

    shape: str
    low: float
    high: float
    every: Length
    offset: float
    width: float

    def value(self, beat: float, seconds: float) -> float:
        """The value at a beat position, or so many seconds after the scene was started."""
        amount, unit = self.every
        place = ((beat if unit == "beats" else seconds) / amount + self.offset) % 1.0
        height = {
            "sine": (1.0 + math.cos(math.tau * place)) / 2.0,
            "square": 1.0 if place < self.width else 0.0,
            "ramp": place,
            "triangle": 1.0 - 2.0 * place if place < 0.5 else 2.0 * place - 1.0,
        }[self.shape]
        return self.low + (self.high - self.low) * height


Look = Mapping[Parameter, float | Wave]


@dataclass(frozen=True)
class Piece:
    """A scene (one step) or, if `chase`, a chase."""

    name: str
    priority: int
    fade_in: Length
    fade_out: Length
    steps: tuple[Look, ...]
    chase: bool = False
    every: Length = (1.0, "beats")
    fade: float = 0.0


@dataclass
class On:
    """A piece that is on, with its fade: a straight line from (t0, w0) to (t1, w1)."""

    piece: Piece
    latest: int
    started: float
    beat: float
    t0: float
    w0: float
    t1: float
    w1: float

    def weight(self, now: float) -> float:
        if now < self.t0:
            return self.w0
        if now >= self.t1:
            return self.w1
        return self.w0 + (self.w1 - self.w0) * (now - self.t0) / (self.t1 - self.t0)


class DeskModel:
    """base: the value of every parameter when nothing is on. HTP is what is called "intensity";
    what gives light of a colour is in EMITTERS."""

    def __init__(self, pieces: list[Piece], base: Mapping[Parameter, float]) -> None:
        self.pieces = {piece.name: piece for piece in pieces}
        self.base = dict(base)
        self.on: dict[str, On] = {}
        self.level: dict[str, float] = {}
        self.master = 1.0
        self.blackout = False
        self.starts = 0

    def act(self, do: str, what: str, value: float, at: float, beat: float, bpm: float) -> None:
        self._sweep(at)
        if do == "master":
            self.master = value
        elif do == "blackout":
            self.blackout = value > 0
        elif do == "level":
            self.level[what] = value
        elif do == "release":
            for name in list(self.on):
                self._stop(name, at, bpm)
        elif do == "start" or (do == "hold" and value > 0) or (do == "toggle" and not self._is_on(what)):
            self._start(what, at, beat, bpm)
        else:
            self._stop(what, at, bpm)

    def _is_on(self, name: str) -> bool:
        return name in self.on and self.on[name].w1 == 1.0

    def _sweep(self, now: float) -> None:
        """A release that has come to 0 leaves the desk."""
        for name, one in list(self.on.items()):
            if one.w1 == 0.0 and now >= one.t1:
                del self.on[name]

    def _start(self, name: str, at: float, beat: float, bpm: float) -> None:
        piece = self.pieces[name]
        self.starts += 1
        anew = On(piece, 0, at, beat, at, 0.0, at, 0.0)
        one = self.on.get(name, anew)
        weight = one.weight(at)
        if weight == 0.0:  # nothing of it has been seen: started twice at one moment, it begins with the second
            one = anew
        self.on[name] = On(piece, self.starts, one.started, one.beat, at, weight,
                           at + _seconds(piece.fade_in, bpm) * (1.0 - weight), 1.0)  # fmt: skip

    def _stop(self, name: str, at: float, bpm: float) -> None:
        one = self.on.get(name)
        if one is not None and one.w1 == 1.0:
            weight = one.weight(at)
            end = at + _seconds(one.piece.fade_out, bpm) * weight
            self.on[name] = On(one.piece, one.latest, one.started, one.beat, at, weight, end, 0.0)

    def levels(self, now: float, beat_of: Mapping[Parameter, float]) -> dict[Parameter, float]:
        """Every parameter at `now`. beat_of: the beat position each is rendered for."""
        return {parameter: self._one(parameter, now, beat_of[parameter]) for parameter in self.base}

    def _one(self, parameter: Parameter, now: float, beat: float) -> float:
        if parameter[1] == "intensity":
            return 0.0 if self.blackout else self.master * self._htp(parameter, now, beat)
        value = self.base[parameter]
        for one in sorted(self.on.values(), key=lambda one: (one.piece.priority, one.latest)):
            wanted, share = _asked(one, parameter, now, beat)
            weight = one.weight(now) * share
            light = (parameter[0], "intensity")
            if parameter[1] in EMITTERS and any(light in step for step in one.piece.steps):
                weight = self._share_of_light(one, weight, light, now, beat)
            value += (wanted - value) * weight
        return value

    def _share_of_light(self, one: On, weight: float, light: Parameter, now: float, beat: float) -> float:
        """Its light as a share of all the light there is with what stands under it."""
        wanted, share = _asked(one, light, now, beat)
        own = weight * max(0.01, _luminance(self.level.get(one.piece.name, 1.0) * wanted * share))
        under = [
            other for other in self.on.values()
            if (other.piece.priority, other.latest) < (one.piece.priority, one.latest)
        ]  # fmt: skip
        all_light = own + (1.0 - weight) * _luminance(self._htp(light, now, beat, under))
        return own / all_light if all_light > 0 else 0.0

    def _htp(self, parameter: Parameter, now: float, beat: float, among: list[On] | None = None) -> float:
        value = self.base[parameter]
        counted = list(self.on.values()) if among is None else among
        for priority in sorted({one.piece.priority for one in counted}):
            touching = [
                one for one in counted
                if one.piece.priority == priority and any(parameter in step for step in one.piece.steps)
            ]  # fmt: skip
            highest, cover = 0.0, 0.0
            for one in touching:
                wanted, share = _asked(one, parameter, now, beat)
                level = self.level.get(one.piece.name, 1.0)
                highest = max(highest, one.weight(now) * level * wanted * share)
                cover = max(cover, one.weight(now))
            value = (1.0 - cover) * value + highest
        return value


def _luminance(lightness: float) -> float:
    """CIE 1976 L* (here 0-1) to relative luminance."""
    return ((lightness + 0.16) / 1.16) ** 3 if lightness > 0.08 else lightness / 9.032962962962963


def _asked(one: On, parameter: Parameter, now: float, beat: float) -> tuple[float, float]:
    """What a piece asks of a parameter now, and with what share; share 0: nothing."""
    seconds = now - one.started
    if not one.piece.chase:
        return _in_step(one.piece.steps[0], parameter, beat, seconds)
    amount, unit = one.piece.every
    counted = beat / amount - math.floor(one.beat / amount) if unit == "beats" else seconds / amount
    number = math.floor(counted)
    into = 1.0
    if number > 0 and one.piece.fade > 0:
        into = min(1.0, (counted - number) / one.piece.fade)
    steps = one.piece.steps
    new, new_share = _in_step(steps[number % len(steps)], parameter, beat, seconds)
    old, old_share = _in_step(steps[(number - 1) % len(steps)], parameter, beat, seconds)
    share = into * new_share + (1.0 - into) * old_share
    return ((into * new_share * new + (1.0 - into) * old_share * old) / share if share > 0 else 0.0), share


def _in_step(step: Look, parameter: Parameter, beat: float, seconds: float) -> tuple[float, float]:
    if parameter not in step:
        return 0.0, 0.0
    value = step[parameter]
    return (value.value(beat, seconds) if isinstance(value, Wave) else value), 1.0


def _seconds(length: Length, bpm: float) -> float:
    return length[0] if length[1] == "s" else length[0] * 60.0 / bpm
