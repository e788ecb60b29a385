"""What check says beforehand of scenes that the guard will hold back."""

from pathlib import Path

import pytest
from tests.nights import copy_gig

from lanternist.files.foresight import foresee
from lanternist.runtime.gigs import load

TOO_FAST = """
[[scenes]]
name = "too fast"
[[scenes.parts]]
on = "wash"
intensity = { wave = "square", low = 0, high = 100, every = "1/6 beat" }
[[chases]]
name = "rush"
every = "0.1 s"
[[chases.steps]]
parts = [{ on = "wash", intensity = 100 }]
[[chases.steps]]
parts = [{ on = "wash", intensity = 0 }]
"""


@pytest.mark.parametrize("rig", ["rig.toml", "rink.toml"])
def test_the_demo_asks_for_nothing_beyond_its_limits(tmp_path: Path, rig: str) -> None:
    gig, problems = load(copy_gig(tmp_path, rig))
    assert gig is not None
    assert problems == []
    assert foresee(gig) == []


def test_each_warning_stands_beside_its_scene_or_chase(tmp_path: Path) -> None:
    gig, _ = load(copy_gig(tmp_path, show=TOO_FAST))
    assert gig is not None
    lines = (gig.folder / "show.toml").read_text().splitlines()
    scene, chase = foresee(gig)
    assert scene.severity == chase.severity == "warning"
    assert lines[scene.line] == 'name = "too fast"'
    assert lines[chase.line] == 'name = "rush"'
    assert "asks for 12 Hz" in scene.message
    assert "this rig allows 3 flashes a second" in scene.message


def test_the_rig_s_own_tempo_is_what_counts(tmp_path: Path) -> None:
    slow = TOO_FAST.partition("[[chases]]")[0].replace("1/6 beat", "1/2 beat")
    gig, _ = load(copy_gig(tmp_path, inputs="[clock]\nfree_bpm = 60\n", show=slow))
    assert gig is not None
    assert foresee(gig) == []
