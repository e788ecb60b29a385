"""A profile asked for question by question, as a fixture's manual answers them: the text of a file that is right."""

import re
from collections.abc import Callable
from dataclasses import dataclass

from lanternist.core.colour.css_colours import CSS_COLOURS
from lanternist.core.parameters import FIXED_SLOTS, PARAMETERS
from lanternist.core.profile import KINDS, UNITS, Slot
from lanternist.core.slot_meaning import BYTES, own_parameter, whole
from lanternist.files.check_profile import BY_ITSELF, SLOT_WORDS
from lanternist.files.documents import parse
from lanternist.files.problems import Problem, did_you_mean, shown
from lanternist.files.profiles import profile_in

Ask = Callable[[str], str]
Say = Callable[[str], None]

MOST_SLOTS = 512
DARK = ("off", "dark", "blackout", "shut")
_KEYS = {unit: key for key, unit in UNITS.items()}
_RANGE = re.compile(r"(.*?)\s*(-?\d+(?:\.\d+)?)\s+(-?\d+(?:\.\d+)?)")
_NOT_IN_NAMES = re.compile(r"[^a-z0-9]+")
SLOT_HELP = """\
  A slot is a word: intensity, red, green, blue, white, amber, uv, shutter, pan, pan-fine, tilt, tilt-fine, zoom, gobo,
  colour-wheel, prism, strobe, fog, ...; program, macro, speed, control or sound for what scenes leave alone; none for
  nothing. ?? lists all."""
RANGE_HELP = """\
    what the values from there on do: a word (open, closed, the name of a colour or gobo, nothing), or a word and the
    values at both ends: strobe 1 20 (Hz), gobo-rotation -30 30 (turns a minute), 10 50 (for zoom: degrees)."""


@dataclass(frozen=True, slots=True)
class Written:
    """The text of a new profile, and what its file should be called."""

    name: str
    text: str


class Interview:
    """The questions. ask: gives the answer to a question; say: tells the person something."""

    def __init__(self, ask: Ask, say: Say) -> None:
        self._ask, self._say = ask, say
        self._shared: dict[str, str] = {}
        self._names: list[str] = []
        self._helped = False

    def run(self) -> Written:
        """Ask until the profile is right. EOFError and KeyboardInterrupt of `ask` go through."""
        title = self._text("What is it? (no make; such as LED par, RGBW): ")
        self._say("Kinds: " + ", ".join(KINDS))
        kind = self._one_of("Kind [wash]: ", KINDS, "wash")
        head = f"title = {_quoted(title)}\nkind = {_quoted(kind)}\n"
        head += self._figure("Beam angle in degrees [leave out]: ", "beam_deg", 180)
        head += self._figure("Power in watts, at most [leave out]: ", "power_w", 50000)
        travel, slots, modes = "", "", ""
        self._say(SLOT_HELP)
        while True:
            before = dict(self._shared)
            mode = self._mode()
            if not travel and "pan" in mode.words:
                travel = self._figure("Whole travel of pan in degrees [540]: ", "pan_deg", 1080)
                travel += self._figure("Whole travel of tilt in degrees [270]: ", "tilt_deg", 360)
            slots = "".join(f"\n[slots.{word}]\n{text}\n" for word, text in self._shared.items())
            mistakes = _mistakes(head + travel + slots + modes + mode.text)
            if mistakes:
                self._say("This mode cannot be right:")
                for one in mistakes:
                    self._say(f"  {one.message}; {one.remedy}")
                self._shared = before
                continue
            self._names.append(mode.name)
            modes += mode.text
            if not self._yes("Has it another mode? [no]: "):
                name = _NOT_IN_NAMES.sub("-", title.lower()).strip("-") or "fixture"
                return Written(name, f"# Figures: from the manual.\n{head}{travel}{slots}{modes}")

    def _text(self, question: str) -> str:
        while True:
            answer = self._ask(question).strip()
            if 0 < len(answer) <= 80 and answer.isprintable():
                return answer
            self._say("  a few words are wanted, 80 letters at most")

    def _one_of(self, question: str, known: tuple[str, ...], usual: str) -> str:
        while True:
            answer = self._ask(question).strip().lower() or usual
            if answer in known:
                return answer
            self._say(f"  {shown(answer)} is none of them; {did_you_mean(answer, known)}")

    def _figure(self, question: str, key: str, most: float) -> str:
        while True:
            answer = self._ask(question).strip()
            if not answer:
                return ""
            number = _number(answer)
            if number is not None and 0 < number <= most:
                return f"{key} = {number:g}\n"
            self._say(f"  a number above 0 and up to {most:g} is wanted, with a decimal point if it has decimals")

    def _yes(self, question: str, usual: str = "no") -> bool:
        return self._one_of(question, ("yes", "y", "no", "n"), usual).startswith("y")

    def _mode(self) -> "_Mode":
        count = self._count("How many slots has the mode? ", 1, MOST_SLOTS)
        slots, words = "", []
        for number in range(1, count + 1):
            word = self._word(f"Slot {number} of {count}: ")
            words.append(word)
            slots += f"    {self._slot(word)},\n"
        same = sum(name.split("-")[0] == str(count) for name in self._names)
        name = f"{count}-{same + 1}" if same else str(count)
        return _Mode(name, f"\n[modes.{name}]\nslots = [\n{slots}]\n", tuple(words))

    def _count(self, question: str, low: int, high: int, usual: int | None = None) -> int:
        while True:
            answer = self._ask(question).strip()
            if not answer and usual is not None:
                return usual
            if answer.isdecimal() and len(answer) < 6 and low <= int(answer) <= high:
                return int(answer)
            self._say(f"  a whole number from {low} to {high} is wanted")

    def _word(self, question: str) -> str:
        while True:
            answer = self._ask(question).strip().lower().replace(" ", "-")
            if answer in SLOT_WORDS:
                return answer
            if answer == "??":
                self._say("  " + ", ".join(one for one in SLOT_WORDS if not one.endswith(BYTES[1:])))
            elif answer in ("", "?"):
                self._say(SLOT_HELP)
            else:
                self._say(f"  no slot does {shown(answer)}; {did_you_mean(answer, SLOT_WORDS) or '?? lists all'}")

    def _slot(self, word: str) -> str:
        slot = Slot(does=word)
        if word.endswith(BYTES[1:]) or word in FIXED_SLOTS or (whole(slot) and PARAMETERS[word].usual is None):
            return _quoted(word)
        if word in self._shared and self._yes(f"  {word}: as it was before? [yes]: ", "yes"):
            return _quoted(word)
        text = f"ranges = [\n{self._ranges(slot)}]"
        if self._shared.setdefault(word, text) == text:
            return _quoted(word)
        return f"{{ is = {_quoted(word)}, {text} }}"

    def _ranges(self, slot: Slot) -> str:
        if not self._helped:
            self._say(RANGE_HELP)
            self._helped = True
        ranges, first = "", 0
        while first <= 255:
            last = self._count(f"  {slot.does}: from {first} up to [255]: ", first, 255, 255)
            ranges += f"    {{ to = {last}, {self._range(slot, f'  {slot.does}: {first} to {last} does: ')} }},\n"
            first = last + 1
        return ranges

    def _range(self, slot: Slot, question: str) -> str:
        while True:
            answer = self._ask(question).strip()
            text = _range_text(slot, answer)
            if text is not None:
                return text
            self._say(RANGE_HELP)


@dataclass(frozen=True, slots=True)
class _Mode:
    name: str
    text: str
    words: tuple[str, ...]


def _range_text(slot: Slot, answer: str) -> str | None:
    """What a range does, as keys of the file; None for an answer that means nothing."""
    match = _RANGE.fullmatch(answer)
    if match is None:
        if not answer or len(answer) > 40 or not answer.isprintable():
            return None
        if own_parameter(slot) is not None and BY_ITSELF.search(answer):
            return f"does = {_quoted(answer)}, scenes = false"
        if answer.lower() in DARK:
            return 'does = "closed"'
        colour = f", colour = {_quoted(answer)}" if slot.does.startswith("colour") and answer in CSS_COLOURS else ""
        return f"does = {_quoted(answer)}{colour}"
    name = match[1].lower().replace(" ", "-") or own_parameter(slot) or ""
    key = _KEYS.get(PARAMETERS[name].unit) if name in PARAMETERS else None
    if key is None:
        return None
    return f"does = {_quoted(name)}, {key} = [{float(match[2]):g}, {float(match[3]):g}]"


def _mistakes(text: str) -> list[Problem]:
    document = parse(text.encode(), "this")
    problems = [document] if isinstance(document, Problem) else profile_in(document)[1]
    return [one for one in problems if one.severity == "mistake"]


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _quoted(text: str) -> str:
    """Printable text as a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
