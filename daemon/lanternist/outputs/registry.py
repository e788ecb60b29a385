"""Which outputs there are: a table of our own, and those that other packages add. Imported only when chosen.

A package adds an output with an entry point in the group `lanternist.outputs`: its name is what a rig writes after
`by`, its value a module with `SETTINGS` (an OutputSettings class) and `OUTPUT` (called with the settings and the
numbers of the universes; gives an Output, not yet open). `lanternist.testing.outputs.check_output` tries it out.
"""

import importlib
from collections.abc import Mapping, Sequence
from importlib.metadata import EntryPoint, entry_points
from types import ModuleType

from pydantic import ValidationError

from lanternist.outputs.contract import Output, OutputError, OutputSettings

GROUP = "lanternist.outputs"

_MODULES = {
    "null": "lanternist.outputs.null",
    "artnet": "lanternist.outputs.artnet",
    "sacn": "lanternist.outputs.sacn",
    # the two serial kinds take their place here
}


def names() -> list[str]:
    """The names of all outputs: our own first, then those of other packages in alphabetical order."""
    return [*_MODULES, *sorted({entry.name for entry in entry_points(group=GROUP)} - _MODULES.keys())]


def settings_model(name: str) -> type[OutputSettings] | None:
    """The settings of an output, to check a rig against. None: no such output. Raises OutputError if it is broken."""
    module = _load(name)
    return None if module is None else _settings_of(name, module)


def make(name: str, settings: Mapping[str, object], universes: Sequence[int]) -> Output:
    """An output for these universes, not yet open. Raises OutputError: no such output, wrong settings, or broken."""
    module = _load(name)
    if module is None:
        raise OutputError(f'there is no output "{name}": it can be {", ".join(names())}')
    try:
        checked = _settings_of(name, module).model_validate(dict(settings))
        output: Output = module.OUTPUT(checked, universes)
    except OutputError:
        raise
    except ValidationError as error:
        raise OutputError(f"settings of output {name}: {_problems(error)}") from error
    except Exception as error:
        raise OutputError(f'output "{name}" could not be made: {_said(error)}') from error
    return output


def _load(name: str) -> ModuleType | None:
    if name in _MODULES:
        return importlib.import_module(_MODULES[name])
    entry = next(iter(entry_points(group=GROUP, name=name)), None)
    return None if entry is None else _load_plug_in(entry)


def _load_plug_in(entry: EntryPoint) -> ModuleType:
    try:
        return importlib.import_module(entry.value)
    except (Exception, SystemExit) as error:
        package = entry.dist.name if entry.dist else entry.value
        text = f'output "{entry.name}" of the package {package} does not load: {_said(error)}'
        raise OutputError(f"{text}; repair or remove that package") from error


def _settings_of(name: str, module: ModuleType) -> type[OutputSettings]:
    model = getattr(module, "SETTINGS", None)
    if not (
        isinstance(model, type) and issubclass(model, OutputSettings) and callable(getattr(module, "OUTPUT", None))
    ):
        text = f'output "{name}" is not complete: {module.__name__} needs SETTINGS, an OutputSettings class, and OUTPUT'
        raise OutputError(text)
    return model


def _problems(error: ValidationError) -> str:
    problems = ((".".join(map(str, problem["loc"])), problem["msg"]) for problem in error.errors())
    return "; ".join(f"{where}: {what}" if where else what for where, what in problems)


def _said(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
