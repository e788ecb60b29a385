"""Which outputs there are: our own, and plug-ins of every kind of brokenness, installed as real packages would be."""

import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.nodes import node

from lanternist.outputs import registry
from lanternist.outputs.artnet import ArtNetOutput, ArtNetSettings
from lanternist.outputs.contract import OutputError
from lanternist.outputs.null import NullOutput, NullSettings
from lanternist.outputs.sacn import SacnOutput, SacnSettings
from lanternist.testing.outputs import check_output

GOOD = """
    from lanternist.outputs.contract import OutputSettings
    from lanternist.outputs.null import NullOutput, NullSettings

    class LaserSettings(OutputSettings):
        colour: str

    class Laser(NullOutput):
        def __init__(self, settings, universes):
            super().__init__(NullSettings(), universes)
            self.colour = settings.colour

    SETTINGS = LaserSettings
    OUTPUT = Laser
"""

Install = Callable[[str, str], str]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Install:
    """Installs a package whose module has this source and adds this output; gives the name of the module."""
    monkeypatch.syspath_prepend(tmp_path)

    def put(output: str, source: str) -> str:
        module = f"plug_in_{tmp_path.name}_{output}".replace("-", "_")
        (tmp_path / f"{module}.py").write_text(textwrap.dedent(source))
        info = tmp_path / f"{module}-1.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {module}\nVersion: 1.0\n")
        (info / "entry_points.txt").write_text(f"[{registry.OUTPUTS.group}]\n{output} = {module}\n")
        return module

    return put


@pytest.mark.parametrize(
    ("name", "settings", "model", "kind"),
    [
        ("null", {}, NullSettings, NullOutput),
        ("artnet", {"to": "127.0.0.1"}, ArtNetSettings, ArtNetOutput),
        ("sacn", {"priority": 120}, SacnSettings, SacnOutput),
    ],
)
def test_our_own(name: str, settings: dict[str, object], model: type, kind: type) -> None:
    assert name in registry.OUTPUTS.names()
    assert registry.OUTPUTS.settings_model(name) is model
    assert type(registry.make(name, settings, [1])) is kind


def test_no_such_output() -> None:
    assert registry.OUTPUTS.settings_model("smoke") is None
    with pytest.raises(
        OutputError, match=r'no output "smoke": it can be null, artnet, sacn, serial-break, serial-buffered'
    ):
        registry.make("smoke", {}, [1])


def test_wrong_settings_are_told_in_words() -> None:
    with pytest.raises(OutputError, match=r"output artnet: to: Field required; port: .*less than or equal to 65535"):
        registry.make("artnet", {"port": 70_000}, [1])


def test_only_what_is_chosen_is_imported() -> None:
    """In a fresh interpreter: what a test run has imported says nothing."""
    code = """
        import sys
        from lanternist.outputs import registry
        registry.OUTPUTS.names(); registry.OUTPUTS.settings_model("null")
        ours = {name for name in sys.modules if name.startswith("lanternist.outputs.")}
        print(*sorted(ours))
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.split() == [f"lanternist.outputs.{name}" for name in ("contract", "null", "registry")]


def test_a_plug_in_is_an_output_like_any_other(install: Install) -> None:
    module = install("laser", GOOD)
    assert registry.OUTPUTS.names() == ["null", "artnet", "sacn", "serial-break", "serial-buffered", "laser"]
    assert module not in sys.modules
    model = registry.OUTPUTS.settings_model("laser")
    assert model is not None
    assert set(model.model_fields) == {"colour"}
    output = registry.make("laser", {"colour": "green"}, [1])
    assert vars(output)["colour"] == "green"
    check_output(lambda: registry.make("laser", {"colour": "green"}, [1]))
    with pytest.raises(OutputError, match="output laser: colour: Field required"):
        registry.make("laser", {}, [1])


def test_a_plug_in_cannot_take_the_place_of_our_own(install: Install) -> None:
    module = install("null", "raise RuntimeError")
    assert registry.OUTPUTS.names() == ["null", "artnet", "sacn", "serial-break", "serial-buffered"]
    assert registry.OUTPUTS.settings_model("null") is NullSettings
    assert module not in sys.modules


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ("import no_such_driver", "ModuleNotFoundError: No module named 'no_such_driver'"),
        ("1 / 0", "ZeroDivisionError"),
        ("raise SystemExit('no licence')", "SystemExit: no licence"),
        ("def broken(:", "SyntaxError"),
    ],
)
def test_a_plug_in_that_does_not_load(install: Install, source: str, says: str) -> None:
    module = install("laser", source)
    assert "laser" in registry.OUTPUTS.names()
    for call in (lambda: registry.OUTPUTS.settings_model("laser"), lambda: registry.make("laser", {}, [1])):
        with pytest.raises(OutputError, match=says) as raised:
            call()
        assert f'output "laser" of the package {module} does not load' in str(raised.value)


@pytest.mark.parametrize(
    "source",
    ["", "SETTINGS = 1\nOUTPUT = print", "SETTINGS = dict\nOUTPUT = print", GOOD.replace("OUTPUT =", "OUT =")],
)
def test_a_plug_in_that_is_not_complete(install: Install, source: str) -> None:
    install("laser", source)
    with pytest.raises(OutputError, match="needs SETTINGS, a subclass of OutputSettings, and OUTPUT"):
        registry.OUTPUTS.settings_model("laser")


def test_a_plug_in_that_cannot_be_made(install: Install) -> None:
    install("laser", GOOD.replace("self.colour = settings.colour", "1 / 0"))
    with pytest.raises(OutputError, match='output "laser" could not be made: ZeroDivisionError'):
        registry.make("laser", {"colour": "green"}, [1])


def test_what_a_plug_in_says_itself_is_passed_on(install: Install) -> None:
    source = GOOD.replace("self.colour = settings.colour", "raise OutputError('only green')")
    install("laser", source.replace("import OutputSettings", "import OutputError, OutputSettings"))
    with pytest.raises(OutputError, match=r"^only green$"):
        registry.make("laser", {"colour": "red"}, [1])


def test_the_example_for_people_who_add_an_output_works(install: Install) -> None:
    developers = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    source = developers.partition("```python\n")[2].partition("```")[0]
    install("raw", source)
    with node() as receiver:
        settings = {"to": "127.0.0.1", "port": receiver.port}
        check_output(lambda: registry.make("raw", settings, [1, 2]), [1, 2])
        receiver.waiting()
        output = registry.make("raw", settings, [1, 2])
        output.open()
        output.send({1: b"\1", 2: b"\2", 3: b"\3"}, 0.0)
        assert receiver.waiting() == [b"\1\2"]
        output.close()
    with pytest.raises(OutputError, match="output raw: to: Field required"):
        registry.make("raw", {}, [1])
