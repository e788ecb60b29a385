"""The soak: a night that is the same for the same seed, figures that find what is wrong, and the command."""

import json
import os
import random
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.guarded import Night as Sent
from tests.guarded import stage
from tests.independent.flash_counter import decode, fields, luminance, mean_light, onsets, opposing_changes
from tests.nights import DEMO
from tests.rigs import PROFILES
from tests.running import until

from lanternist.cli import main
from lanternist.core import operator as operator_module
from lanternist.core.desk import Desk
from lanternist.core.encode import encode
from lanternist.core.events import Lost, Tick, Touch
from lanternist.core.guard import Guard
from lanternist.core.night import Happening, Truth, night
from lanternist.core.rig_table import RigTable
from lanternist.files.gig import Gig
from lanternist.runtime.gigs import load
from lanternist.runtime.soak import fast
from lanternist.runtime.soak.flashes import Flashes
from lanternist.runtime.soak.gig_copy import make_mistake, mend, without_ways
from lanternist.runtime.soak.receiver import WireFlashes
from lanternist.runtime.soak.slot_light import SlotLight
from lanternist.runtime.soak.verdicts import Soak, growth

HOURS = 0.012


@pytest.fixture(scope="module")
def gig() -> Gig:
    found, _ = load(DEMO)
    assert found is not None
    return found


def happenings(gig: Gig, seed: int, hours: float, songs: tuple[str, ...] = ("opener",)) -> list[Happening]:
    return list(night(gig.show, songs, fast.dice_of(seed), hours * 3600))


def test_the_same_seed_is_the_same_night_and_a_short_one_begins_like_a_long_one(gig: Gig) -> None:
    short, long = happenings(gig, 7, 0.1), happenings(gig, 7, 0.2)
    assert long[: len(short)] == short == happenings(gig, 7, 0.1)
    assert short != happenings(gig, 8, 0.1)[: len(short)]


def test_a_night_has_something_of_everything_in_order(gig: Gig) -> None:
    whole = happenings(gig, 2, 1.1)
    times = [at for at, _ in whole]
    assert times == sorted(times)
    kinds = {what if isinstance(what, str) else getattr(what, "do", type(what).__name__) for _, what in whole}
    assert kinds >= {
        "Tick",
        "Transport",
        "Touch",
        "Lost",
        "Truth",
        "reload",
        "mistake",
        "mended",
        "network gone",
        "network back",
        "garbage",
        "song",
        "blackout",
    }
    assert all(isinstance(what, str | Truth) or what.at == pytest.approx(at, abs=0.003) for at, what in whole)


def test_the_clock_ticks_where_the_music_is_and_a_tempo_that_is_drawn_goes_on_from_its_beat(gig: Gig) -> None:
    truth, after, drawn = Truth(0.0, 0.0, 0.0), list[float](), 0
    for at, what in happenings(gig, 4, 2.0):
        if isinstance(what, Truth):
            goes_on = what.beat > 0
            drawn += goes_on
            assert not goes_on or what.beat == pytest.approx(truth.beat_at(what.at))
            truth = what
        elif isinstance(what, Tick):
            after.append((24 * truth.beat_at(at) + 0.5) % 1.0 - 0.5)
    assert drawn > 32
    # A tick comes up to some milliseconds late, of about twenty between two.
    assert 0 < np.percentile(after, 50) < 0.1
    assert np.percentile(np.abs(after), 99) < 0.3


def test_a_mistake_is_taken_back(tmp_path: Path) -> None:
    show = tmp_path / "show.toml"
    show.write_text('title = "x"\n')
    make_mistake(tmp_path)
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(show.read_text())
    mend(tmp_path)
    assert show.read_text() == 'title = "x"\n'


def test_every_pad_that_is_pressed_is_let_go(gig: Gig) -> None:
    held: dict[object, int] = {}
    for at, what in happenings(gig, 3, 0.6):
        if isinstance(what, Touch) and what.control.kind == "note" and at < 2160 - 20:
            held[what.control] = held.get(what.control, 0) + (1 if what.value > 0 else -1)
    assert all(count <= 1 for count in held.values())
    assert any(isinstance(what, Lost) for _, what in happenings(gig, 3, 0.6))


@settings(max_examples=60)
@given(st.lists(st.sampled_from([0.0, 0.05, 0.1, 0.3, 0.79, 0.85, 1.0]), min_size=2, max_size=120))
def test_flashes_are_counted_as_another_counter_counts_them(light: list[float]) -> None:
    times = [number * 0.05 for number in range(len(light) + 1)]
    counter = Flashes(1)
    for now, value in zip(times, [0.0, *light], strict=True):
        counter.add(now, np.array([value]))
    assert counter.most == onsets(opposing_changes([0.0, *light]), times)


def on_the_wire(gig: Gig, dimmer: int, *, away: bool) -> int:
    """How often a light of the demo flashed in a second as its packets come in, if it goes on and off at 5 Hz."""
    wire, universe = WireFlashes(gig), gig.rig.fixtures[0].universe
    for frame in range(40):
        slots = np.zeros(512, dtype=np.uint8)
        slots[dimmer] = 255 * (frame // 4 % 2)
        slots[dimmer + 1 : dimmer + 4] = 255
        if away and frame % 4 == 0:
            wire.away()
        wire.add(universe, slots, frame * 0.025)
    return wire.most()[0].most


def test_flashes_are_counted_on_packets_too_but_not_across_what_was_not_seen(gig: Gig) -> None:
    par = next(one for one in gig.rig.fixtures if one.profile == "par-rgbw")
    assert on_the_wire(gig, par.address - 1, away=False) == 5
    assert on_the_wire(gig, par.address - 1, away=True) == 0
    assert on_the_wire(gig, 500, away=False) == 0


def test_growth_is_told_from_noise() -> None:
    die = random.Random(1)
    noise = [(minute / 60, 60_000 + die.gauss(0, 200)) for minute in range(240)]
    assert growth(noise).ok
    leak = growth([(hour, kb + 1000 * hour) for hour, kb in noise])
    assert leak.ok is False
    assert 900 < float(leak.value.split()[0]) < 1100
    assert growth(noise[:10]).ok is None
    step = [(minute / 60, 60_000.0 + 200 * (minute > 40)) for minute in range(61)]
    assert growth(step).ok


@pytest.mark.parametrize("rig", ["rig.toml", "rink.toml"])
def test_a_rig_without_its_ways_is_the_same_rig(rig: str) -> None:
    text = (DEMO / rig).read_text() + '\n[[inputs]]\nby = "osc"\n[mains]\nvolts = 230\n'
    whole, cut = tomllib.loads(text), tomllib.loads(without_ways(text))
    assert {key for key in whole if key not in cut} == {"outputs", "inputs"}
    assert all(whole[key] == value for key, value in cut.items())


def test_a_rig_that_cannot_be_cut_is_refused() -> None:
    with pytest.raises(ValueError, match="not written as"):
        without_ways('outputs = [{ universe = 1, by = "null" }]\n')


def soaked(gig: Gig, hours: float = HOURS) -> Soak:
    return fast.soak(gig, 5, hours, "the same again", lambda _: True)


def verdicts(done: Soak) -> dict[str, bool | None]:
    # What hangs on how busy this machine is says nothing here.
    return {line.what: line.ok for line in done.lines if "takes" not in line.what}


def test_a_sound_gig_passes(gig: Gig) -> None:
    done = soaked(gig)
    assert all(ok is not False for ok in verdicts(done).values()), done.lines
    assert done.happened["tick"] > 500
    assert json.loads(json.dumps(done.as_plain()))["hours"] == pytest.approx(HOURS, abs=0.001)


def test_what_is_planted_is_found_and_found_again(gig: Gig, monkeypatch: pytest.MonkeyPatch) -> None:
    def flash(_guard: Guard, levels: np.ndarray, now: float, **_: object) -> np.ndarray:
        lit = levels.copy()
        lit[:4] = float(int(now * 12) % 2)
        return lit

    monkeypatch.setattr(Guard, "apply", flash)
    first, second = verdicts(soaked(gig)), verdicts(soaked(gig))
    assert first == second
    assert first["flashes in a second, of any light"] is False


def test_a_guard_that_counts_but_lets_pass_is_found_on_the_slots(gig: Gig, monkeypatch: pytest.MonkeyPatch) -> None:
    def flash(rig: RigTable, levels: np.ndarray, number: int = 0) -> np.ndarray:
        return encode(rig, levels if number // 3 % 2 else rig.rest, number)

    monkeypatch.setattr(operator_module, "encode", flash)
    found = next(line for line in soaked(gig, 0.002).lines if line.what.startswith("flashes"))
    assert found.ok is False
    assert ", first at 0:00:0" in found.value


def test_a_fault_in_the_night_is_a_failure(gig: Gig, monkeypatch: pytest.MonkeyPatch) -> None:
    sound = Desk.render

    def render(desk: Desk, now: float, beats: np.ndarray) -> np.ndarray:
        if 20 < now < 20.2:
            raise RuntimeError("planted")
        return sound(desk, now, beats)

    monkeypatch.setattr(Desk, "render", render)
    done = soaked(gig)
    assert verdicts(done)["faults"] is False
    assert not done.passed


def test_fast_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "soak.html"
    status = main(["soak", str(DEMO), "--fast", "--hours", "0.003", "--seed", "9", "--to", str(page)])
    figures = json.loads(page.with_suffix(".json").read_text())
    assert status == (0 if figures["passed"] else 1)
    assert f"lanternist soak {DEMO} --rig rig.toml --hours 0.003 --seed 9 --fast" in page.read_text()
    assert "http" not in page.read_text().replace("http://www.w3.org/2000/svg", "")
    assert "flashes in a second" in capsys.readouterr().out
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--hours", "0"], "--hours goes from"),
        (["--to", "soak.txt"], "has to end in .html"),
        (["--fast", "--real"], "--fast has no outputs"),
    ],
)
def test_what_cannot_be_is_told(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["soak", str(DEMO), *words]) == 2
    assert said in capsys.readouterr().err


def test_in_real_time_until_ctrl_c(tmp_path: Path) -> None:
    page = tmp_path / "soak.html"
    command = [sys.executable, "-m", "lanternist", "soak", str(DEMO), "--hours", "1", "--to", str(page)]
    with (tmp_path / "log").open("wb") as log:
        environment = os.environ | {"TMPDIR": str(tmp_path)}
        process = subprocess.Popen(command, stdout=log, stderr=log, env=environment, start_new_session=True)
        try:
            until(lambda: b"hours" in (tmp_path / "log").read_bytes(), 40.0)
            os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to all that belongs to the command
            assert process.wait(30) in (0, 1), (tmp_path / "log").read_text()
        finally:
            process.kill()
    figures = json.loads(page.with_suffix(".json").read_text())
    found = {one["what"]: one for one in figures["lines"]}
    assert found["ended in good order"]["ok"]
    assert found["faults"]["ok"]
    assert "of 1 that were asked for" in page.read_text()
    assert list(tmp_path.glob("lanternist-soak-*")) == []


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1))
def test_light_is_read_from_slots_as_another_reader_reads_it(seed: int) -> None:
    of, die = stage(), np.random.default_rng(seed)
    sent = Sent(of)
    for number, strobe in enumerate((0.0, 0.0, 2.0)):
        levels = np.append(of.low + die.uniform(size=of.rows) * (of.high - of.low), 1.0)
        levels[of.of_kind("strobe")] = strobe
        sent.send(levels, number * 0.025)
    light = SlotLight(of.rig, PROFILES, of.universes)
    read = np.array([light.luminance(frame) for frame in sent.frames])
    cells = decode(of.rig, PROFILES, sent.slots())
    others = {name: mean_light(cells, members) for name, members in fields(cells).items() if "near" not in name}
    names = [*(cell.fixture.name for cell in cells), *(name.removeprefix("fixture ") for name in others)]
    names[-1] = "the rig"
    wanted = [luminance(one) for one in (*(cell.rgb for cell in cells), *others.values())]
    assert sorted(names) == sorted(light.names)
    for name, one in zip(names[: len(cells)], wanted, strict=False):
        assert any(np.allclose(one, read[:, at]) for at, other in enumerate(light.names) if other == name), name
    for name, one in zip(names[len(cells) :], wanted[len(cells) :], strict=True):
        assert np.allclose(one, read[:, len(light.names) - 1 - light.names[::-1].index(name)]), name
