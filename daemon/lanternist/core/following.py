"""Following: what follow orders, carried out at the desk."""

from dataclasses import dataclass, field

from lanternist.core.candidates import Hand
from lanternist.core.desk import Desk
from lanternist.core.follow import Follow, Music
from lanternist.core.units import Duration


@dataclass(slots=True)
class Following:
    """going: what is about to be let go, and when. flashes: in a second, as many as the rig allows."""

    flashes: int
    going: dict[int, float] = field(default_factory=dict)
    _numbers_by_hand: frozenset[int] = frozenset()
    _by_hand: frozenset[Hand] = frozenset()

    def play(self, follow: Follow, desk: Desk, music: Music, now: float, beat: float, bpm: float) -> None:
        """Let follow change what it plays, for the frame at `now`. beat, bpm: of the clock."""
        if not (follow.on or follow.choice or self.going):
            return
        orders = follow.step(music, self.hands(desk))
        fade = Duration(0.0) if orders.at_once else None
        up = now
        for number in orders.start:
            desk.start(number, now, beat, bpm, "follow", fade=fade)
            up = max(up, now + desk.playing[number].fade)
        # What goes waits until what comes is up: fading both at once would be a dip in between.
        self.going |= dict.fromkeys(orders.stop, up)
        for number in [number for number, at in self.going.items() if at <= now]:
            del self.going[number]
            playing = desk.playing.get(number)
            if playing is not None and playing.by == "follow" and number not in follow.choice.values():
                desk.stop(number, now, bpm)
        speeds = {number: follow.speed_of(number, bpm, self.flashes) for number in follow.choice.values()}
        desk.drive(follow.lift, speeds)

    def hands(self, desk: Desk) -> frozenset[Hand]:
        """What hands have started, as follow sees it."""
        numbers = desk.by_hand()
        if numbers != self._numbers_by_hand:
            self._numbers_by_hand = numbers
            looks = {number: desk.show.playables[number] for number in numbers}
            self._by_hand = frozenset(
                Hand(number, one.priority, frozenset(one.look.rows.tolist())) for number, one in looks.items()
            )
        return self._by_hand
