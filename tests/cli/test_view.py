"""The picture that `watch` draws, as text on a small terminal."""

from typing import Any

import pytest
from rich.console import Console

from lanternist.cli.view import view

BEAT: dict[str, Any] = {
    "bpm": 124.0, "bar": 3, "beat_in_bar": 2, "phrase_32": 9.5,
    "state": "locked", "source": "midi", "confidence": 0.9, "error_ms": 1.4,
}  # fmt: skip
FRAMES = {"begun": 400, "late": 0, "skipped": 0, "faults": 0}


LOADED: dict[str, Any] = {"state": "", "for_s": 4, "took_s": 0.5, "problems": []}


def drawn(**changes: Any) -> str:
    status: dict[str, Any] = {
        "rig": "Hall", "show": "Tide", "master": 80.0, "blackout": False, "beat": BEAT, "frames": FRAMES,
        "scenes": [{"name": "house", "priority": 50, "weight": 50.0, "level": 100.0, "releasing": True}],
        "fixtures": [
            {"name": "par 1", "cell": 1, "kind": "wash", "levels": {"intensity": 0.35, "red": 1.0}},
            {"name": "hazer 1", "cell": 1, "kind": "haze", "levels": {"haze": 0.3}},
        ],
        "song": {}, "follow": {"on": False, "energy": 50.0, "family": "", "layers": []},
        "load_in": {"on": False, "lit": []},
        "guard": [], "limits": {"flashes_per_second": 3, "acknowledged": ""},
        "outputs": [], "inputs": [], "events": {"refused": 0, "dropped": 0},
        "process": {"priority": "real-time", "memory": "locked"}, "reload": LOADED,
    }  # fmt: skip
    console = Console(width=80, force_terminal=False)
    with console.capture() as shown:
        console.print(view(status | changes))
    return shown.get()


def test_what_follow_plays_is_told_with_its_reason() -> None:
    layers = [
        {"layer": "main", "plays": "pulse", "why": "60 % is within 40 to 80"},
        {"layer": "heads", "plays": "", "why": "a hand has taken over"},
    ]
    text = drawn(follow={"on": True, "energy": 60.0, "family": "", "layers": layers})
    assert "follows: pulse   60 % is within 40 to 80" in text
    assert "follows (heads): makes way   a hand has taken over" in text


def test_what_came_of_loading_the_gig_anew_is_told() -> None:
    assert "gig" not in drawn()
    assert "loaded 4 s ago, in 0.5 s" in " ".join(drawn(reload=LOADED | {"state": "loaded"}).split())
    problems = ["show.toml:3: this is wrong", "rig.toml:4: and this"]
    text = " ".join(drawn(reload=LOADED | {"state": "refused", "problems": problems}).split())
    assert "the gig was not loaded anew: show.toml:3: this is wrong rig.toml:4: and this" in text
    assert "gig refused 4 s ago" in text


def test_scenes_lights_and_master_are_seen() -> None:
    text = drawn()
    for words in ("Tide on Hall", "master 80 %", "going", "par 1", "35%", "haze 30%", "beat 10 of 32", "● ● ○ ○"):
        assert words in text
    assert "BLACKOUT" not in text
    assert "BLACKOUT" in drawn(blackout=True)
    assert "LOAD-IN: par 1" in drawn(load_in={"on": True, "lit": ["par 1"]})


@pytest.mark.parametrize(
    ("state", "source", "words"),
    [
        ("locked", "midi", "with midi, sure to 90%, ±1 ms"),
        ("free", "free", "no beat heard"),
        ("free", "manual", "tempo by hand"),
        ("acquiring", "osc", "listening to osc"),
        ("holdover", "midi", "midi is silent, going on without it"),
        ("stopped", "midi", "midi has stopped"),
    ],
)
def test_who_gives_the_beat(state: str, source: str, words: str) -> None:
    assert words in " ".join(drawn(beat=BEAT | {"state": state, "source": source}).split())


@pytest.mark.parametrize(
    ("way", "words"),
    [
        ({"state": "retrying", "for_s": 59, "error": "port 9000 is taken", "to": "hall"}, "osc retrying 59 s to hall"),
        ({"state": "refused", "for_s": 7503, "error": "not allowed", "to": "hall"}, "osc refused 2 h 5 min to hall"),
        ({"error": "", "warning": "nobody listens", "to": "hall"}, "output 1 osc warns to hall"),
        ({"error": "", "malformed": 3, "events": 0}, "output 1 osc up 2 min refused or lost: 3"),
    ],
)
def test_how_a_way_in_or_out_goes(way: dict[str, Any], words: str) -> None:
    whole = {"name": "1 osc", "state": "up", "for_s": 130, "failures": 0} | way
    assert words in " ".join(drawn(outputs=[whole]).split())


def test_more_flashes_than_guidance_are_shown_with_who_allows_them() -> None:
    limits = {"flashes_per_second": 6, "acknowledged": "the house: signs are up"}
    assert "6 flashes a second are allowed here; the house: signs are up" in drawn(limits=limits)


def test_troubles_stand_above_the_lights() -> None:
    text = drawn(
        guard=["strobes: strobe 1"],
        frames=FRAMES | {"faults": 2},
        events={"refused": 4, "dropped": 0},
        inputs=[{"name": "1 midi", "state": "retrying", "for_s": 3, "error": "no MIDI here", "failures": 3}],
        outputs=[{"name": "1 artnet", "error": "", "state": "up", "for_s": 3, "warning": "nobody listens"}],
    )
    wrong = ("input 1 midi: no MIDI here", "output 1 artnet: nobody listens")
    for words in (*wrong, "guard: strobes: strobe 1", "faults: 2, the log tells of them", "4 actions refused"):
        assert 0 < text.index(words) < text.index("par 1")
