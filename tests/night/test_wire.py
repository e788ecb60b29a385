"""The main job on real input: pads, clock and OSC in, Art-Net and sACN out, decoded by independent libraries.

What the show asks for is written out here by hand, slot by slot, from the demo's files and the profiles' slot lists.
"""

import math
import shutil
import socket
import statistics
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from tests.decoded import artnet_slots, sacn_slots, terminated, wait_for
from tests.nights import Night, connected, copy_gig, osc, playing
from tests.nodes import Node, node
from tests.pcap import write_pcap
from tests.players import Player, let_go, music, press

INPUTS = """
[[inputs]]
by = "midi-tcp"
port = 0
[[inputs]]
by = "osc"
port = 0
"""
SLOW_TIDE, PULSE, FULL, STORM, HAZE = 36, 37, 41, 42, 43  # the pads, as the demo's show binds them

OPEN = 3  # the middle of the open range of pars, bars: 0 to 7
HEAD_OPEN = 11  # and of heads: 8 to 15
NO_COLOUR_NO_GOBO, NO_PRISM = (7, 4), 4  # the middles of 0 to 15, 0 to 9 and 0 to 9
MIDDLE = 128  # half of a slot, halves up: where zoom and focus rest

Light = tuple[float, float, float]


def outputs(artnet: Node, streaming: Node, universes: str) -> str:
    return f"""
[[outputs]]
universe = {universes}
by = "artnet"
to = "127.0.0.1"
port = {artnet.port}
[[outputs]]
universe = {universes}
by = "sacn"
to = "127.0.0.1"
port = {streaming.port}
"""


@pytest.fixture
def nodes() -> Iterator[tuple[Node, Node]]:
    with node() as artnet, node() as streaming:
        yield artnet, streaming


# -- what fixtures should get: light 0-1 to slots, in the order of the profiles' slot lists


def slot(level: float) -> int:
    return int(level * 255 + 0.5)


def wide(level: float) -> list[int]:
    """A coarse and a fine slot."""
    return list(int(level * 65535 + 0.5).to_bytes(2, "big"))


def eye(level: float) -> float:
    """What looks like this level, as light: CIE 1976 L* = 100 x level, as relative luminance."""
    return float(((level + 0.16) / 1.16) ** 3)


def lightness(light: float) -> float:
    """The level that light looks like, above 8 per cent."""
    return float(1.16 * light ** (1 / 3) - 0.16)


def screen(code: str) -> tuple[float, float]:
    """The CIE 1931 chromaticity of an sRGB colour. IEC 61966-2-1."""
    parts = [int(code[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    rgb = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    x, y, _ = xyz / xyz.sum()
    return float(x), float(y)


def of_leds(x: float, y: float) -> Light:
    """A chromaticity as drive of typical red, green and blue LEDs that are D65 at full, the strongest at full."""
    primaries = np.array([[at[0] / at[1], 1.0, (1 - at[0] - at[1]) / at[1]] for at in LEDS]).T
    white = np.array([0.3127 / 0.3290, 1.0, 0.3583 / 0.3290])
    drives = np.linalg.solve(primaries, [x / y, 1.0, (1 - x - y) / y]) / np.linalg.solve(primaries, white)
    red, green, blue = (max(0.0, float(drive)) / float(drives.max()) for drive in drives)
    return red, green, blue


def with_white(light: Light) -> list[float]:
    """Red, green, blue, white at the most output: white is worth all three, so it stands in for their common part.

    At k times the light, white takes w of k x least, and the strongest is full at k = 1 + w: w = least / (1 - least).
    """
    least = min(light)
    white = min(1.0, least / (1 - least)) if least < 1 else 1.0
    return [*((1 + white) * part - white for part in light), white]


LEDS = ((0.690, 0.308), (0.170, 0.700), (0.140, 0.050))
WHITE: Light = (1.0, 1.0, 1.0)
TIDE, CORAL, DUSK = (of_leds(*screen(code)) for code in ("#0a50ff", "#ff3c18", "#a010e0"))
# 2000 K on the Planckian locus by Planck's law and the CIE 1931 observer (published tables agree to 4 digits).
EMBER = of_leds(0.52668, 0.41330)


def par_rgbw(level: float, light: Light) -> list[int]:
    """par-rgbw, mode 8."""
    return [slot(level), *map(slot, with_white(light)), OPEN, 0, 0]


def cells(level: float, lights: Sequence[Light]) -> list[int]:
    """Cells without a dimmer: the level is in their colour."""
    return [slot(level * part) for light in lights for part in light]


def par_rgb(level: float, light: Light) -> list[int]:
    """par-rgb, mode 7."""
    return [slot(level), *map(slot, light), OPEN, 0, 0]


def bar(level: float, lights: Sequence[Light]) -> list[int]:
    """bar-rgb, mode 26: its own dimmer stays at full, as the cells dim."""
    return [255, OPEN, *cells(level, lights)]


def turned(pan: float, tilt: float, tilt_range: float) -> list[int]:
    return wide((pan + 270) / 540) + wide((tilt + tilt_range / 2) / tilt_range)


def spot(level: float, light: Light, pan: float = 0.0, tilt: float = 0.0) -> list[int]:
    """spot-head, mode 16: pan and tilt, speed, intensity, shutter, RGBW, wheel, gobo, focus, prism, control."""
    lights = map(slot, with_white(light))
    return [*turned(pan, tilt, 270), 0, slot(level), HEAD_OPEN, *lights, *NO_COLOUR_NO_GOBO, MIDDLE, NO_PRISM, 0]


def wash_head(level: float, light: Light) -> list[int]:
    """wash-head, mode 16: pan and tilt, speed, intensity in two slots, shutter, RGBW, zoom, program, speed, control."""
    return [*turned(0, 0, 220), 0, *wide(level), HEAD_OPEN, *map(slot, with_white(light)), MIDDLE, 0, 0, 0]


def at_floor(x: float) -> tuple[float, float]:
    """Pan and tilt of a head that hangs at (x, 0, 5) and looks at the floor point (0, 7, 0).

    Straight down it looks at (x, 0, 0); positive pan turns from the room towards +x, positive tilt leaves the vertical.
    """
    return math.degrees(math.atan(-x / 7)), math.degrees(math.atan(math.hypot(x, 7) / 5))


def small_rig(level: float, lights: Sequence[Light]) -> dict[int, list[int]]:
    """The hall: four pars, a bar of eight cells. lights: of washes and bar cells in patch order."""
    pars = [one for light in lights[:4] for one in par_rgbw(level, light)]
    return {1: whole([*pars, *cells(level, lights[4:])])}


def large_rig(
    level: float,
    lights: Sequence[Light],
    spots: list[int],
    strobe: tuple[int, int] = (2, 0),
    haze: tuple[int, int] = (0, 0),
) -> dict[int, list[int]]:
    """The rink. lights: of six pars, two wash heads, two bars of eight cells."""
    first = [one for light in lights[:6] for one in par_rgb(level, light)]
    first += bar(level, lights[8:16]) + bar(level, lights[16:]) + [*strobe, *haze]
    return {1: whole(first), 2: whole(spots + wash_head(level, lights[6]) + wash_head(level, lights[7]))}


def whole(slots: list[int]) -> list[int]:
    return slots + [0] * (512 - len(slots))


SPOTS_AT_REST = spot(0.0, WHITE) * 4
HAZY = (slot(0.3), slot(0.4))


# -- the nights


def test_small_rig(tmp_path: Path, nodes: tuple[Node, Node]) -> None:
    artnet, streaming = nodes
    gig = copy_gig(tmp_path, outputs=outputs(artnet, streaming, "1"), inputs=INPUTS)
    with playing(gig) as night, connected(night.door("midi-tcp")) as pads:
        drive_small_rig(night, pads, artnet, streaming)
        with music(pads, 124) as player:
            pads.sendall(press(PULSE) + let_go(PULSE))
            check_pulse(artnet, player, lambda level: small_rig(level, [CORAL, DUSK] * 6)[1])
        streaming.waiting()
        assert night.stop() == 0
        last = streaming.waiting()[-3:]
    assert [terminated(packet) for packet in last] == [True] * 3


def drive_small_rig(night: Night, pads: socket.socket, artnet: Node, streaming: Node) -> None:
    """Full by pad; then over OSC blackout and back, and half of the grand master; each seen on both wires."""
    pads.sendall(press(FULL))
    full = small_rig(1.0, [WHITE] * 12)
    packets = wait_for(artnet, artnet_slots, full)
    if shutil.which("tshark"):
        assert analysed(night.log.parent / "wire.pcap", packets) == bytes(full[1])
    see(artnet, streaming, full)
    door = night.door("osc")
    osc(door, "/lanternist/blackout", 1)
    see(artnet, streaming, small_rig(0.0, [WHITE] * 12))
    osc(door, "/lanternist/blackout", 0)
    see(artnet, streaming, full)
    osc(door, "/lanternist/master", 0.5)
    see(artnet, streaming, small_rig(eye(0.5), [WHITE] * 12))
    osc(door, "/lanternist/master", 1.0)
    pads.sendall(let_go(FULL))
    see(artnet, streaming, small_rig(eye(0.35), [EMBER] * 12), near=1)


def test_large_rig(tmp_path: Path, nodes: tuple[Node, Node]) -> None:
    artnet, streaming = nodes
    gig = copy_gig(tmp_path, "rink.toml", outputs=outputs(artnet, streaming, "[1, 2]"), inputs=INPUTS)
    with playing(gig) as night, connected(night.door("midi-tcp")) as pads, music(pads, 124) as player:
        drive_large_rig(night, pads, artnet, streaming)
        pads.sendall(press(PULSE) + let_go(PULSE))
        rig = [CORAL, DUSK] * 12
        check_pulse(artnet, player, lambda level: large_rig(level, rig, SPOTS_AT_REST, haze=HAZY)[1])
        assert night.stop() == 0


def drive_large_rig(night: Night, pads: socket.socket, artnet: Node, streaming: Node) -> None:
    pads.sendall(press(HAZE) + let_go(HAZE))
    see(artnet, streaming, large_rig(eye(0.35), [EMBER] * 24, SPOTS_AT_REST, haze=HAZY), near=1)
    door = night.door("osc")
    # The heads turn to the floor as soon as slow tide is on, and stay there while full makes everything white.
    osc(door, "/lanternist/start", "slow tide")
    osc(door, "/phone/full", 1.0)
    aimed = [one for x in (-4.5, -1.5, 1.5, 4.5) for one in spot(1.0, WHITE, *at_floor(x))]
    see(artnet, streaming, large_rig(1.0, [WHITE] * 24, aimed, haze=HAZY))
    osc(door, "/phone/full", 0.0)
    tide = [one for x in (-4.5, -1.5, 1.5, 4.5) for one in spot(eye(0.3), TIDE, *at_floor(x))]
    see(artnet, streaming, {2: tide})
    osc(door, "/lanternist/stop", "slow tide")
    pads.sendall(press(STORM))
    # The shutter stays open, from 0 to 5; the flashes are made on the intensity.
    for storm in ((2, 255), (2, 0), (2, 255)):
        see(artnet, streaming, large_rig(eye(0.35), [EMBER] * 24, SPOTS_AT_REST, storm, HAZY), near=1)
    pads.sendall(let_go(STORM))


def see(artnet: Node, streaming: Node, wanted: dict[int, list[int]], near: int = 0) -> None:
    """Wait until both wires show it."""
    wait_for(artnet, artnet_slots, wanted, near)
    wait_for(streaming, sacn_slots, wanted, near)


FRAME_S = 0.025
BEATS_WATCHED = 4
# What a slot can tell of the phase at the lower end, where a step is the most to the eye: 70 per cent of the way.
RESOLUTION = (lightness(eye(0.2) + 1 / 255) - 0.2) / 0.7


def check_pulse(receiver: Node, player: Player, wanted: Callable[[float], list[int]]) -> None:
    """Every slot of every packet, against the wave of "pulse": 90 per cent on the beat, falling to 20 at the next.

    wanted: what universe 1 should be at a level. A frame is seen until the next one comes, so it should show the wave
    as it is half a frame after the packet; a busy machine may be late with some of them.
    """
    receiver.stamp()
    begun = player.beat_at(time.monotonic())
    off = []
    while True:
        packet, at = receiver.stamped()
        beat = player.beat_at(at)
        if beat > begun + 2 + BEATS_WATCHED:
            break
        universe, slots = artnet_slots(packet)
        if universe != 1 or beat < begun + 2:  # it fades in for one beat
            continue
        level = slots[0] / 255
        odd = {n: (a, b) for n, (a, b) in enumerate(zip(slots, wanted(level), strict=True), 1) if abs(a - b) > 1}
        assert not odd, f"at {level:.3f}: slot: (is, should be): {odd}"
        phase = (0.9 - lightness(level)) / 0.7
        should = player.beat_at(at + FRAME_S / 2)
        off.append((phase - should + 0.5) % 1 - 0.5)
    assert len(off) > BEATS_WATCHED / player.bpm * 60 / FRAME_S * 0.8
    assert abs(statistics.median(off)) < RESOLUTION + 0.2 * FRAME_S * player.bpm / 60, off
    near = sum(abs(one) < RESOLUTION + FRAME_S * player.bpm / 60 for one in off)
    assert near >= 0.9 * len(off), off


def analysed(path: Path, packets: list[bytes]) -> bytes:
    """The slots of an ArtDmx packet as a general protocol analyser reads them."""
    write_pcap(path, [(6454, packets[0])])
    command = ["tshark", "-n", "-r", str(path), "-T", "fields", "-e", "dmx_chan.data_filter"]
    return bytes.fromhex(subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout.strip())
