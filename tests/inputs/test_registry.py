"""The table of inputs, and inputs of other packages."""

import subprocess
import sys
import types
from importlib.metadata import EntryPoint, EntryPoints

import pytest

from lanternist import plugins
from lanternist.inputs import osc, registry
from lanternist.inputs.contract import InputError, InputSettings


def test_every_name_makes_an_input() -> None:
    assert registry.INPUTS.names() == ["midi", "midi-raw", "midi-tcp", "osc"]
    for name in registry.INPUTS.names():
        settings = {"device": "/dev/null"} if name == "midi-raw" else {}
        made = registry.make(name, settings)
        assert made.describe()["events"] == 0
        made.stop()
        model = registry.INPUTS.settings_model(name)
        assert model is not None
        assert issubclass(model, InputSettings)


def test_errors_are_for_people() -> None:
    assert registry.INPUTS.settings_model("oscar") is None
    with pytest.raises(InputError, match='no input "oscar": it can be midi, midi-raw, midi-tcp, osc'):
        registry.make("oscar", {})
    with pytest.raises(InputError, match="settings of input osc: port: Input should be less than or equal to 65535"):
        registry.make("osc", {"port": 70000})
    with pytest.raises(InputError, match="settings of input midi: prot: Extra inputs are not permitted"):
        registry.make("midi", {"prot": "pad"})
    with pytest.raises(InputError, match="settings of input midi-raw: device: Field required"):
        registry.make("midi-raw", {})


def test_a_module_is_imported_only_when_chosen() -> None:
    code = """if True:
        import sys
        from lanternist.inputs import registry
        registry.INPUTS.names()
        ours = {"rtmidi", "mido", "pythonosc", "lanternist.inputs.midi", "lanternist.inputs.osc"}
        def loaded():
            return sorted(ours & set(sys.modules))
        assert loaded() == [], loaded()
        registry.INPUTS.settings_model("midi")
        assert loaded() == ["lanternist.inputs.midi"], loaded()
    """
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


@pytest.fixture
def added(monkeypatch: pytest.MonkeyPatch) -> types.ModuleType:
    """A module that another package registered under the name "pedal"; another one, "broken", does not import."""
    module = types.ModuleType("pedal_plug_in")
    monkeypatch.setitem(sys.modules, "pedal_plug_in", module)
    entries = EntryPoints([
        EntryPoint("pedal", "pedal_plug_in", registry.INPUTS.group),
        EntryPoint("broken", "there_is_no_such_module", registry.INPUTS.group),
        EntryPoint("osc", "pedal_plug_in", registry.INPUTS.group),
    ])  # fmt: skip
    monkeypatch.setattr(plugins, "entry_points", lambda **wanted: entries.select(**wanted))
    return module


def test_a_package_can_add_an_input_but_not_replace_ours(added: types.ModuleType) -> None:
    added.SETTINGS, added.INPUT = osc.Settings, osc.OscInput  # type: ignore[attr-defined]
    assert registry.INPUTS.names() == ["midi", "midi-raw", "midi-tcp", "osc", "broken", "pedal"]
    assert isinstance(registry.make("pedal", {"port": 0}), osc.OscInput)
    assert registry.INPUTS.settings_model("osc") is osc.Settings


def test_a_broken_package_says_which(added: types.ModuleType) -> None:
    with pytest.raises(InputError, match=r'input "broken" of the package .* does not load: ModuleNotFoundError'):
        registry.make("broken", {})
    with pytest.raises(InputError, match="pedal_plug_in needs SETTINGS, a subclass of InputSettings, and INPUT"):
        registry.make("pedal", {})
