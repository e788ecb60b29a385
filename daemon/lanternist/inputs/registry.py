"""Which inputs a rig can name.

A package adds an input with an entry point in the group `lanternist.inputs`: its name is what a rig writes after `by`,
its value a module with `SETTINGS` (an InputSettings class) and `INPUT` (called with the settings; gives an Input, not
yet running). The control socket is no input of a rig: the runtime makes it, as it needs to know the state.
"""

from collections.abc import Mapping

from lanternist.inputs.contract import Input, InputError, InputSettings
from lanternist.plugins import Plugins

INPUTS = Plugins(
    kind="input",
    modules={
        "midi": "lanternist.inputs.midi",
        "midi-raw": "lanternist.inputs.midi_raw",
        "midi-tcp": "lanternist.inputs.midi_tcp",
        "osc": "lanternist.inputs.osc",
    },
    settings=InputSettings,
    failure=InputError,
)


def make(name: str, settings: Mapping[str, object]) -> Input:
    """An input, not yet running. Raises InputError: no such input, wrong settings, or broken."""
    made: Input = INPUTS.make(name, settings)
    return made
