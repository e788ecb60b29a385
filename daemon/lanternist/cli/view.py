"""The picture that `watch` and `demo` draw of a snapshot."""

from collections.abc import Mapping
from typing import Any

from rich.columns import Columns
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

# What an emitter adds to the colour on the screen, as red, green and blue; common practice, no source.
_SHADES = {
    "red": (1.0, 0.0, 0.0), "green": (0.0, 1.0, 0.0), "blue": (0.0, 0.0, 1.0), "white": (1.0, 1.0, 1.0),
    "warm": (1.0, 0.75, 0.45), "cold": (0.85, 0.92, 1.0), "amber": (1.0, 0.6, 0.0), "lime": (0.7, 1.0, 0.1),
    "uv": (0.35, 0.0, 0.8),
}  # fmt: skip
_OTHERS = ("pan", "tilt", "strobe", "zoom", "fog", "haze", "fan")
_UNITS = {"pan": "°", "tilt": "°", "strobe": " Hz"}
# Facts whose names are for programs.
_FACTS = {"malformed": "refused or lost:", "overwritten": "frames it had no time for:", "rate_hz": "frames a second:"}

# What is wrong with a gig, before the lights are pushed off a small screen.
PROBLEMS = 6

Snapshot = Mapping[str, Any]


def view(status: Snapshot) -> RenderableType:
    """The whole picture, what matters most first: on a small screen it is the end that is not seen."""
    parts = (_head(status), _troubles(status), _follow(status), _scenes(status), Text(), _lights(status), Text())
    return Group(*parts, _ways(status))


def _head(status: Snapshot) -> Text:
    beat = status["beat"]
    head = Text()
    head.append(f"{status['show'] or 'untitled show'} on {status['rig'] or 'untitled rig'}\n", style="bold")
    head.append("".join("● " if place <= beat["beat_in_bar"] else "○ " for place in range(1, 5)))
    head.append(f" {beat['bpm']:6.2f} bpm   bar {beat['bar']}   beat {int(beat['phrase_32']) + 1} of 32   ")
    head.append(f"{_lead(beat)}\n")
    head.append(f"master {status['master']:g} %   ")
    if status["blackout"]:
        head.append(" BLACKOUT ", style="reverse bold")
    load_in = status["load_in"]
    if load_in["on"]:
        lit = ", ".join(load_in["lit"][:4]) or "a slot by its number"
        head.append(f" LOAD-IN: {lit} ", style="reverse bold")
    return head


def _lead(beat: Snapshot) -> str:
    """Who gives the beat, in words."""
    source = beat["source"]
    match beat["state"]:
        case "free":
            return "tempo by hand" if source == "manual" else "no beat heard"
        case "acquiring":
            return f"listening to {source}"
        case "holdover":
            return f"{source} is silent, going on without it"
        case "stopped":
            return f"{source} has stopped"
    return f"with {source}, sure to {beat['confidence']:.0%}, ±{beat['error_ms']:.0f} ms"


def _follow(status: Snapshot) -> Text:
    """The song that plays; what follow plays and why, unless it is off."""
    song, follow, text = status["song"], status["follow"], Text()
    if song:
        text.append(f"{song['title']}: {song['section'] or 'no sections'}, bar {song['bar']}\n")
    for layer in follow["layers"] if follow["on"] else ():
        name = "" if layer["layer"] in ("", "main") else f" ({layer['layer']})"
        text.append(f"follows{name}: {layer['plays'] or 'makes way'}")
        text.append(f"   {layer['why']}\n", style="dim")
    return text


def _scenes(status: Snapshot) -> RenderableType:
    if not status["scenes"]:
        return Text("no scene is on", style="dim")
    table = _table("scene", "fade", "level", "priority")
    for scene in reversed(status["scenes"]):
        fade = _bar(scene["weight"] / 100, 10) + (" going" if scene["releasing"] else "")
        table.add_row(scene["name"], fade, f"{scene['level']:g} %", str(scene["priority"]))
    return table


def _lights(status: Snapshot) -> RenderableType:
    fixtures: dict[str, list[Snapshot]] = {}
    for cell in status["fixtures"]:
        fixtures.setdefault(cell["name"], []).append(cell)
    return Columns([_light(name, cells) for name, cells in fixtures.items()], equal=True, padding=(0, 2))


def _light(name: str, cells: list[Snapshot]) -> Text:
    text = Text(f"{name[:14]:<14} ")
    levels = cells[0]["levels"]
    for cell in cells:
        if "intensity" in levels:
            text.append("██" if len(cells) == 1 else "█", style=_shade(cell["levels"]))
    if len(cells) == 1 and "intensity" in levels:
        text.append(f" {levels['intensity']:4.0%}")
    for name in _OTHERS:
        if levels.get(name):
            unit = _UNITS.get(name)
            text.append(f" {name} {levels[name]:.0f}{unit}" if unit else f" {name} {levels[name]:.0%}")
    return text


def _shade(levels: Snapshot) -> str:
    """The colour of the light, as bright as a screen shows it (a gamma of 2.2)."""
    emitters = {name: levels[name] for name in _SHADES if name in levels} or {"warm": 1.0}
    parts = [sum(level * _SHADES[name][part] for name, level in emitters.items()) for part in range(3)]
    level = levels.get("intensity", 1.0 if levels.keys() & _SHADES.keys() else 0.0)
    red, green, blue = (round(255 * min(1.0, part) ** (1 / 2.2) * level) for part in parts)
    return f"rgb({red},{green},{blue})"


def _ways(status: Snapshot) -> RenderableType:
    table = _table("in and out", "", "")
    for name, way in _named_ways(status):
        table.add_row(name, *_how_it_goes(way))
    if (anew := status["reload"])["state"]:
        table.add_row("gig", *_how_it_loads(anew))
    if kept := status.get("recording"):
        how = Text("has ended", "reverse") if kept["error"] else Text("goes on")
        table.add_row("recording", how, f"to {kept['to']}, {kept['megabytes']} MB")
    frames = status["frames"]
    table.add_row(
        "frames",
        f"{frames['late']} late",
        f"{frames['begun']} made, {frames['skipped']} skipped; begun {frames.get('late_p50_ms', 0):.2f} ms after their "
        f"time, 1 in 100 over {frames.get('late_p99_ms', 0):.2f} ms; each took {frames.get('took_p50_ms', 0):.2f} ms",
    )
    process = status["process"]
    table.add_row("process", process["priority"], f"memory {process['memory']}")
    return table


def _named_ways(status: Snapshot) -> list[tuple[str, Snapshot]]:
    return [(f"{kind} {way['name']}", way) for kind in ("input", "output") for way in status[f"{kind}s"]]


def _how_it_loads(anew: Snapshot) -> tuple[Text, str]:
    ago = f"{anew['for_s']} s ago"
    if anew["state"] == "refused":
        return Text("refused", "reverse"), ago
    if anew["state"] == "loading":
        return Text("loading"), ""
    return Text("loaded"), f"{ago}, in {anew['took_s']:g} s"


def _how_it_goes(way: Snapshot) -> tuple[Text, str]:
    facts = ", ".join(
        f"{_FACTS.get(key, key)} {value}"
        for key, value in way.items()
        if key not in ("name", "state", "for_s", "error", "warning", "failures") and value
    )
    if way["state"] != "up":
        return Text(f"{way['state']} {_duration(way['for_s'])}", "reverse"), facts
    return (Text("warns", "reverse"), facts) if way.get("warning") else (Text(f"up {_duration(way['for_s'])}"), facts)


def _duration(seconds: int) -> str:
    """As people say it: 12 s, 3 min, 2 h 5 min."""
    minutes = seconds // 60
    if minutes >= 60:
        return f"{minutes // 60} h {minutes % 60} min"
    return f"{minutes} min" if minutes else f"{seconds} s"


def _troubles(status: Snapshot) -> RenderableType:
    """What a person should act on: what fails, what the guard holds back, faults, what was refused."""
    text = Text()
    for name, way in _named_ways(status):
        if way["error"] or way.get("warning"):
            text.append(f"{name}: {way['error'] or way['warning']}\n", style="bold")
    if status["reload"]["state"] == "refused":
        text.append("the gig was not loaded anew:\n", style="bold")
        text.append("".join(f"  {line}\n" for line in status["reload"]["problems"][:PROBLEMS]))
    if (kept := status.get("recording")) and kept["error"]:
        text.append(f"recording: {kept['error']}; the night goes on without it\n", style="bold")
    if (standing := status.get("state")) and standing["error"]:
        text.append(f"{standing['error']}\n", style="bold")
    limits = status["limits"]
    if limits["acknowledged"]:
        text.append(f"{limits['flashes_per_second']} flashes a second are allowed here; {limits['acknowledged']}\n")
    for held in status["guard"]:
        text.append(f"guard: {held}\n", style="bold")
    if status["frames"]["faults"]:
        text.append(f"faults: {status['frames']['faults']}, the log tells of them\n", style="bold")
    events = status["events"]
    if events["refused"] or events["dropped"]:
        text.append(f"{events['refused']} actions refused, {events['dropped']} events dropped\n")
    return text


def _table(*titles: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim")
    for title in titles:
        table.add_column(title)
    return table


def _bar(share: float, width: int) -> str:
    full = round(share * width)
    return "━" * full + "─" * (width - full)
