"""Plug-ins by name: a literal table of our own modules, and one entry-point group for those of other packages.

A module is imported only when chosen, so that what is not used cannot be missing. It has `SETTINGS`, a model of the
keys that a rig may give it, and a factory that is called with them.
"""

import importlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from types import ModuleType
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

S = TypeVar("S", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Plugins(Generic[S]):
    """One family of plug-ins. kind: "output" or "input", whose capitals name the factory. failure: what it raises.

    misfit: what is wrong with checked settings together with what else the factory is called with, or nothing.
    """

    kind: str
    modules: Mapping[str, str]
    settings: type[S]
    failure: type[Exception]
    misfit: Callable[..., str] = lambda *_: ""

    @property
    def group(self) -> str:
        """The entry-point group by which other packages add theirs."""
        return f"lanternist.{self.kind}s"

    def names(self) -> list[str]:
        """All names: our own first, then those of other packages in alphabetical order."""
        return [*self.modules, *sorted({entry.name for entry in entry_points(group=self.group)} - self.modules.keys())]

    def settings_model(self, name: str) -> type[S] | None:
        """The settings of one, to check a rig against. None: there is no such one. Raises `failure` if it is broken."""
        module = self._load(name)
        return None if module is None else self._settings_of(name, module)

    def make(self, name: str, settings: Mapping[str, object], *more: object) -> Any:
        """What the factory makes of settings and `more`. Raises `failure`: no such one, wrong settings, or broken."""
        module = self._load(name)
        if module is None:
            raise self.failure(f'there is no {self.kind} "{name}": it can be {", ".join(self.names())}')
        try:
            checked = self._settings_of(name, module).model_validate(dict(settings))
            self._fit(name, checked, more)
            return getattr(module, self.kind.upper())(checked, *more)
        except self.failure:
            raise
        except ValidationError as error:
            raise self.failure(f"settings of {self.kind} {name}: {_problems(error)}") from error
        except Exception as error:
            raise self.failure(f'{self.kind} "{name}" could not be made: {_said(error)}') from error

    def _fit(self, name: str, checked: S, more: tuple[object, ...]) -> None:
        if problem := self.misfit(checked, *more):
            raise self.failure(f"settings of {self.kind} {name}: {problem}")

    def _load(self, name: str) -> ModuleType | None:
        if name in self.modules:
            return importlib.import_module(self.modules[name])
        entry = next(iter(entry_points(group=self.group, name=name)), None)
        return None if entry is None else self._load_foreign(entry)

    def _load_foreign(self, entry: EntryPoint) -> ModuleType:
        try:
            return importlib.import_module(entry.value)
        except (Exception, SystemExit) as error:
            package = entry.dist.name if entry.dist else entry.value
            text = f'{self.kind} "{entry.name}" of the package {package} does not load: {_said(error)}'
            raise self.failure(f"{text}; repair or remove that package") from error

    def _settings_of(self, name: str, module: ModuleType) -> type[S]:
        model, factory = getattr(module, "SETTINGS", None), self.kind.upper()
        if isinstance(model, type) and issubclass(model, self.settings) and callable(getattr(module, factory, None)):
            return model
        wanted = f"SETTINGS, a subclass of {self.settings.__name__}, and {factory}"
        raise self.failure(f'{self.kind} "{name}" is not complete: {module.__name__} needs {wanted}')


def _problems(error: ValidationError) -> str:
    problems = ((".".join(map(str, problem["loc"])), problem["msg"]) for problem in error.errors())
    return "; ".join(f"{where}: {what}" if where else what for where, what in problems)


def _said(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
