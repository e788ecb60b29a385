"""What `watch` and `--json` show: one snapshot of the night as plain values."""

import os
from collections.abc import Sequence
from dataclasses import asdict

from lanternist.core.events import Touch
from lanternist.core.guard.guard import flashes_allowed
from lanternist.core.operator import Operator
from lanternist.core.parameters import PARAMETERS
from lanternist.core.rig import Limits
from lanternist.runtime.listener import Listener
from lanternist.runtime.loop import Loop

Plain = dict[str, object]


def snapshot(loop: Loop, listeners: Sequence[Listener], now: float) -> Plain:
    """The state at `now`. listeners: the control socket too.

    Levels are per cent of full, times milliseconds, beats as the beat clock counts them.
    """
    operator, senders = loop.operator, loop.senders
    return {
        "pid": os.getpid(),
        "rig": operator.rig.rig.title,
        "show": operator.show.show.title,
        "master": round(operator.desk.master * 100, 1),
        "blackout": operator.desk.blackout,
        "touched": _touched(operator.touched),
        "load_in": operator.loadin.describe(now),
        "beat": _beat(operator, now),
        "scenes": _scenes(operator, now),
        "song": _song(operator, now),
        "follow": _follow(operator),
        "fixtures": _fixtures(operator),
        "guard": [f"{one}, for {max(0.0, now - one.since):.0f} s" for one in operator.guard.held()],
        "limits": _limits(operator.rig.rig.limits),
        "outputs": [sender.describe() for sender in senders],
        "nodes": list({node.address: asdict(node) for sender in senders for node in sender.found()}.values()),
        "inputs": [listener.describe() for listener in listeners],
        "recording": None if loop.recorder is None else loop.recorder.describe(),
        "frames": {
            "begun": loop.pacer.begun,
            "early": loop.pacer.early,
            "late": loop.pacer.late,
            "skipped": loop.pacer.skipped,
            "faults": operator.faults + loop.faults,
            **loop.lateness.summary(),
            "lateness": loop.lateness.histogram(),
        },
        "events": {"refused": operator.refused, "dropped": loop.inbox.dropped},
    }


def _touched(touch: Touch | None) -> Plain | None:
    """The last touch of a pad, key or fader that was not let go; at: as the daemon counts seconds."""
    if touch is None:
        return None
    return {"control": list(touch.control), "value": touch.value, "device": touch.device, "at": touch.at}


def _limits(limits: Limits) -> Plain:
    taken_on = limits.acknowledged
    return {
        "flashes_per_second": flashes_allowed(limits),
        "acknowledged": f"{taken_on.who}: {taken_on.why}" if taken_on else "",
    }


def _beat(operator: Operator, now: float) -> Plain:
    reading = operator.clock.reading(now)
    return {
        "beat": round(reading.beat, 2),
        "bpm": round(reading.bpm, 2),
        "bar": reading.bar,
        "beat_in_bar": reading.beat_in_bar,
        "phrase_8": round(reading.phrase_8, 2),
        "phrase_16": round(reading.phrase_16, 2),
        "phrase_32": round(reading.phrase_32, 2),
        "source": reading.source,
        "state": reading.state.name.lower(),
        "confidence": round(reading.confidence, 2),
        "error_ms": round(reading.error_ms, 2),
    }


def _scenes(operator: Operator, now: float) -> list[Plain]:
    return [
        {
            "name": voice.playable.name,
            "priority": voice.playable.priority,
            "weight": round(voice.weight * 100, 1),
            "level": round(voice.level * 100, 1),
            "releasing": playing.target == 0,
            "by": playing.by,
        }
        for playing, voice in operator.desk.active(now)
    ]


def _song(operator: Operator, now: float) -> Plain:
    """Which song plays and where it is; empty if none is known to."""
    place = operator.song
    if not place.playing:
        return {}
    song, position = place.songs[place.playing], place.position(now, operator.clock)
    number = song.section_at(position)
    return {
        "title": song.title,
        "bar": song.grid.bar_beat(position)[0],
        "seconds": round(float(song.grid.seconds(position)), 2),
        "section": song.sections[number].kind if number >= 0 else "",
    }


def _follow(operator: Operator) -> Plain:
    """What follow plays in each layer, and why; which layers make way for a hand."""
    follow, playables = operator.follow, operator.show.playables
    return {
        "on": follow.on,
        "energy": round(follow.energy * 100, 1),
        "family": follow.family,
        "layers": [
            {
                "layer": layer,
                "plays": playables[follow.choice[layer]].name if layer in follow.choice else "",
                "why": why,
            }
            for layer, why in follow.why.items()
        ],
    }


def _fixtures(operator: Operator) -> list[Plain]:
    """The light of every cell: its intensity as the eye sees it, and its emitters as they are driven."""
    table, levels = operator.rig, operator.rig.as_seen(operator.levels)
    lights: list[Plain] = [
        {"name": cell.name, "cell": cell.cell + 1, "kind": cell.kind, "levels": {}} for cell in table.cells
    ]
    kinds = list(PARAMETERS)
    for row in range(table.rows):
        shown = lights[table.cell[row]]["levels"]
        if isinstance(shown, dict):
            shown[kinds[table.kind[row]]] = round(float(levels[row]), 4)
    return lights
