"""A profile as text: for each mode its slots in order, what each does, and what its ranges mean."""

from collections.abc import Iterator

from lanternist.core.parameters import FIXED_SLOTS, PARAMETERS
from lanternist.core.profile import Mode, Profile, Range, Slot
from lanternist.core.show import ColourTable
from lanternist.core.slot_meaning import IDLE, driven, drives, is_position, own_parameter, reachable, whole

_UNITS = {"hz": "Hz", "deg": "degrees", "rpm": "turns a minute", "kelvin": "K", "percent": "%"}
_EVEN = {"level": (0.0, 100.0, "%"), "deg": (0.0, 360.0, "degrees"), "kelvin": (2700.0, 6500.0, "K")}
_ORDINALS = {"-fine": "second byte", "-finest": "third byte"}


def profile_lines(profile: Profile) -> Iterator[str]:
    """The whole profile, line by line."""
    yield f"{profile.title} ({profile.kind})"
    yield from (f"  {one}" for one in _figures(profile))
    for name, mode in profile.modes.items():
        yield ""
        yield f"mode {name}: {mode.footprint} slot" + ("" if mode.footprint == 1 else "s")
        yield from _mode(profile, mode)


def _figures(profile: Profile) -> Iterator[str]:
    heads = {slot.does for mode in profile.modes.values() for _, slot in mode.layout()}
    if profile.beam_deg is not None:
        yield f"beam {profile.beam_deg:g} degrees"
    if "pan" in heads:
        yield f"pan {profile.pan_deg:g} degrees, at most {profile.pan_deg_per_s:g} a second"
    if "tilt" in heads:
        yield f"tilt {profile.tilt_deg:g} degrees, at most {profile.tilt_deg_per_s:g} a second"
    if profile.power_w is not None:
        yield f"{profile.power_w:g} W" + (f", {profile.weight_kg:g} kg" if profile.weight_kg is not None else "")


def _mode(profile: Profile, mode: Mode) -> Iterator[str]:
    """Each slot; a run of like cells is told for its first cell."""
    at = 1
    for item in mode.slots:
        if isinstance(item, Slot):
            yield from _slot(f"{at}", item, profile)
            at += 1
            continue
        each = len(item.slots)
        last = at + item.cells * each - 1
        yield f"  {at}-{last}: {item.cells} cells of {each} slot" + ("" if each == 1 else "s")
        for number, slot in enumerate(item.slots):
            yield from _slot(f"{at + number}", slot, profile, "  ")
        at = last + 1


def _slot(at: str, slot: Slot, profile: Profile, indent: str = "") -> Iterator[str]:
    rests = "" if slot.rest is None else f"; rests at {slot.rest}"
    yield f"{indent}{at:>5}  {slot.does:<20}{_even(slot, profile)}{rests}".rstrip()
    for first, last, one in slot.spans():
        yield f"{indent}         {f'{first}-{last}':<9}{_range(slot, one)}"


def _even(slot: Slot, profile: Profile) -> str:
    for byte, words in _ORDINALS.items():
        if slot.does.endswith(byte):
            return words
    name = whole(slot)
    if name is None:
        return "out of reach of scenes" if slot.does in FIXED_SLOTS or not drives(slot) else ""
    if name in ("pan", "tilt"):
        turn = profile.pan_deg if name == "pan" else profile.tilt_deg
        return f"{-turn / 2:g} to {turn / 2:g} degrees"
    parameter = PARAMETERS[name]
    low, high = parameter.usual or _EVEN[parameter.unit][:2]
    return f"{low:g} to {high:g} {_EVEN[parameter.unit][2]}"


def _range(slot: Slot, one: Range) -> str:
    if one.units:
        first, last = getattr(one, one.units[0])
        name = one.does or own_parameter(slot) or ""
        text = f"{name} {first:g} to {last:g} {_UNITS[one.units[0]]}"
        reached = driven(slot, one) is not None and any(each.parameter == driven(slot, one) for each in drives(slot))
    else:
        text = one.does
        reached = is_position(slot, one) or one.does in (*IDLE, "closed")
        if is_position(slot, one):
            names = [each.name for drive in drives(slot) for each in drive.positions]
            text = f"{names.index(one.does)}: {one.does}" if one.does in names else one.does
            text += f" ({_colour(one)})" if one.colour is not None else ""
    held = f", held for {one.hold_s:g} s" if one.hold_s is not None else ""
    return text + held + ("" if (reached and reachable(one)) or one.does == "nothing" else "  (not for scenes)")


def _colour(one: Range) -> str:
    colour = one.colour
    if not isinstance(colour, ColourTable):
        return str(colour)
    return f"{colour.kelvin:g} K" if colour.kelvin is not None else f"x {colour.x:g}, y {colour.y:g}"
