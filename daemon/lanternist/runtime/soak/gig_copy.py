"""A copy of a gig that sends its light to a receiver on this machine, and is played over doors on loopback."""

import re
import shutil
import tomllib
from pathlib import Path

_TABLE = re.compile(r"\s*\[\[?\s*([^\]\s.]+)")


def copy_gig(gig: Path, rig: str, to: Path, universes: list[int], port: int, *, keep_ways: bool) -> None:
    """Copy the files of a gig into the folder `to`, with other ways out and in.

    Each universe goes to a receiver at `port` as Art-Net; in come MIDI over TCP and OSC, at free ports of loopback.
    keep_ways: keep the rig's own outputs and inputs beside them. Raises ValueError for a rig file written in a way
    that cannot be cut.
    """
    for path in [*gig.glob("*.toml"), *gig.glob("profiles/*.toml"), *gig.glob("songs/*.toml")]:
        target = to / path.relative_to(gig)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    text = (gig / rig).read_text(encoding="utf-8")
    (to / rig).write_text((text if keep_ways else without_ways(text)) + _ways(universes, port), encoding="utf-8")


def without_ways(text: str) -> str:
    """A rig file without its outputs and inputs. Raises ValueError where only they cannot be cut."""
    lines, within = [], False
    for line in text.splitlines():
        table = _TABLE.match(line)
        within = table[1] in ("outputs", "inputs") if table else within
        if not within:
            lines.append(line)
    cut = "\n".join(lines) + "\n"
    wanted = {key: value for key, value in tomllib.loads(text).items() if key not in ("outputs", "inputs")}
    try:
        kept = tomllib.loads(cut)
    except tomllib.TOMLDecodeError:
        kept = {}
    if kept != wanted:
        raise ValueError("outputs and inputs of this rig file are not written as [[outputs]] and [[inputs]]")
    return cut


def _ways(universes: list[int], port: int) -> str:
    outputs = "".join(
        f'\n[[outputs]]\nuniverse = {universe}\nby = "artnet"\nto = "127.0.0.1"\nport = {port}\n'
        for universe in universes
    )
    return outputs + '\n[[inputs]]\nby = "midi-tcp"\nport = 0\n\n[[inputs]]\nby = "osc"\nport = 0\n'


# What a probe presses: a pad that few controllers have, bound to a blackout for as long as it is held.
PROBE_CHANNEL, PROBE_NUMBER = 16, 127


def add_probe(folder: Path) -> None:
    """Bind the pad of the probe in the copied show."""
    with (folder / "show.toml").open("a", encoding="utf-8") as show:
        show.write(
            f'\n[[bindings]]\nwhen = {{ midi = "note", channel = {PROBE_CHANNEL}, number = {PROBE_NUMBER} }}\n'
            'blackout = "hold"\n'
        )
