"""Which inputs a rig can name: a table of our own, and those that other packages add. Imported only when chosen.

A package adds an input with an entry point in the group `lanternist.inputs`: its name is what a rig writes after `by`,
its value a module with `SETTINGS` (an InputSettings class) and `INPUT` (called with the settings; gives an Input, not
yet running). The control socket is no input of a rig: the runtime makes it, as it needs to know the state.
"""

import importlib
from collections.abc import Mapping
from importlib.metadata import EntryPoint, entry_points
from types import ModuleType

from pydantic import ValidationError

from lanternist.inputs.contract import Input, InputError, InputSettings

GROUP = "lanternist.inputs"

_MODULES = {
    "midi": "lanternist.inputs.midi",
    "midi-raw": "lanternist.inputs.midi_raw",
    "midi-tcp": "lanternist.inputs.midi_tcp",
    "osc": "lanternist.inputs.osc",
}


def names() -> list[str]:
    """The names of all inputs: our own first, then those of other packages in alphabetical order."""
    return [*_MODULES, *sorted({entry.name for entry in entry_points(group=GROUP)} - _MODULES.keys())]


def settings_model(name: str) -> type[InputSettings] | None:
    """The settings of an input, to check a rig against. None: no such input. Raises InputError if it is broken."""
    module = _load(name)
    return None if module is None else _settings_of(name, module)


def make(name: str, settings: Mapping[str, object]) -> Input:
    """An input, not yet running. Raises InputError: no such input, wrong settings, or broken."""
    module = _load(name)
    if module is None:
        raise InputError(f'there is no input "{name}": it can be {", ".join(names())}')
    try:
        checked = _settings_of(name, module).model_validate(dict(settings))
        made: Input = module.INPUT(checked)
    except InputError:
        raise
    except ValidationError as error:
        raise InputError(f"settings of input {name}: {_problems(error)}") from error
    except Exception as error:
        raise InputError(f'input "{name}" could not be made: {_said(error)}') from error
    return made


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
        text = f'input "{entry.name}" of the package {package} does not load: {_said(error)}'
        raise InputError(f"{text}; repair or remove that package") from error


def _settings_of(name: str, module: ModuleType) -> type[InputSettings]:
    model = getattr(module, "SETTINGS", None)
    if not (isinstance(model, type) and issubclass(model, InputSettings) and callable(getattr(module, "INPUT", None))):
        text = f'input "{name}" is not complete: {module.__name__} needs SETTINGS, an InputSettings class, and INPUT'
        raise InputError(text)
    return model


def _problems(error: ValidationError) -> str:
    problems = ((".".join(map(str, problem["loc"])), problem["msg"]) for problem in error.errors())
    return "; ".join(f"{where}: {what}" if where else what for where, what in problems)


def _said(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
