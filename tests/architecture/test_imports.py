"""The shape of the package: who may import whom, how pure the core is, how long things may grow.

Each rule is shown to catch a violation planted in a skeleton of the package.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import lanternist

PACKAGE = Path(lanternist.__file__).parent

# What each part may see of the package beside itself. What is not listed here may not exist.
SEES: dict[str, set[str]] = {
    "core": set(),
    "wire": {"core"},
    "plugins": set(),
    "outputs": {"core", "wire", "plugins"},
    "inputs": {"core", "wire", "plugins"},
    "files": {"core"},
    "songs": {"core"},
    "report": {"core"},
    "install": set(),
    "runtime": {"core", "wire", "outputs", "inputs", "files"},
    "cli": {"core", "wire", "outputs", "inputs", "files", "songs", "report", "runtime", "install", "demo"},
    "demo": set(),
    "testing": {"core", "wire", "outputs", "inputs", "files", "songs", "report", "runtime", "install", "cli", "demo"},
    "__main__": {"cli"},
    "__init__": set(),
}

# Modules without a clock, a thread, a file or a die. The core and wire import nothing else from outside.
PURE = {
    "abc", "bisect", "collections", "contextlib", "copy", "dataclasses", "difflib", "enum", "fractions", "functools",
    "heapq", "itertools", "math", "operator", "re", "statistics", "string", "textwrap", "types", "typing",
}  # fmt: skip
OUTSIDE = {
    "core": PURE | {"numpy", "pydantic"},
    "wire": PURE | {"binascii", "json", "mido", "pythonosc", "struct"},
}
IMPURE_CALLS = {"open", "print", "input", "eval", "exec", "__import__", "breakpoint"}

# Who may know the time of day, which jumps: what is written down for people or for after a restart. All else counts
# monotonic seconds.
TIME_OF_DAY = re.compile(
    r"\btime\.time(_ns)?\b|\bfrom time import .*\btime(_ns)?\b|\b(datetime|date)\.(now|utcnow|today)\b"
    r"|\b(localtime|gmtime|ctime|strftime)\b|CLOCK_REALTIME|SO_TIMESTAMP"
)
KNOWS_TIME_OF_DAY = {"runtime/recorder.py", "runtime/state.py", "cli/sheet.py"}

MODULE_LINES = 500
FUNCTION_LINES = 60


def modules(package: Path) -> list[Path]:
    return sorted(path for path in package.rglob("*.py") if "__pycache__" not in path.parts)


def part_of(path: Path, package: Path) -> str:
    """The part of the package that a module belongs to: its folder at the top, or its own name."""
    inside = path.relative_to(package)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imported(path: Path, package: Path) -> Iterator[str]:
    """The full name of everything a module imports, wherever it does so; relative imports are worked out."""
    home = [package.name, *path.relative_to(package).parts[:-1]]
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = home[: len(home) - node.level + 1] if node.level else []
            module = [*base, *(node.module.split(".") if node.module else [])]
            yield from (".".join([*module, alias.name]) for alias in node.names)


def import_problems(package: Path) -> list[str]:
    """Every import that goes the wrong way, as "part/module: what it imports"."""
    problems = []
    for path in modules(package):
        part, where = part_of(path, package), path.relative_to(package)
        if part not in SEES:
            problems.append(f"{where}: {part} is no part of the design")
        wrong = [name for name in imported(path, package) if not _allowed(name.split("."), part, package.name)]
        problems.extend(f"{where}: {name}" for name in wrong)
    return problems


def _allowed(name: list[str], part: str, package: str) -> bool:
    if name[0] != package:
        return part not in OUTSIDE or name[0] in OUTSIDE[part]
    wanted = name[1] if len(name) > 1 else "__init__"
    return wanted == part or wanted in SEES.get(part, set()) or wanted == "__version__"


def impure_uses(package: Path) -> list[str]:
    """What core and wire do that reaches outside without an import: built-in input and output, numpy's die."""
    problems = []
    for path in modules(package):
        if part_of(path, package) not in OUTSIDE:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            match node:
                case ast.Call(func=ast.Name(id=name)) if name in IMPURE_CALLS:
                    problems.append(f"{path.relative_to(package)}: {name}()")
                case ast.Attribute(value=ast.Name(id="np" | "numpy"), attr="random" | "datetime64" as name):
                    problems.append(f"{path.relative_to(package)}: numpy.{name}")
                case _:
                    pass
    return problems


def size_problems(package: Path) -> list[str]:
    """Modules without a docstring, and what has grown too long."""
    problems = []
    for path in modules(package):
        text, name = path.read_text(), path.relative_to(package)
        tree = ast.parse(text)
        if not ast.get_docstring(tree):
            problems.append(f"{name}: no docstring")
        if (lines := len(text.splitlines())) > MODULE_LINES:
            problems.append(f"{name}: {lines} lines")
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                length = (node.end_lineno or node.lineno) - node.lineno + 1
                if length > FUNCTION_LINES:
                    problems.append(f"{name}: {node.name} has {length} lines")
    return problems


def test_imports_go_one_way() -> None:
    assert import_problems(PACKAGE) == []


def test_core_and_wire_reach_for_nothing_outside() -> None:
    assert impure_uses(PACKAGE) == []


def timed_by_the_day(package: Path) -> set[str]:
    """The modules that ask for the time of day."""
    found = [path for path in modules(package) if TIME_OF_DAY.search(path.read_text())]
    return {path.relative_to(package).as_posix() for path in found}


def test_nothing_that_plays_goes_by_the_time_of_day() -> None:
    assert timed_by_the_day(PACKAGE) == KNOWS_TIME_OF_DAY


def test_every_module_says_its_place_and_none_grows_too_long() -> None:
    assert size_problems(PACKAGE) == []


def test_there_is_something_to_look_at() -> None:
    parts = {part_of(path, PACKAGE) for path in modules(PACKAGE)}
    assert {"core", "wire", "outputs", "inputs", "runtime", "files"} <= parts


def planted(tmp_path: Path, module: str, text: str) -> Path:
    """A skeleton of the package in which one module is `text`."""
    package = tmp_path / "lanternist"
    for part in SEES:
        if not part.startswith("__"):
            (package / part).mkdir(parents=True)
            (package / part / "__init__.py").write_text('"""A part."""\n')
    (package / "__init__.py").write_text('"""The package."""\n')
    target = package / module
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(text)
    return package


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("core/a.py", "import time"),
        ("core/a.py", "import os.path"),
        ("core/a.py", "from random import Random"),
        ("core/deep/a.py", "import numpy as np, socket"),
        ("core/a.py", "def late():\n    import threading"),
        ("core/a.py", "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from pathlib import Path"),
        ("core/a.py", "import logging"),
        ("core/a.py", "import asyncio, sys, io, subprocess"),
        ("core/a.py", "import importlib"),
        ("core/a.py", "import lanternist.outputs.null"),
        ("core/a.py", "from lanternist import wire"),
        ("core/a.py", "from ..wire import artnet"),
        ("core/deep/a.py", "from ...wire import artnet"),
        ("core/a.py", "from .. import runtime"),
        ("wire/a.py", "import time"),
        ("wire/a.py", "from lanternist.outputs import null"),
        ("outputs/a.py", "from lanternist.inputs.midi import Midi"),
        ("outputs/a.py", "from ..runtime import loop"),
        ("inputs/a.py", "from lanternist.outputs import null"),
        ("files/a.py", "from lanternist.wire import osc"),
        ("songs/a.py", "from lanternist.files import load"),
        ("report/a.py", "from lanternist.runtime import loop"),
        ("runtime/a.py", "from lanternist.songs import analyse"),
        ("runtime/a.py", "from lanternist.cli import main"),
        ("runtime/a.py", "from lanternist.testing import clock"),
        ("cli/a.py", "import lanternist.testing"),
        ("__main__.py", "from lanternist.testing import clock"),
        ("elsewhere/a.py", "from lanternist.core import desk"),
        ("elsewhere/a.py", "import json"),
        ("core/a.py", "from lanternist.elsewhere import thing"),
    ],
)
def test_an_import_the_wrong_way_is_caught(tmp_path: Path, module: str, text: str) -> None:
    problems = import_problems(planted(tmp_path, module, text))
    assert problems
    assert all(problem.startswith(f"{module}: ") for problem in problems)


@pytest.mark.parametrize(
    ("module", "text"),
    [
        ("core/a.py", "import math\nfrom collections.abc import Sequence\nimport numpy as np\nfrom . import b"),
        ("core/deep/a.py", "from ..a import x\nfrom lanternist.core.a import x"),
        ("wire/a.py", "import struct\nfrom lanternist.core.events import Touch"),
        ("outputs/a.py", "import socket\nfrom ..wire.artnet import packet"),
        ("runtime/a.py", "import threading\nfrom lanternist.outputs import registry\nfrom lanternist.core import desk"),
        (
            "cli/a.py",
            "from lanternist import __version__\nfrom lanternist.runtime import loop\nimport lanternist.report",
        ),
        ("testing/a.py", "from lanternist.runtime import loop\nfrom lanternist.cli import main"),
        ("__main__.py", "import sys\nfrom lanternist.cli import main"),
    ],
)
def test_an_import_the_right_way_is_let_pass(tmp_path: Path, module: str, text: str) -> None:
    assert import_problems(planted(tmp_path, module, text)) == []


@pytest.mark.parametrize(
    "text",
    [
        "import time\nx = time.time()",
        "from time import monotonic, time",
        "from datetime import datetime\nx = datetime.now()",
        "import time\nx = time.clock_gettime(time.CLOCK_REALTIME)",
    ],
)
def test_asking_for_the_time_of_day_is_caught(tmp_path: Path, text: str) -> None:
    assert timed_by_the_day(planted(tmp_path, "runtime/a.py", text)) == {"runtime/a.py"}


@pytest.mark.parametrize(
    "text", ["print(1)", "x = open('f')", "import numpy as np\nrng = np.random.default_rng()", "exec('x')"]
)
def test_reaching_outside_without_an_import_is_caught(tmp_path: Path, text: str) -> None:
    assert len(impure_uses(planted(tmp_path, "core/a.py", text))) == 1
    assert impure_uses(planted(tmp_path / "other", "cli/a.py", text)) == []


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("x = 1\n", "core/a.py: no docstring"),
        ('"""A."""\n' + "x = 1\n" * 500, "core/a.py: 501 lines"),
        ('"""A."""\ndef f():\n' + "    x = 1\n" * 60, "core/a.py: f has 61 lines"),
        ('"""A."""\nclass C:\n    async def f(self):\n' + "        x = 1\n" * 60, "core/a.py: f has 61 lines"),
    ],
)
def test_what_has_no_docstring_or_is_too_long_is_caught(tmp_path: Path, text: str, problem: str) -> None:
    assert size_problems(planted(tmp_path, "core/a.py", text)) == [problem]


def test_what_is_just_short_enough_is_let_pass(tmp_path: Path) -> None:
    text = '"""A."""\ndef f():\n' + "    x = 1\n" * 59 + "x = 1\n" * 439
    assert size_problems(planted(tmp_path, "core/a.py", text)) == []
