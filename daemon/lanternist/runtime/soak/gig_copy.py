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
    outputs = "".join(_output(universe, port) for universe in universes)
    return outputs + '\n[[inputs]]\nby = "midi-tcp"\nport = 0\n\n[[inputs]]\nby = "osc"\nport = 0\n'


def _output(universe: int, port: int) -> str:
    return f'\n[[outputs]]\nuniverse = {universe}\nby = "artnet"\nto = "127.0.0.1"\nport = {port}\n'


# What a probe presses: a pad that few controllers have, bound to a blackout for as long as it is held.
PROBE_CHANNEL, PROBE_NUMBER = 16, 127
# What shows where the beat is: a slot, on a universe of its own, that climbs from 0 to 255 with each beat.
BEAT_NAME = "the beat of the soak"


def add_probes(folder: Path, rig: str, universe: int, port: int) -> None:
    """Bind the pad of the probe in the copied show, and give the beat a slot on a universe that the rig has not."""
    with (folder / "show.toml").open("a", encoding="utf-8") as show:
        show.write(
            f'\n[[bindings]]\nwhen = {{ midi = "note", channel = {PROBE_CHANNEL}, number = {PROBE_NUMBER} }}\n'
            'blackout = "hold"\n'
            f'\n[[scenes]]\nname = "{BEAT_NAME}"\n'
            f'parts = [{{ on = "{BEAT_NAME}", fan = {{ wave = "ramp", every = "1 beat" }} }}]\n'
        )
    with (folder / rig).open("a", encoding="utf-8") as text:
        # A fan gives no light: nothing that dims or flashes counts it.
        text.write(f'\n[[fixtures]]\nname = "{BEAT_NAME}"\nprofile = "fan"\nmode = "1"\n')
        text.write(f"universe = {universe}\naddress = 1\n{_output(universe, port)}")


MISTAKE = "\nthis is = a mistake\n"


def make_mistake(folder: Path) -> None:
    """Break the copied show, as a person who saves in the middle of a word."""
    with (folder / "show.toml").open("a", encoding="utf-8") as show:
        show.write(MISTAKE)


def mend(folder: Path) -> None:
    """Take the mistake back."""
    show = folder / "show.toml"
    show.write_text(show.read_text(encoding="utf-8").replace(MISTAKE, ""), encoding="utf-8")
