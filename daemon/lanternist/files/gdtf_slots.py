"""One channel of a GDTF fixture type as slots of a profile: what its functions, sets and wheels say, range by range."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from math import isfinite
from typing import Any

from lanternist.core.parameters import PARAMETERS
from lanternist.files.gdtf_words import fixed_word, strobe_word, word_of
from lanternist.files.problems import printable

_DEGREES_PER_RPM = 6.0  # a turn a minute is 6 degrees a second
_LEAST_HZ = 0.1
_WHITE_Y = 100.0  # of white in Annex B, where red has 21.3; ours are in parts of 1
_STILL = 0.01  # Hz or degrees a second: what is slower stands still
_FINE = ("", "-fine", "-finest")
_UNIT_KEYS = {"hz": "hz", "deg": "deg", "rpm": "rpm", "kelvin": "kelvin", "level": "percent"}
_LIMITS = {"hz": (_LEAST_HZ, 100.0), "deg": (-1080.0, 1080.0), "rpm": (-600.0, 600.0), "kelvin": (1000.0, 25000.0)}
_UNTOLD = ((0.0, 1.0), (1.0, 0.0))  # what a file says that gives no physical values
_RESERVED = frozenset({"open", "closed", "stop", "nothing"})

Slot = dict[str, Any]
Range = dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Span:
    """Coarse slot values `first` to `last`, which do one function, or one of its sets."""

    first: int
    last: int
    function: Any
    set_: Any = None

    @property
    def ends(self) -> tuple[float, float] | None:
        """The physical values at both ends, None where the file gives none that can be used."""
        low, high = self.function.physical_from.value, self.function.physical_to.value
        told = {"PhysicalFrom", "PhysicalTo"} & self.function._attr_keys  # the library tells it nowhere else
        if self.set_ is not None and "PhysicalFrom" in self.set_._attr_keys:
            low, high, told = self.set_.physical_from.value, self.set_.physical_to.value, {"PhysicalFrom"}
        usable = told and low is not None and high is not None and isfinite(low) and isfinite(high)
        return (float(low), float(high)) if usable else None

    @property
    def name(self) -> str:
        """What the file calls it."""
        own = (self.set_.name if self.set_ is not None else "") or self.function.custom_name or self.function.name
        return printable(str(own or self.function.attribute), 40).strip() or "unnamed"


@dataclass(slots=True)
class SlotMaker:
    """Makes the slots of channels, and gathers what they tell of the fixture as a whole.

    note: called with what has no place in a profile. emitters: of our names, with chromaticity and flux.
    """

    fixture: Any
    note: Callable[[str], None]
    emitters: dict[str, dict[str, float]] = field(default_factory=dict)
    _travel: dict[str, tuple[float, float, float]] = field(default_factory=dict)

    def slots(self, channel: Any, count: int) -> list[Slot]:
        """The slots of a channel of `count` bytes, the most significant first."""
        spans = self._spans(channel)
        coarse = self._coarse(channel, spans)
        word = coarse["is"]
        follows = word in PARAMETERS and PARAMETERS[word].unit != "choice"
        if count > len(_FINE) and follows:
            self.note(f"bytes of {channel.attribute} past the third")
        if channel.highlight is not None and word in PARAMETERS and word not in ("pan", "tilt"):
            coarse["highlight"] = _coarse(channel.highlight)
        rest = _bytes_of(channel.default, count)
        fine: list[Slot] = [
            {"is": word + _FINE[at]} if follows and at < len(_FINE) else _still("none", rest[at])
            for at in range(1, count)
        ]
        return [coarse, *fine]

    def travel(self) -> dict[str, float]:
        """Travel in degrees, speed and acceleration of pan and tilt, as far as the file tells them."""
        table: dict[str, float] = {}
        for axis, most in (("pan", 1080.0), ("tilt", 360.0)):
            span, fade, acceleration = self._travel.get(axis, (0.0, 0.0, 0.0))
            if not 0 < span <= most:
                continue
            table[f"{axis}_deg"] = round(span, 2)
            if fade > 0 and span / fade <= 2000:
                table[f"{axis}_deg_per_s"] = round(span / fade, 1)
                if acceleration > 0 and span / fade / acceleration <= 20000:
                    table[f"{axis}_deg_per_s2"] = round(span / fade / acceleration, 1)
        return table

    def _spans(self, channel: Any) -> list[_Span]:
        """What each value of the coarse slot does, in order and without gaps between functions."""
        functions = [one for logical in channel.logical_channels for one in logical.channel_functions]
        plain = [one for one in functions if one.mode_master is None or not one.mode_master.str_link]
        if len(plain) < len(functions):
            self.note(f"what {channel.attribute} does while another channel says so")
            masters = {str(one.mode_master.str_link): None for one in functions if one not in plain}
            plain = plain or [
                one for one in functions
                if str(one.mode_master.str_link) == next(iter(masters)) and one.mode_from.value == 0
            ]  # fmt: skip
        ordered = sorted(plain, key=lambda one: _coarse(one.dmx_from))
        spans = []
        for index, one in enumerate(ordered):
            first = 0 if index == 0 else _coarse(one.dmx_from)
            last = _coarse(ordered[index + 1].dmx_from) - 1 if index + 1 < len(ordered) else 255
            if last >= first:
                spans.append(_Span(first, last, one))
            else:
                self.note(f"{one.name} of {channel.attribute}: it is within one value of its coarse slot")
        return spans

    def _coarse(self, channel: Any, spans: Sequence[_Span]) -> Slot:
        rest = _bytes_of(channel.default, 1)[0]
        words = [self._word_of(span) for span in spans]
        word = _own_word(words)
        if word is None or word not in (*PARAMETERS, "shutter"):
            if word is None:
                self.note(f"{channel.attribute}: no slot of ours does that")
            return self._fixed(word or "none", spans, rest)
        if len(spans) == 1 and (even := self._even(word, spans[0])):
            return even
        if word in ("pan", "tilt") or PARAMETERS.get(word, PARAMETERS["pan"]).emitter is not None:
            self.note(f"{channel.attribute}: it does several things, or does not follow its slot evenly")
            return _still("none", rest)
        return self._ranged(word, spans, rest)

    def _word_of(self, span: _Span) -> str | None:
        attribute = str(span.function.attribute)
        return "shutter" if strobe_word(attribute) else word_of(attribute)

    def _fixed(self, word: str, spans: Sequence[_Span], rest: int) -> Slot:
        slot = _still(word, rest)
        pieces = [piece for span in spans for piece in _pieces(span)]
        if word == "control" and len(pieces) > 1:
            slot["ranges"] = [_unreachable(piece) for piece in pieces]
        return slot

    def _even(self, word: str, span: _Span) -> Slot | None:
        """A slot that follows its parameter from end to end."""
        if word in ("pan", "tilt"):
            low, high = span.ends or (0.0, 0.0)
            if high < low:
                self.note(f"that {word} turns the other way: the rig file can invert it")
            fade, acceleration = span.function.real_fade, span.function.real_acceleration
            known = self._travel.get(word, (0.0, 0.0, 0.0))
            self._travel[word] = max(known, (abs(high - low), fade, acceleration))
            return {"is": word}
        if word not in PARAMETERS or PARAMETERS[word].unit != "level" or _pieces_differ(span):
            return None
        low, high = span.ends or (0.0, 1.0)
        if high <= low:
            return None
        if PARAMETERS[word].emitter is not None:
            self._emitter(word, span.function)
        if span.function.dmx_profile is not None and span.function.dmx_profile.str_link:
            self.note(f"the curve of {span.function.attribute}")
        return {"is": word}

    def _emitter(self, word: str, function: Any) -> None:
        link = str(function.emitter.str_link or "") if function.emitter is not None else ""
        found = next((one for one in self.fixture.emitters if one.name == link), None)
        colour = found.color if found is not None else None
        if colour is None or not all(isfinite(value) for value in (colour.x, colour.y, colour.Y)):
            return
        if 0 <= colour.x <= 1 and 0.001 <= colour.y <= 1 and colour.x + colour.y <= 1 and 0 < colour.Y <= 1e6:
            flux = max(round(colour.Y / _WHITE_Y, 4), 0.0001)
            self.emitters[word] = {"x": round(colour.x, 4), "y": round(colour.y, 4), "flux": flux}

    def _ranged(self, word: str, spans: Sequence[_Span], rest: int) -> Slot:
        choice = word in PARAMETERS and PARAMETERS[word].unit == "choice"
        ranges: list[Range] = []
        for span in spans:
            of = self._word_of(span)
            if choice and of == word:
                ranges += self._positions(span)
            else:
                split = _pieces_differ(span) or of == "shutter"
                ranges += [self._range(word, of, piece) for piece in (_pieces(span) if split else [span])]
        slot: Slot = {"is": word, "ranges": _joined(ranges)}
        if word != "shutter" and not (word in PARAMETERS and PARAMETERS[word].htp):
            slot["default"] = rest
        return slot

    def _range(self, own: str, of: str | None, span: _Span) -> Range:
        """What one part of a slot does, as a range."""
        attribute = str(span.function.attribute)
        if of == "shutter":
            return {"to": span.last, "does": strobe_word(attribute) or _shutter(span)}
        parameter = PARAMETERS.get(of or "")
        rate = parameter is not None and parameter.rate
        if of is None or parameter is None or fixed_word(attribute):
            return _unreachable(span)
        if rate and span.ends is not None and max(map(abs, span.ends)) < _STILL:
            return {"to": span.last, "does": "open" if of == "strobe" else "stop"}
        key = _UNIT_KEYS.get(parameter.unit)
        if key is None or (of != own and not rate):
            self.note(f"{span.name} of {attribute}: its slot does other things")
            return _unreachable(span)
        ends = self._in_unit(parameter.unit, span)
        if ends is not None and ends[0] == ends[1] and not rate:
            return _unreachable(span)
        if ends is None:
            self.note(f"{span.name} of {attribute}: the file does not tell it in {key}")
            return _unreachable(span)
        return {"to": span.last, "does": of, key: ends}

    def _in_unit(self, unit: str, span: _Span) -> list[float] | None:
        """The values at both ends in our unit, None where the file gives none in it."""
        if unit == "level":
            low, high = span.ends or (0.0, 1.0)
            most = max(abs(low), abs(high), 1.0)
            return [round(100 * min(max(end / most, 0.0), 1.0), 2) for end in (low, high)]
        if span.ends is None or span.ends in _UNTOLD:
            return None
        scale = 1 / _DEGREES_PER_RPM if unit == "rpm" else 1.0
        least, most = _LIMITS[unit]
        if unit == "kelvin" and not all(least <= end <= most for end in span.ends):
            return None
        return [round(min(max(end * scale, least), most), 3) for end in span.ends]

    def _positions(self, span: _Span) -> Iterator[Range]:
        """The positions of a wheel that the sets of a function name."""
        wheels = [one for one in self.fixture.wheels if _linked(span.function.wheel, one.name)]
        slots = wheels[0].wheel_slots if wheels else []
        if pictures := sum(bool(one.media_file_name is not None and one.media_file_name.name) for one in slots):
            self.note(f"the pictures of the wheel {wheels[0].name}: {pictures}")
        if any(one.facets for one in slots):
            self.note(f"the facets of the prism {wheels[0].name}")
        for piece in _pieces(span):
            index = piece.set_.wheel_slot_index if piece.set_ is not None else 0
            if not 1 <= index <= len(slots):
                yield _unreachable(piece)
                continue
            slot = slots[index - 1]
            name = printable(str(slot.name or piece.name), 40).strip() or f"position {index}"
            found: Range = {"to": piece.last, "does": name if name not in ("nothing", "closed") else f"{name} {index}"}
            if str(span.function.attribute).lower().startswith("color") and (colour := _colour(slot.color)):
                found["colour"] = colour
            yield found


def _own_word(words: Sequence[str | None]) -> str | None:
    """What a slot is, of what its functions do: a shutter, else what is chosen, else what is set, else what turns."""
    known = [word for word in words if word]
    if "intensity" in known:
        return "intensity"
    if "shutter" in known or "strobe" in known:
        return "shutter"
    choices = [word for word in known if word in PARAMETERS and PARAMETERS[word].unit == "choice"]
    others = [word for word in known if word in PARAMETERS and not PARAMETERS[word].rate]
    moving = [word for word in known if word in PARAMETERS]
    return next(iter([*choices, *others, *moving, *(word for word in known if word != "none"), *known]), None)


def _linked(link: Any, name: str) -> bool:
    return link is not None and bool(name) and str(link.str_link or "") == name


def _colour(colour: Any) -> dict[str, float] | None:
    if colour is None or not (0 <= colour.x <= 1 and 0.001 <= colour.y <= 1 and colour.x + colour.y <= 1):
        return None
    return {"x": round(colour.x, 4), "y": round(colour.y, 4)}


def _shutter(span: _Span) -> str:
    """Open or closed: by the set's name, else by its physical value (Annex A: 0 is closed, 1 is open)."""
    name = span.name.lower()
    if "clos" in name or "blackout" in name:
        return "closed"
    if "open" in name:
        return "open"
    return "closed" if span.ends is not None and max(span.ends) == 0 else "open"


def _unreachable(span: _Span) -> Range:
    name = span.name.lower()
    return {"to": span.last, "does": f"{name} (as it says)"[:40] if name in _RESERVED else name, "scenes": False}


def _still(word: str, rest: int) -> Slot:
    return {"is": word, "default": rest} if rest else {"is": word}


def _coarse(value: Any) -> int:
    """The byte of the coarse slot; DIN SPEC 15800 mirrors or shifts a short value, which is the same here."""
    return _bytes_of(value, 1)[0]


def _bytes_of(value: Any, count: int) -> list[int]:
    """A DMX value as `count` bytes, the most significant first; one that is told in fewer is mirrored (Table 1)."""
    if value is None:
        return [0] * count
    size = min(max(int(value.byte_count), 1), 4)
    number = min(max(int(value.value), 0), 256**size - 1)
    told = [number >> 8 * (size - 1 - at) & 255 for at in range(size)]
    return [told[at % size] for at in range(count)]


def _pieces(span: _Span) -> list[_Span]:
    """A function parted by its sets; what comes before the first of them is a piece of its own."""
    sets = sorted(span.function.channel_sets, key=lambda one: _coarse(one.dmx_from))
    starts = [(max(_coarse(one.dmx_from), span.first), one) for one in sets]
    if not starts or starts[0][0] > span.first:
        starts.insert(0, (span.first, None))
    found = []
    for index, (first, one) in enumerate(starts):
        last = starts[index + 1][0] - 1 if index + 1 < len(starts) else span.last
        if first <= last <= span.last:
            found.append(_Span(first, last, span.function, one))
    return found


def _pieces_differ(span: _Span) -> bool:
    """Whether the sets of a function give physical values of their own."""
    return any("PhysicalFrom" in one._attr_keys for one in span.function.channel_sets)


def _joined(ranges: Sequence[Range]) -> list[Range]:
    """Ranges in order, with neighbours that do the same without a unit made one."""
    found: list[Range] = []
    for one in ranges:
        if found and found[-1] | {"to": 0} == one | {"to": 0} and not one.keys() & set(_UNIT_KEYS.values()):
            found[-1]["to"] = one["to"]
        else:
            found.append(one)
    if found:
        found[-1]["to"] = 255
    return found
