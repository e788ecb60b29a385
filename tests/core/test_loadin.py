"""Load-in: what it shows, what it refuses, how it ends, and that the guard stays above it."""

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests.guarded import FRAME_S, STAGE, Night
from tests.independent.fixture_decoder import hear, shutter
from tests.rigs import CLUB, PROFILES, compiled, one_fixture, profile, row, table

from lanternist.core.encode import encode
from lanternist.core.events import Action, Control, Event, LoadInRequest, Lost, Touch
from lanternist.core.loadin import ENDS_AFTER_S, PUFF_S
from lanternist.core.loadin_requests import HUNT_S
from lanternist.core.operator import Operator
from lanternist.core.profile import Profile
from lanternist.core.raw_slots import raw_slot

SHOW = """
on_start = "house"
[[scenes]]
name = "house"
parts = [{ on = "all", intensity = 20 }]
[[bindings]]
when = { midi = "note", number = 1 }
walk = "next"
[[bindings]]
when = { midi = "note", number = 2 }
walk = "previous"
[[bindings]]
when = { midi = "note", number = 3 }
hold = "house"
[[bindings]]
when = { midi = "note", number = 4 }
tap = true
"""
NEXT, PREVIOUS, PLAYS, TAP = (Control("note", 1, number) for number in (1, 2, 3, 4))
# A head with a lamp and a program of its own, as a discharge fixture has.
LAMP_HEAD = profile("""
title = "Head with a lamp"
kind = "spot"
modes.6.slots = ["intensity", "pan", "tilt",
    { is = "shutter", ranges = [{ to = 9, does = "closed" }, { to = 99, does = "open" },
        { to = 199, does = "strobe", hz = [1.0, 10.0] }, { to = 255, does = "reset", hold_s = 3 }] },
    { is = "control", default = 5, ranges = [{ to = 99, does = "nothing" },
        { to = 255, does = "lamp off", hold_s = 5 }] },
    "speed"]
""")
WITH_LAMP = {**PROFILES, "lamp head": LAMP_HEAD}


class Booth:
    """An operator, its frames, and somebody at a terminal."""

    def __init__(self, rig: str = CLUB, profiles: Mapping[str, Profile] = PROFILES, settle: int = 320) -> None:
        self.of = Operator(*compiled(SHOW, rig, profiles))
        self.now = 0.0
        self.of.begin(self.now)
        self.frame(settle)  # until the guard knows where the heads are

    def ask(self, do: str, *what: str, values: tuple[float, ...] = (), who: int = 1) -> str:
        """Ask over the socket, and make two seconds of frames; why it was refused."""
        request = LoadInRequest(do, self.now, what, values, who)
        wrong = self.of.loadin.wrong(request)
        if not wrong:
            self.of.take(request)
        self.frame(80)
        return wrong

    def take(self, event: Event, frames: int = 80) -> None:
        self.of.take(event)
        self.frame(frames)

    def frame(self, count: int) -> None:
        for _ in range(count):
            self.slots = self.of.frame(self.now)
            self.now += FRAME_S

    def lit(self) -> set[str]:
        """The fixtures that give light, by their levels."""
        table = self.of.rig
        on = np.flatnonzero(self.of.levels[: table.intensities])
        return {table.cells[table.cell[one]].name for one in on}

    def level(self, name: str, parameter: str) -> float:
        return float(self.of.levels[row(self.of.rig, name, parameter)])

    def notices(self) -> str:
        return " / ".join(self.of.notices())


def test_one_fixture_is_up_at_its_highlight_and_all_others_down() -> None:
    booth = Booth()
    assert len(booth.lit()) == 7
    assert booth.ask("light", "par 2") == ""
    assert booth.lit() == {"par 2"}
    assert booth.slots[0, 10:18].tolist() == [255, 255, 255, 255, 255, 3, 0, 10]


def test_the_show_goes_on_underneath_and_comes_back() -> None:
    booth = Booth()
    booth.ask("light", "par 2")
    assert booth.ask("end") == ""
    assert len(booth.lit()) == 7
    assert "load-in is over (its terminal has left)" in booth.notices()


def test_a_group_or_any_selector() -> None:
    booth = Booth()
    booth.ask("only", "heads", "pars: odd")
    assert booth.lit() == {"head 1", "head 2", "par 1", "par 3"}
    booth.ask("only", "bar: 2 of 4")
    lit = [booth.of.levels[row(booth.of.rig, "bar", "intensity", cell)] for cell in range(4)]
    assert lit == [0, 1, 0, 0]
    assert "did you mean 'par 1'" in booth.ask("light", "par1")
    assert booth.ask("only", "hedas") == "nothing in this rig is called 'hedas'; did you mean 'heads'?"
    assert "nothing in this rig is 'laser'" not in booth.ask("only", "blinder")
    assert "nothing in this rig is 'blinder'" in booth.ask("only", "blinder")
    assert booth.ask("dance") == "load-in knows nothing called 'dance'"


def test_walk_goes_round_in_patch_order_from_terminal_pad_and_osc_and_leaves_out_fog() -> None:
    booth = Booth()
    seen: list[str] = []
    for _ in range(4):
        booth.ask("walk", values=(1.0,))
        seen += booth.lit()
    assert seen == ["par 1", "par 2", "par 3", "bar"]
    booth.take(Touch(NEXT, 1.0, booth.now))
    booth.take(Touch(NEXT, 0.0, booth.now))
    assert booth.lit() == {"head 1"}
    booth.take(Action("walk", booth.now))
    booth.take(Action("walk", booth.now))
    booth.take(Action("walk", booth.now))
    assert booth.lit() == {"par 1"}
    booth.take(Touch(PREVIOUS, 1.0, booth.now))
    assert booth.lit() == {"head 2"}
    assert booth.of.loadin.describe(booth.now)["number"] == 7


def test_a_pad_cannot_begin_it() -> None:
    booth = Booth()
    booth.take(Touch(NEXT, 1.0, booth.now))
    assert len(booth.lit()) == 7
    assert "walk: load-in is not on" in booth.notices()


def test_it_ends_when_a_hand_starts_something_but_not_by_a_tap_or_a_lost_pad() -> None:
    booth = Booth()
    booth.ask("light", "par 2")
    for event in (Touch(TAP, 1.0, 0.0), Touch(PLAYS, 0.0, 0.0), Action("master", 0.0, value=0.5), Lost(0.0, "pads")):
        booth.take(event)
        assert booth.lit() == {"par 2"}
    booth.take(Touch(PLAYS, 1.0, booth.now))
    assert len(booth.lit()) == 7
    assert booth.of.loadin.describe(booth.now)["ended"] == "a hand asked for hold"


def test_it_ends_by_itself_and_only_its_own_terminal_ends_it() -> None:
    booth = Booth()
    booth.ask("light", "par 2")
    booth.ask("end", who=2)
    assert booth.lit() == {"par 2"}
    booth.now += ENDS_AFTER_S - 10
    booth.ask("walk", values=(1.0,))
    booth.now += ENDS_AFTER_S - 10
    booth.frame(80)
    assert booth.lit() == {"par 3"}
    booth.now += 20
    booth.frame(80)
    assert len(booth.lit()) == 7


def test_blackout_wins_and_the_master_does_not_matter() -> None:
    booth = Booth()
    booth.ask("light", "par 2")
    booth.take(Action("blackout", booth.now), frames=1)
    assert booth.lit() == set()
    assert booth.slots[0, 10] == 0
    booth.take(Action("blackout", booth.now, value=0.0))
    booth.take(Action("master", booth.now, value=0.0))
    assert booth.lit() == {"par 2"}


def test_heads_stay_where_they_were_and_turn_when_asked() -> None:
    booth = Booth()
    booth.take(Action("start", 0.0, "house"))
    before = booth.level("head 1", "pan")
    booth.ask("light", "head 1")
    assert booth.level("head 1", "pan") == before
    booth.ask("turn", "head 1", values=(20.0, 30.0))
    booth.frame(200)
    assert (booth.level("head 1", "pan"), booth.level("head 1", "tilt")) == (20.0, 30.0)
    assert booth.lit() == {"head 1"}
    assert "'par 1' has no pan and tilt" in booth.ask("turn", "par 1", values=(20.0, 30.0))


def test_fog_is_a_puff() -> None:
    booth = Booth()
    booth.ask("light", "fogger")
    assert booth.level("fogger", "fog") == 1.0
    booth.frame(round(PUFF_S / FRAME_S))
    assert booth.level("fogger", "fog") == 0.0


def slot(booth: Booth, address: str, value: float, *, unpatched: bool = False) -> str:
    return booth.ask("slot", address, values=(value, float(unpatched)))


def test_a_slot_by_its_number_goes_through_levels() -> None:
    booth = Booth()
    assert slot(booth, "1.11", 200) == ""
    assert booth.slots[0, 10] == 200
    assert booth.lit() == {"par 2"}
    assert slot(booth, "1.12", 100) == ""
    assert booth.slots[0, 10:13].tolist() == [200, 100, 255]
    # Without a dimmer slot the slot alone gives light: the other emitters are off.
    assert slot(booth, "2.2", 90) == ""
    assert booth.slots[1, :3].tolist() == [0, 90, 0]
    assert slot(booth, "2.3", 60) == ""
    assert booth.slots[1, :3].tolist() == [0, 90, 60]
    assert booth.of.loadin.describe(booth.now)["slot"] == "slot 2.3 at 60"


@pytest.mark.parametrize("universe", [1, 2])
def test_every_slot_that_is_not_refused_is_encoded_as_asked(universe: int) -> None:
    of, taken = table(), 0
    for address in range(1, 513):
        for value in (0, 1, 7, 8, 100, 128, 254, 255):
            try:
                slot = raw_slot(of, f"{universe}.{address}", value)
            except ValueError:
                continue
            levels = of.rest.copy()
            levels[: of.intensities] = 0.0
            for row_, level in slot.levels:
                levels[row_] = level
            if slot.levels:
                sent = encode(of, levels)[universe - 1, address - 1]
                # An open shutter is sent as the middle of its range.
                assert sent == value or (sent == 3 and value <= 7), (address, value)
                taken += 1
    assert taken > 50


@pytest.mark.parametrize(
    ("address", "value", "why"),
    [
        ("37", 5, "right is universe.address, such as 1.37"),
        ("1.513", 5, "right is universe.address"),
        ("3.1", 5, "this rig has no universe 3; it has 1"),
        ("1.1", 256, "a whole number from 0 to 255, not 256"),
        ("1.1", 2.5, "a whole number from 0 to 255, not 2.5"),
        ("1.4", 220, "1.4 (shutter of it): 220 is 'reset', which is not to be reached by number"),
        ("1.4", 5, "'closed'"),
        ("1.5", 200, "1.5 (control of it) stays at 5: what it would start is beyond the guard"),
        ("1.7", 255, "no fixture is patched to 1.7, so nobody knows what it does there"),
    ],
)
def test_slots_that_could_hurt_are_refused(address: str, value: float, why: str) -> None:
    booth = Booth(one_fixture("lamp head", "6"), WITH_LAMP)
    assert why in slot(booth, address, value)
    assert slot(booth, "1.6", 77) == ""


def test_the_strobe_of_a_fixture_by_its_slot_is_held_to_the_limit() -> None:
    booth = Booth(one_fixture("lamp head", "6"), WITH_LAMP)
    slot(booth, "1.1", 255)
    slot(booth, "1.4", 199)
    booth.frame(80)
    slot_of_shutter = list(LAMP_HEAD.modes["6"].layout())[3][1]
    does, hz = shutter(slot_of_shutter, int(booth.slots[0, 3]))
    assert does == "open" or hz <= 3.0


def test_a_slot_that_nothing_is_patched_to_is_sent_for_a_moment_and_not_often() -> None:
    booth = Booth()
    booth.of.take(LoadInRequest("slot", booth.now, ("1.300",), (255.0, 1.0), 1))
    booth.frame(1)
    assert booth.slots[0, 299] == 255
    booth.of.take(LoadInRequest("slot", booth.now, ("1.301",), (255.0, 1.0), 1))
    booth.frame(1)
    assert booth.slots[0, 299:301].tolist() == [255, 0]
    assert "not faster" in booth.notices()
    booth.of.take(LoadInRequest("slot", booth.now, ("1.301",), (255.0, 1.0), 2))
    booth.frame(1)
    assert booth.slots[0, 299:301].tolist() == [0, 0]
    booth.frame(40)
    booth.of.take(LoadInRequest("slot", booth.now, ("1.300",), (255.0, 1.0), 1))
    booth.frame(1)
    booth.of.desk.blackout = True
    booth.frame(1)
    assert booth.slots[0, 299] == 0
    booth.of.desk.blackout = False
    booth.frame(1)
    assert booth.slots[0, 299] == 0
    booth.frame(round(HUNT_S / FRAME_S))
    booth.of.take(LoadInRequest("slot", booth.now, ("1.301",), (255.0, 1.0), 1))
    booth.frame(1)
    booth.of.take(LoadInRequest("end", booth.now, who=1))
    booth.frame(1)
    assert booth.slots[0, 300] == 0


def test_a_pad_that_walks_where_nothing_gives_light_is_told() -> None:
    booth = Booth(one_fixture("fogger", "2"))
    assert booth.ask("light", "it") == ""
    booth.take(Action("walk", booth.now, value=1.0), 2)
    assert "no fixture of this rig gives light" in booth.notices()


REQUESTS = st.one_of(
    st.tuples(
        st.just("light"), st.sampled_from(["par 1", "bar 2", "strobe", "tube", "lamp"]).map(lambda n: (n,)), st.just(())
    ),
    st.tuples(st.just("only"), st.sampled_from([("all",), ("pars",), ("bars", "strobe")]), st.just(())),
    st.tuples(st.just("walk"), st.just(()), st.sampled_from([(1.0,), (-1.0,)])),
    st.tuples(
        st.just("slot"),
        st.integers(1, 110).map(lambda at: (f"1.{at}",)),
        st.tuples(st.integers(0, 255).map(float), st.just(0.0)),
    ),
    st.tuples(st.just("end"), st.just(()), st.just(())),
)
LAMP = '[[fixtures]]\nname = "lamp"\nprofile = "lamp head"\nmode = "6"\naddress = 101\n'


@settings(max_examples=40)
@given(st.lists(st.tuples(REQUESTS, st.integers(1, 25)), min_size=1, max_size=40))
@example(asked=[(("light", (name,), ()), 2) for name in ("par 1", "par 2") * 12])
def test_whatever_is_asked_the_guard_stays_on(
    asked: list[tuple[tuple[str, tuple[str, ...], tuple[float, ...]], int]],
) -> None:
    booth = Booth(STAGE + LAMP, WITH_LAMP, settle=1)
    night = Night(booth.of.rig, WITH_LAMP)
    for (do, what, values), frames in asked:
        booth.of.take(LoadInRequest(do, booth.now, what, values, 1))
        for _ in range(frames):
            booth.frame(1)
            night.send(booth.of.levels, booth.now)
            assert np.array_equal(night.frames[-1], booth.slots)
            _no_lamp(booth)
    assert booth.of.faults == 0
    assert night.excesses() == []


def _no_lamp(booth: Booth) -> None:
    at = booth.of.rig.patched[-1]
    assert at.fixture.name == "lamp"
    told = hear(at.fixture, at.profile, {1: booth.slots[0].tobytes()})
    does = {one.slot.does: shutter(one.slot, one.raw)[0] for one in told if one.slot.ranges}
    assert does["control"] == "nothing"
    assert does["shutter"] in ("open", "strobe")


def test_a_lamp_goes_off_and_a_head_is_reset_only_on_purpose_dark_and_for_as_long_as_it_takes() -> None:
    booth = Booth(one_fixture("lamp head", "6"), WITH_LAMP)
    assert booth.ask("service", "it") == "'it' can be asked for: reset, lamp off"
    assert booth.ask("service", "it", "explode") == "'it' can be asked for: reset, lamp off"
    assert booth.ask("service", "it", "lamp off") == ""
    assert booth.slots[0, 4] == 177
    assert booth.slots[0, 0] == 0
    assert booth.ask("service", "it", "reset") == ""
    assert "still under way" in booth.notices()
    assert booth.slots[0, 3] < 200
    booth.frame(round(4 / FRAME_S))
    assert booth.slots[0, 4] == 5
    assert booth.ask("service", "it", "reset") == ""
    assert booth.slots[0, 3] == 227
    booth.ask("end")
    assert booth.slots[0, 3] < 200
    booth.take(Action("start", booth.now, "house"), frames=800)
    # Where it looks for its ends nobody knows: it stays dark, and comes back.
    assert booth.lit() == set()
    booth.frame(round(100 / FRAME_S))
    assert booth.lit() == {"it"}


def test_what_a_profile_does_not_name_cannot_be_asked_for() -> None:
    assert "names nothing that has to be held" in Booth().ask("service", "par 2", "reset")
