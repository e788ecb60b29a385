"""Everything that one model alone cannot see: whether rig, show and profiles fit together."""

from lanternist.files.check_bindings import check_bindings
from lanternist.files.check_patch import check_patch
from lanternist.files.check_rig import Ways, check_rig
from lanternist.files.check_show import check_show
from lanternist.files.problems import Problem
from lanternist.files.view import View


def check(view: View, outputs: Ways, inputs: Ways) -> list[Problem]:
    """Every problem of a gig between its parts, as far as they can be read."""
    return [
        *check_patch(view),
        *check_rig(view, outputs, inputs),
        *check_show(view),
        *check_bindings(view),
    ]
