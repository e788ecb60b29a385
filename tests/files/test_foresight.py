"""What check says beforehand of scenes that the guard will hold back."""

from pathlib import Path

import pytest
from tests.nights import copy_gig

from lanternist.core.guard import Guard
from lanternist.core.rig_table import compile_rig
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


AIMS = """
[[scenes]]
name = "up"
[[scenes.parts]]
on = ["spot", "wash"]
aim = { point = "sky", fan = 20 }
[[chases]]
name = "there"
[[chases.steps]]
parts = [{ on = "head 1", aim = ["floor", "stage"] }]
"""
PLACES = """
[[limits.windows]]
on = "head 1"
tilt = [0, 30]
[points]
sky = [0.0, 0.1, 30.0]
"""


def test_heads_that_cannot_reach_a_point_are_told_beside_its_aim(tmp_path: Path) -> None:
    folder = copy_gig(tmp_path, "rink.toml", inputs=PLACES.partition("[points]")[0], show=AIMS)
    rig = folder / "rig.toml"
    rig.write_text(rig.read_text().replace("[points]", PLACES[PLACES.index("[points]") :].rstrip(), 1))
    gig, problems = load(folder)
    assert gig is not None, problems
    said = {one.quote.strip(): one.message for one in foresee(gig) if "cannot" in one.message}
    fan = said['aim = { point = "sky", fan = 20 }']
    assert fan.startswith('"head 1", "head 2", "head 3", "head 4" and 2 more cannot shine on "sky": it is beyond')
    dealt = said['parts = [{ on = "head 1", aim = ["floor", "stage"] }]']
    assert dealt.startswith('"head 1" cannot shine on "floor" or "stage": a window of this rig keeps them from it; ')
    assert len(said) == 3  # and the demo's own aim


def test_a_beam_that_never_moves_is_told_to_be_in_a_zone(tmp_path: Path) -> None:
    folder = copy_gig(tmp_path, "rink.toml")
    rig = folder / "rig.toml"
    text = rig.read_text().replace('points_at = "floor"', "points_at = [-5.0, 13.0, 1.0]", 1)
    rig.write_text(text.replace('points_at = "floor"', "", 1))
    gig, problems = load(folder)
    assert gig is not None, problems
    dark, unknown = foresee(gig)
    assert dark.quote == "points_at = [-5.0, 13.0, 1.0]"
    assert dark.message == "this beam is in the zone 'tables', so it is kept dark"
    assert unknown.message == 'whether the beams of "par 2" are in a zone is not known'
    table = compile_rig(gig.rig, gig.profiles)
    levels = table.rest.copy()
    levels[: table.intensities] = 1.0
    guard = Guard(table)
    for frame in range(200):
        sent = guard.apply(levels, frame / 40)
    cells = {one.name: index for index, one in enumerate(table.cells)}
    lit = {name: sent[table.index[cells[name], "intensity"]] > 0 for name in ("par 1", "par 2", "par 3")}
    assert lit == {"par 1": False, "par 2": True, "par 3": True}
