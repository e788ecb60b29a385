"""Which outputs there are.

A package adds an output with an entry point in the group `lanternist.outputs`: its name is what a rig writes after
`by`, its value a module with `SETTINGS` (an OutputSettings class) and `OUTPUT` (called with the settings and the
numbers of the universes; gives an Output, not yet open). `lanternist.testing.outputs.check_output` tries it out.
"""

from collections.abc import Mapping, Sequence

from lanternist.outputs.contract import Output, OutputError, OutputSettings
from lanternist.plugins import Plugins

OUTPUTS = Plugins(
    kind="output",
    modules={
        "null": "lanternist.outputs.null",
        "artnet": "lanternist.outputs.artnet",
        "sacn": "lanternist.outputs.sacn",
        "serial-break": "lanternist.outputs.serial_break",
        "serial-buffered": "lanternist.outputs.serial_buffered",
    },
    settings=OutputSettings,
    failure=OutputError,
    misfit=lambda settings, universes: settings.misfit(universes),
)


def make(name: str, settings: Mapping[str, object], universes: Sequence[int]) -> Output:
    """An output for these universes, not yet open. Raises OutputError: no such output, wrong settings, or broken."""
    output: Output = OUTPUTS.make(name, settings, universes)
    return output
