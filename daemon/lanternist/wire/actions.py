"""A request in words to a checked Action, pure: what OSC and the control socket share."""

from collections.abc import Iterable
from difflib import get_close_matches

from lanternist.core.actions import ACTIONS
from lanternist.core.events import Action

# Comparing words costs more than their length: a long one is cut, no name is that long.
_LONGEST_WORD = 80


def hint(word: str, options: Iterable[str]) -> str:
    """`; did you mean 'slow ember'?`, or nothing when no option is like `word`."""
    by_folded = {option.casefold(): option for option in options}
    near = get_close_matches(word[:_LONGEST_WORD].casefold(), by_folded, n=1)
    return f"; did you mean '{by_folded[near[0]]}'?" if near else ""


def checked_action(do: str, what: str, value: float | None, at: float) -> Action:
    """The Action, if the table of actions allows it. Raises ValueError with a text for people.

    value: None where none was given; that is 1 for actions whose range ends at 1, and an error for the others.
    """
    spec = ACTIONS.get(do)
    if spec is None:
        raise ValueError(f"no action is called '{do[:_LONGEST_WORD]}'{hint(do, ACTIONS)}")
    if spec.names and not what:
        raise ValueError(f"'{do}' needs the name of a {spec.names}")
    if what and not spec.names:
        raise ValueError(f"'{do}' takes no name")
    takes = f"'{do}' takes a number from {spec.low:g} to {spec.high:g}" + (f" ({spec.unit})" if spec.unit else "")
    if value is None and spec.high != 1.0:
        raise ValueError(f"{takes}; none was given")
    number = 1.0 if value is None else value
    if not spec.low <= number <= spec.high:
        raise ValueError(f"{takes}, not {number:g}")
    return Action(do, at, what, number)
