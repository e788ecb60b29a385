"""Loading a gig with the settings of the outputs and inputs that are installed here, and what plays it."""

from collections.abc import Mapping
from pathlib import Path

from lanternist.core.cues import with_colours
from lanternist.core.operator import Operator
from lanternist.core.profile import Profile
from lanternist.core.rig import Rig
from lanternist.core.rig_table import compile_rig
from lanternist.core.show_table import compile_show
from lanternist.files.check_rig import Ways
from lanternist.files.gig import Gig, load_gig
from lanternist.files.gig import load_rig as load_rig_of
from lanternist.files.problems import Problem
from lanternist.inputs.registry import INPUTS
from lanternist.outputs.registry import OUTPUTS


def make_operator(gig: Gig) -> Operator:
    """The operator of a gig, before its night has begun."""
    table = compile_rig(gig.rig, gig.profiles)
    return Operator(table, compile_show(with_colours(gig.show, gig.songs), table), gig.songs)


def load(folder: Path, rig: str = "rig.toml") -> tuple[Gig | None, list[Problem]]:
    """The gig, and everything that is wrong with it; no gig if there is a mistake among that."""
    return load_gig(
        folder,
        rig,
        output_settings=OUTPUTS.settings_model,
        input_settings=INPUTS.settings_model,
        output_names=OUTPUTS.names(),
        input_names=INPUTS.names(),
    )


def load_rig(folder: Path, rig: str = "rig.toml") -> tuple[tuple[Rig, Mapping[str, Profile]] | None, list[Problem]]:
    """The rig alone with its profiles, and everything that is wrong with them; no rig if there is a mistake."""
    ways = Ways(OUTPUTS.settings_model, OUTPUTS.names()), Ways(INPUTS.settings_model, INPUTS.names())
    return load_rig_of(folder, rig, *ways)
