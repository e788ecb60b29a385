# ruff: noqa: E501 -- a style is a line
"""Styles of music for `tests.bench.song_maker`: tempi, drum patterns and forms."""

from dataclasses import dataclass

DANCE = [
    ("intro", 16),
    ("groove", 16),
    ("build", 8),
    ("drop", 16),
    ("break", 16),
    ("build", 8),
    ("drop", 16),
    ("outro", 16),
]
BAND = [("intro", 4), ("groove", 8), ("drop", 8), ("groove", 8), ("drop", 8), ("break", 8), ("drop", 8), ("outro", 4)]


@dataclass
class Style:
    """bpm: range. drums: choices of (kick, snare, hat) in sixteenths of a bar. form: sections. metres: to choose from."""

    bpm: tuple[float, float]
    drums: list[tuple[str, str, str]]
    form: list[tuple[str, int]]
    sampled: float = 0.5
    swing: tuple[float, float] = (0.0, 0.0)
    human: float = 0.0
    drift: float = 0.0
    metres: tuple[int, ...] = (4,)
    dance: bool = False


FOUR = "x...x...x...x..."
BACK = "....x.......x..."
STYLES: dict[str, Style] = {
    "house": Style((116, 130), [(FOUR, BACK, "..x...x...x...x."), (FOUR, BACK, "x.xxx.xxx.xxx.xx"), (FOUR, "....x.......x..x", "..x...x...x.x.x.")], DANCE, 0.15, (0, 0.15), dance=True),
    "techno": Style((126, 148), [(FOUR, "................", "..x...x...x...x."), (FOUR, BACK, "xxxxxxxxxxxxxxxx"), (FOUR, "...........x....", "..x...x...x...x.")], DANCE, 0.05, dance=True),
    "trance": Style((130, 145), [(FOUR, BACK, "..x...x...x...x.")], DANCE, 0.1, dance=True),
    "drum and bass": Style((165, 180), [("x.........x.....", BACK, "x.x.x.x.x.x.x.x."), ("x..x......x.....", "....x..x.x..x...", "x.x.x.x.x.x.x.x."), ("x.x.......x.....", "....x.......x..x", "xxxxxxxxxxxxxxxx")], DANCE, 0.1, dance=True),
    "half time": Style((132, 150), [("x.......x.......", "........x.......", "x.x.x.x.x.x.x.x."), ("x.....x...x.....", "........x.......", "x.xxx.x.x.xxx.x.")], DANCE, 0.1, dance=True),
    "breaks": Style((118, 142), [("x.....x...x.....", BACK, "x.x.x.x.x.x.x.x."), ("x..x..x...x..x..", "....x..x.x..x...", "x.x.x.x.x.x.x.x."), ("x.x.......xx....", BACK, "x.x.x.x.x.x.x.x.")], DANCE, 0.3, (0, 0.2), dance=True),
    "hip hop": Style((78, 104), [("x......x..x.....", BACK, "x.x.x.x.x.x.x.x."), ("x.x.....x.x..x..", BACK, "x.x.x.x.x.x.x.xx"), ("x.....x.x.......", BACK, "x.xxx.x.x.xxx.x.")], BAND, 0.3, (0, 0.35), 0.004),
    "chip": Style((110, 160), [(FOUR, BACK, "x.x.x.x.x.x.x.x."), ("x.....x.x.....x.", BACK, "x.x.x.x.x.x.x.x."), ("x.......x.......", BACK, "................")], BAND, 0.0),
    "rock": Style((92, 172), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), ("x.....x.x.x.....", BACK, "x.x.x.x.x.x.x.x."), ("x.x.....x.x.....", BACK, "x...x...x...x..."), ("x..x..x...x.....", BACK, "x.x.x.x.x.x.x.x.")], BAND, 1.0, (0, 0.1), 0.009, 0.02),
    "punk": Style((150, 205), [("x.....x.x.....x.", BACK, "x.x.x.x.x.x.x.x."), ("x...x...x...x...", "..x...x...x...x.", "x...x...x...x...")], BAND, 1.0, (0, 0), 0.008, 0.02),
    "pop": Style((84, 132), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), (FOUR, BACK, "x.x.x.x.x.x.x.x."), ("x.....x.x.......", BACK, "xxxxxxxxxxxxxxxx")], BAND, 0.6, (0, 0.1), 0.003),
    "ballad": Style((58, 86), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), ("x.........x.....", "........x.......", "x...x...x...x..."), ("................", "................", "x...x...x...x...")], BAND, 1.0, (0, 0), 0.012, 0.03, (4, 4, 3)),
    "funk": Style((92, 122), [("x..x......x..x..", "....x..x.x..x..x", "xxxxxxxxxxxxxxxx"), ("x.x.......xx....", "....x..x....x...", "x.x.x.xxx.x.x.x.")], BAND, 0.7, (0, 0.25), 0.006, 0.01),
    "swing": Style((110, 220), [("x...x...x...x...", "................", "x...x..xx...x..x"), ("x.......x.......", "....x.......x...", "x...x..xx...x..x")], BAND, 1.0, (0.9, 1.0), 0.01, 0.03),
    "shuffle": Style((96, 150), [("x.......x.......", BACK, "x.x.x.x.x.x.x.x."), (FOUR, BACK, "x..xx..xx..xx..x")], BAND, 0.9, (0.8, 1.0), 0.008, 0.02),
    "reggae": Style((66, 92), [("........x.......", "........x.......", "..x...x...x...x."), (FOUR, "........x.......", "x.x.x.x.x.x.x.x.")], BAND, 0.8, (0, 0.3), 0.006, 0.01),
    "latin": Style((92, 128), [("x..x..x...x..x..", "..x..x..x..x....", "x.x.x.x.x.x.x.x."), ("x...x...x...x...", "...x..x....x..x.", "x.xxx.xxx.xxx.xx")], BAND, 0.8, (0, 0), 0.006, 0.015),
    "waltz": Style((84, 186), [("x...........", "....x...x...", "x...x...x..."), ("x...........", "....x...x.x.", "x.x.x.x.x.x.")], BAND, 0.8, (0, 0.2), 0.008, 0.02, (3,)),
    "march": Style((96, 140), [("x.......x.......", "....x.......x...", "................"), ("x.......x.......", "..xxx.xx..xxx.xx", "x...............")], BAND, 1.0, (0, 0), 0.006, 0.01),
    "odd": Style((100, 160), [("x.......x...", BACK, "x.x.x.x.x.x.x.x.")], BAND, 0.6, (0, 0), 0.006, 0.01, (5, 7, 6)),
    "no drums": Style((66, 140), [("................", "................", "................")], BAND, 0.9, (0, 0.1), 0.012, 0.03, (4, 4, 3)),
}  # fmt: skip
