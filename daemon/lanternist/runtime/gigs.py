"""Loading a gig with the settings of the outputs and inputs that are installed here."""

from pathlib import Path

from lanternist.files.gig import Gig, load_gig
from lanternist.files.problems import Problem
from lanternist.inputs.registry import INPUTS
from lanternist.outputs.registry import OUTPUTS


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
