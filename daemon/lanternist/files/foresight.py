"""What the guard will hold back of a show on this rig, as warnings beside the scenes that ask for it."""

from lanternist.core.guard.forecast import forecast
from lanternist.core.rig_table import compile_rig
from lanternist.core.show_table import compile_show
from lanternist.files.documents import Document, read
from lanternist.files.gig import SHOW, Gig
from lanternist.files.problems import Problem

REMEDY = "ask for less, or change the rig's limits if this place allows it"


def foresee(gig: Gig) -> list[Problem]:
    """A warning for each thing that a scene or chase, played alone at the rig's free tempo, asks for beyond a limit."""
    table = compile_rig(gig.rig, gig.profiles)
    cautions = forecast(compile_show(gig.show, table), table, gig.rig.clock.free_bpm)
    show = read(gig.folder / SHOW, SHOW)
    return [_warning(show, gig, caution.playable, caution.text) for caution in cautions]


def _warning(show: Document | Problem, gig: Gig, playable: str, text: str) -> Problem:
    number = [one.name for one in gig.show.playables].index(playable)
    scenes = len(gig.show.scenes)
    path = ("scenes", number) if number < scenes else ("chases", number - scenes)
    if isinstance(show, Problem):
        return Problem(SHOW, text, remedy=REMEDY, severity="warning")
    return show.problem(path, text, REMEDY, "warning")
