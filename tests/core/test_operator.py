"""The operator: events in, frames out, whatever goes wrong."""

import numpy as np
import pytest
from tests.rigs import CLUB, compiled, row

from lanternist.core.desk import Desk
from lanternist.core.events import Action, Control, Event, Lost, SongPosition, Tick, Touch, Transport
from lanternist.core.holds import MOST_DEVICES
from lanternist.core.operator import FAULTS_BEFORE_SAFE, Operator

SHOW = """
on_start = "house"
[[scenes]]
name = "house"
priority = 50
parts = [{ on = "pars", intensity = 20 }]
[[scenes]]
name = "full"
fade_in = "1 s"
parts = [{ on = "pars", intensity = 100 }, { on = "fog", fog = 100 }]
[[bindings]]
when = { midi = "note", channel = 10, number = 36 }
hold = "full"
[[bindings]]
when = { midi = "note", channel = 10, number = 37, device = "left" }
toggle = "full"
[[bindings]]
when = { midi = "note", channel = 10, number = 38 }
tap = true
"""
PAD, LEFT_PAD, TAP_PAD = (Control("note", 10, number) for number in (36, 37, 38))
HOUSE = 8  # 20 per cent to the eye: CIE 1976 L* = 20 is Y = 0.0299, of 255
DIMMER = 10  # the first slot of "par 2"


def operator(rig: str = CLUB) -> Operator:
    made = Operator(*compiled(SHOW, rig))
    made.begin(0.0)
    return made


def rig_with(line: str) -> str:
    return line + "\n" + CLUB


def dimmer(of: Operator, now: float) -> int:
    return int(of.frame(now)[0, DIMMER])


def on(of: Operator) -> set[str]:
    """What is on and not on its way out."""
    return {of.show.playables[number].name for number, one in of.desk.playing.items() if one.target > 0}


def test_what_the_show_starts_with_is_on_from_the_first_frame() -> None:
    assert dimmer(operator(), 0.0) == HOUSE


def test_a_touch_is_in_the_frame_after_it() -> None:
    one = operator()
    one.frame(0.0)
    one.take(Touch(PAD, 1.0, 0.01))
    one.frame(0.025)
    assert on(one) == {"house", "full"}
    assert dimmer(one, 1.1) == 255


def test_a_binding_of_one_controller_does_not_answer_to_another() -> None:
    one = operator()
    one.take(Touch(LEFT_PAD, 1.0, 0.0, device="right pads"))
    assert on(one) == {"house"}
    one.take(Touch(LEFT_PAD, 1.0, 0.0, device="left pads"))
    assert on(one) == {"house", "full"}


def test_any_number_of_senders_costs_no_more_memory_and_a_pad_still_lets_go_when_it_is_lost() -> None:
    one = operator()
    one.take(Touch(PAD, 1.0, 0.0, "pads"))
    for number in range(5 * MOST_DEVICES):
        one.take(Touch(Control("osc", path="/fader"), 1.0, 0.1, f"10.0.{number // 256}.{number % 256}"))
        assert len(one.holds.by) <= MOST_DEVICES
    one.take(Lost(0.2, "pads"))
    one.frame(5.0)
    assert on(one) == {"house"}
    for number in range(5 * MOST_DEVICES):
        one.take(Touch(PAD, 1.0, 6.0, f"forged {number}"))
        assert len(one.holds.by) <= MOST_DEVICES


def test_what_a_lost_controller_held_down_is_let_go_and_only_that() -> None:
    one = operator()
    one.take(Touch(PAD, 1.0, 0.0, device="pads"))
    one.take(Lost(0.1, "another"))
    assert on(one) == {"house", "full"}
    one.take(Lost(0.2, "pads"))
    assert on(one) == {"house"}
    assert any("letting go of 'full'" in line for line in one.notices())


def test_what_another_controller_still_holds_stays() -> None:
    one = operator()
    for device in ("left", "right"):
        one.take(Touch(PAD, 1.0, 0.0, device=device))
    one.take(Lost(0.1, "left"))
    assert on(one) == {"house", "full"}
    one.take(Lost(0.2, "right"))
    assert on(one) == {"house"}


def test_what_was_let_go_in_time_is_not_let_go_again() -> None:
    one = operator()
    one.take(Touch(PAD, 1.0, 0.0, device="pads"))
    one.take(Touch(PAD, 0.0, 0.1, device="pads"))
    one.take(Action("start", 0.2, "full"))
    one.take(Lost(0.3, "pads"))
    assert on(one) == {"house", "full"}


def test_fog_ends_when_a_controller_is_lost_until_somebody_touches_something_again() -> None:
    one = operator()
    fog = one.rig.of_kind("fog")
    one.take(Action("start", 0.0, "full"))
    one.take(Touch(TAP_PAD, 1.0, 0.0, device="pads"))
    for frame in range(60):
        one.frame(frame * 0.025)
    assert one.levels[fog].all()
    one.take(Lost(1.5, "never touched"))
    one.frame(1.525)
    assert one.levels[fog].all()
    one.take(Lost(1.6, "pads"))
    one.frame(1.625)
    assert not one.levels[fog].any()
    one.take(Touch(TAP_PAD, 0.0, 1.7, device="other pads"))
    for frame in range(80, 84):
        one.frame(frame * 0.025)
    assert one.levels[fog].all()


@pytest.mark.parametrize(
    ("action", "said"),
    [
        (Action("start", 0.0, "fall"), "no scene or chase is called 'fall'"),
        (Action("explode", 0.0), "there is no action 'explode'"),
        (Action("master", 0.0, value=1.5), "1.5 is not within 0 to 1"),
        (Action("master", 0.0, value=float("nan")), "nan is not within 0 to 1"),
    ],
)
def test_what_cannot_be_done_is_refused_counted_and_said(action: Action, said: str) -> None:
    one = operator()
    one.take(action)
    assert one.refused == 1
    assert any(said in line for line in one.notices())
    assert one.notices() == []


def test_a_fault_in_taking_an_event_does_not_end_the_night(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("no such luck")

    one = operator()
    with monkeypatch.context() as broken:
        broken.setattr(Desk, "act", fail)
        one.take(Touch(PAD, 1.0, 0.0))
    assert (one.faults, one.refused) == (1, 1)
    assert any("could not be taken in: ZeroDivisionError: no such luck" in line for line in one.notices())
    one.take(Touch(PAD, 1.0, 0.1))
    assert on(one) == {"house", "full"}


def test_a_flood_of_what_cannot_be_done_is_said_once_in_ten_seconds() -> None:
    one = operator()
    for number in range(1100):
        one.take(Action("start", number / 100, "fall"))
    said = one.notices()
    wrong = "start: no scene or chase is called 'fall'"
    assert said == [wrong, f"{wrong} (and 999 more were refused)"]
    assert one.refused == 1100


def test_the_clock_hears_ticks_taps_and_positions() -> None:
    one = operator()
    one.take(Transport(0.0, "start"))
    for tick in range(24 * 8):
        one.take(Tick(tick * 0.02))
    assert one.clock.reading(4.0).bpm == pytest.approx(125, abs=0.1)
    one.take(SongPosition(4.0, 128.0, running=True))
    assert one.clock.beat_at(4.0) == pytest.approx(128.0, abs=0.1)


def break_rendering(monkeypatch: pytest.MonkeyPatch, *, times: int) -> None:
    """Make the desk fail so often, then work again."""
    render, left = Desk.render, [times]

    def fails(desk: Desk, now: float, beats: np.ndarray[tuple[int], np.dtype[np.float64]]) -> object:
        left[0] -= 1
        if left[0] >= 0:
            raise ZeroDivisionError("no such luck")
        return render(desk, now, beats)

    monkeypatch.setattr(Desk, "render", fails)


def test_a_fault_holds_the_last_good_frame_and_is_said_once(monkeypatch: pytest.MonkeyPatch) -> None:
    one = operator()
    before = one.frame(0.0)
    break_rendering(monkeypatch, times=3)
    one.take(Action("start", 0.0, "full"))
    for frame in range(1, 4):
        assert np.array_equal(one.frame(frame * 0.025), before)
    assert one.faults == 3
    assert sum("the last one is held: ZeroDivisionError: no such luck" in line for line in one.notices()) == 1
    assert dimmer(one, 1.1) == 255


def test_a_fault_that_lasts_ends_in_the_safe_scene_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    one = operator(rig_with('safe_scene = "house"'))
    one.take(Action("start", 0.0, "full"))
    break_rendering(monkeypatch, times=FAULTS_BEFORE_SAFE)
    for frame in range(FAULTS_BEFORE_SAFE):
        one.frame(frame * 0.025)
    assert on(one) == {"house"}
    assert dimmer(one, 5.0) == HOUSE


def test_the_safe_scene_does_not_end_a_blackout(monkeypatch: pytest.MonkeyPatch) -> None:
    one = operator(rig_with('safe_scene = "house"'))
    one.take(Action("blackout", 0.0))
    break_rendering(monkeypatch, times=FAULTS_BEFORE_SAFE)
    for frame in range(FAULTS_BEFORE_SAFE):
        one.frame(frame * 0.025)
    assert on(one) == {"house"}
    assert dimmer(one, 5.0) == 0


def test_without_a_safe_scene_the_light_comes_back_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    one = operator()
    one.frame(0.0)
    break_rendering(monkeypatch, times=3 * FAULTS_BEFORE_SAFE)
    for frame in range(1, 3 * FAULTS_BEFORE_SAFE + 1):
        assert dimmer(one, frame * 0.025) == HOUSE
    assert on(one) == {"house"}
    assert dimmer(one, 5.0) == HOUSE


@pytest.mark.parametrize(("on_stop", "level"), [("blackout", 0), ("hold", 255), ("house", HOUSE)])
def test_leaving_gives_the_state_that_the_rig_asks_for_and_no_fog(on_stop: str, level: int) -> None:
    one = operator(rig_with(f'on_stop = "{on_stop}"'))
    one.take(Action("start", 0.0, "full"))
    fog = one.rig.of_kind("fog")
    for frame in range(80):
        one.frame(frame * 0.025)
    assert one.levels[fog].all()
    one.leave(2.0)
    assert dimmer(one, 2.025) == level
    assert not one.levels[fog].any()


def test_a_scene_to_leave_behind_is_seen_after_a_cue_has_made_it_dark() -> None:
    one = operator(rig_with('on_stop = "house"'))
    one.frame(0.0)
    one.cues.dark = True
    assert dimmer(one, 1.0) == 0
    one.leave(2.0)
    assert dimmer(one, 2.025) == HOUSE


def test_the_same_events_give_the_same_frames() -> None:
    events: list[Event] = [
        Transport(0.0, "start"),
        *(Tick(0.1 + tick * 0.0208) for tick in range(60)),
        Touch(PAD, 1.0, 0.3, "pads"),
        Action("master", 0.6, value=0.5),
        Touch(TAP_PAD, 1.0, 0.7, "pads"),
        Lost(0.9, "pads"),
    ]

    def night() -> list[bytes]:
        one, left, frames = operator(), sorted(events, key=lambda event: event.at), []
        for frame in range(60):
            now = frame * 0.025
            while left and left[0].at <= now:
                one.take(left.pop(0))
            frames.append(one.frame(now).tobytes())
        return frames

    assert night() == night()


def test_a_beat_is_rendered_for_the_middle_of_the_time_that_its_frame_is_seen() -> None:
    show = """
[[scenes]]
name = "flip"
parts = [{ on = "pars", intensity = { wave = "square", every = "2 beats" } }]
"""
    one = Operator(*compiled(show, CLUB))
    one.take(Action("start", 0.0, "flip"))
    beat = 0.5  # seconds at the free tempo of 120 bpm
    wanted = [
        (beat - 0.0125 - 0.001, 0.0, True),
        (beat - 0.0125 + 0.001, 0.0, False),
        (beat - 0.0125 - 0.001, 0.002, False),
    ]
    for now, takes, high in wanted:
        one.frame(now, takes)
        assert bool(one.levels[row(one.rig, "par 2", "intensity")]) is high
