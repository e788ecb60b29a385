"""`lanternist teach`: turn a head onto points of the room by hand, and learn where it really hangs."""

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from lanternist.cli.arguments import add_gig
from lanternist.cli.keys import Keys, yes
from lanternist.cli.session import LOOKS_EVERY_S, Session, answered, opened

if TYPE_CHECKING:
    from lanternist.core.profile import Profile
    from lanternist.core.rig import Fixture, Rig
    from lanternist.core.teach import Lesson

COARSE_DEG, FINE_DEG = 1.0, 0.05
# A point that is this far off, in degrees, was hardly set on the right mark.
DOUBTFUL_DEG = 3.0
LOOSE_M = 0.5
HELP = """\
With the daemon playing the same rig: the head is lit alone and turned to where each point should be. Turn it onto the
real one with the arrow keys. From one or two points its orientation is corrected; from three or more, well apart, its
place as well, and every other point follows. Everything else is down meanwhile. Beams go above heads, never into eyes.
"""
KEYS = (
    "keys: arrows turn it (shift, or f for all of them: fine), Enter it is on the point, n not this one, q that is all"
)
_ARROWS = {"right": (1, 0), "left": (-1, 0), "up": (0, 1), "down": (0, -1)}


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "teach",
        help="at load-in: turn a head onto real points, so that it knows where it hangs",
        description=HELP,
        epilog="exit status: 0 done, 1 refused or mistakes in the rig, 2 wrong command line, 3 not running",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_gig(parser)
    parser.add_argument("fixture", metavar="FIXTURE", help="a moving head, by its name")
    parser.add_argument("points", nargs="*", metavar="POINT", help="points of the rig; all of them if none is named")
    parser.add_argument(
        "--afresh", action="store_true", help="forget what it was taught before: it hangs elsewhere now"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Teach one head."""
    from lanternist.runtime.gigs import load_rig

    if not sys.stdin.isatty():
        print("teach needs a terminal with keys", file=sys.stderr)
        return 2
    found, problems = load_rig(args.gig, args.rig)
    for problem in problems:
        print(problem, file=sys.stderr)
    if found is None:
        return 1
    rig, profiles = found
    wrong = _wrong(rig, args.fixture, args.points)
    if wrong:
        print(wrong, file=sys.stderr)
        return 1
    fixture = next(one for one in rig.fixtures if one.name == args.fixture)
    known = {} if args.afresh else {name: (own[0], own[1]) for name, own in fixture.taught.items()}
    course = Course(fixture, profiles[fixture.profile], rig, known)
    points = args.points or list(rig.points)
    return answered(lambda: _teach(course, points) or _keep(course, args), ended="nothing is written")


def _wrong(rig: "Rig", name: str, points: Sequence[str]) -> str:
    from lanternist.wire.actions import hint

    names = [one.name for one in rig.fixtures]
    if name not in names:
        return f"no fixture is called {name!r}{hint(name, names)}"
    if not rig.points:
        return "this rig has no points; measure some and write them down: [points] and below it floor = [0.0, 4.0, 0.0]"
    unknown = next((one for one in points if one not in rig.points), None)
    return "" if unknown is None else f"this rig has no point {unknown!r}{hint(unknown, rig.points)}"


@dataclass
class Course:
    """What a head has been taught so far: of each point, pan and tilt on its own scale."""

    written: "Fixture"
    profile: "Profile"
    rig: "Rig"
    taught: dict[str, tuple[float, float]]
    fresh: set[str] = field(default_factory=set)

    def lesson(self) -> "Lesson":
        """What follows from it. Raises ValueError while nothing was taught."""
        from lanternist.core.teach import learn

        return learn(self.written, self.rig.points, self.taught)

    def start(self, point: str) -> tuple[float, float]:
        """Where to begin looking for a point: where it was before, or should be by what is known of the head."""
        from lanternist.core.aim import pan_tilt
        from lanternist.core.teach import level_to_own

        if point in self.taught:
            return self.taught[point]
        fixture = self.lesson().fixture if self.taught else self.written
        pan, tilt = pan_tilt(fixture, self.rig.points[point])
        ways = [(pan + turn, lean) for lean, turns in ((tilt, (0, 360, -360)), (-tilt, (180, -180))) for turn in turns]
        owns = [level_to_own(fixture, way) for way in ways]
        return next((own for own in owns if own == self.within(own)), self.within(owns[0]))

    def within(self, own: tuple[float, float]) -> tuple[float, float]:
        """The same, no farther than the head goes."""
        ends = (self.profile.pan_deg / 2, self.profile.tilt_deg / 2)
        pan, tilt = (min(end, max(-end, value)) for value, end in zip(own, ends, strict=True))
        return pan, tilt


def _teach(course: Course, points: Sequence[str]) -> int:
    with opened() as (session, keys):
        print(KEYS, flush=True)
        for number, point in enumerate(points, 1):
            key = _point(session, keys, course, point, f"{number} of {len(points)}")
            if key == "over":
                return 1
            if key == "enter":
                print(told(course), flush=True)
            if key in ("q", "escape"):
                break
    return 0


def _point(session: Session, keys: Keys, course: Course, point: str, count: str) -> str:
    """Turn the head onto one point; the key that ended it, or "over"."""
    own, fine, said, key = course.within(course.start(point)), False, "", ""
    _turn(session, course, own)
    while key not in ("enter", "n", "q", "escape"):
        words = f"{point} ({count}): pan {own[0]:.2f}, tilt {own[1]:.2f}{' fine' if fine else ''}"
        status, over = session.look()
        if over:
            print(f"\nload-in is over: {over}")
            return "over"
        own_lines = (line for line in status["guard"] if course.written.name in line)
        words += "".join(f"; the guard holds it: {line.partition(':')[0]}" for line in own_lines)
        words += "; BLACKOUT is on" if status["blackout"] else ""
        if words != said:
            print(f"\r\x1b[K{words}", end="", flush=True)
            said = words
        key = keys.next(LOOKS_EVERY_S)
        fine ^= key == "f"
        way = _ARROWS.get(key.removeprefix("shift "))
        if way is not None:
            step = FINE_DEG if fine or key.startswith("shift ") else COARSE_DEG
            own = course.within((own[0] + way[0] * step, own[1] + way[1] * step))
            _turn(session, course, own)
    print()
    if key == "enter":
        course.taught[point] = (round(own[0], 3), round(own[1], 3))
        course.fresh.add(point)
    return key


def _turn(session: Session, course: Course, own: tuple[float, float]) -> None:
    session.ask({"load-in": "turn", "what": course.written.name, "values": list(own)})


def told(course: Course) -> str:
    """What was learnt so far, for a person."""
    from lanternist.core.teach import FOR_A_PLACE

    lesson, count = course.lesson(), len(course.taught)
    fixture = lesson.fixture
    lines = [f"  learnt from {count} point{'s' if count > 1 else ''}: turned by {lesson.turned_deg:.1f} degrees"]
    if count < FOR_A_PLACE:
        lines[0] += f"; its place is taken as written, {FOR_A_PLACE} points or more would correct that too"
    elif fixture.at is not None:
        x, y, z = fixture.at
        lines[0] += f", hangs at {x:.2f}, {y:.2f}, {z:.2f} ({lesson.moved_m:.2f} m from what was written)"
        if lesson.spread_m > LOOSE_M:
            lines.append("  these points lie too close together to tell its place well; teach one far from them")
    errors = ", ".join(f"{name} {error:.2f}" for name, error in lesson.errors_deg.items())
    lines.append(f"  left over, in degrees: {errors}")
    worst = max(lesson.errors_deg, key=lambda name: lesson.errors_deg[name])
    if lesson.errors_deg[worst] > DOUBTFUL_DEG:
        lines.append(f"  {worst} does not fit the others: is it measured right, and was the beam on it?")
    return "\n".join(lines)


def _keep(course: Course, args: argparse.Namespace) -> int:
    """Ask, and write it down; or say what to write."""
    from lanternist.files.edits import EditError
    from lanternist.files.taught import keys_of, write

    if not course.fresh:
        print("nothing was taught; nothing is written")
        return 0
    keys = keys_of(course.written, course.lesson().fixture, course.taught)
    if not yes(f"write this into {args.rig}? [y/n] "):
        print("nothing is written; it would be:")
        print(_lines(keys))
        return 0
    try:
        write(args.gig, args.rig, course.written.name, keys)
    except (EditError, OSError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        print(f"{args.gig / args.rig}: cannot be written: {reason}. Write into it, at {course.written.name!r}:")
        print(_lines(keys))
        return 1
    print(f"written into {args.rig}; a lanternist that plays this gig takes it on in a moment")
    return 0


def _lines(keys: Mapping[str, str]) -> str:
    return "\n".join(f"    {key} = {value}" for key, value in keys.items())
