"""GDTF (DIN SPEC 15800): what files say that an independent library wrote, and nothing of it lost without a word."""

import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pygdtf import Break, DmxAddress, DmxValue, Geometries, Geometry, GeometryBeam, GeometryReference
from pygdtf.utils.attribute_definitions_data import ANNEX_ATTRIBUTE_DEFINITIONS
from tests.gdtf_files import channel, channel_set, fixture_type, function, head, write

from lanternist.core.profile import Profile
from lanternist.core.rig import Rig
from lanternist.core.rig_table import compile_rig
from lanternist.files.check_profile import check_profile
from lanternist.files.documents import Document, parse
from lanternist.files.gdtf import Imported, import_gdtf
from lanternist.files.gdtf_archive import GdtfError
from lanternist.files.gdtf_words import WORDS


def imported(tmp_path: Path, *channels: Any, geometries: tuple[Any, ...] = ()) -> tuple[dict[str, Any], Imported]:
    """A mode "m" of these channels: the profile as its TOML says it, and the import."""
    made = import_gdtf(write(fixture_type({"m": list(channels)}, geometries), tmp_path / "type.gdtf"))
    assert is_right(made)
    return tomllib.loads(made.text), made


def is_right(made: Imported) -> bool:
    """Whether the profile passes check, and a rig of it compiles."""
    document = parse(made.text.encode(), "profile.toml")
    assert isinstance(document, Document)
    profile = Profile.model_validate(document.data)
    for mode in profile.modes:
        fixture = {"name": "f", "profile": "p", "mode": mode, "address": 1}
        compile_rig(
            Rig.model_validate({"outputs": [{"universe": 1, "by": "null"}], "fixtures": [fixture]}), {"p": profile}
        )
    return not [one for one in check_profile(profile, document) if one.severity == "mistake"]


def test_a_head_with_some_of_everything(tmp_path: Path) -> None:
    table, made = imported(tmp_path, *head())
    slots = table["modes"]["m"]["slots"]
    words = [slot if isinstance(slot, str) else slot["is"] for slot in slots]
    assert words == [
        "pan", "pan-fine", "tilt", "tilt-fine", "intensity", "shutter", "colour-wheel", "red", "zoom", "zoom-fine",
        "gobo", "gobo-index", "frost", "control", "kelvin", "none", "iris", "iris-fine", "iris-finest",
    ]  # fmt: skip
    assert (table["title"], table["kind"], table["beam_deg"]) == ("A type of our own", "spot", 14)
    # Worked by hand: 540 degrees in 2.7 s are 200 degrees/s, reached in 0.3 s at 666.7 degrees/s2.
    assert (table["pan_deg"], table["tilt_deg"]) == (540, 270)
    assert (table["pan_deg_per_s"], table["pan_deg_per_s2"]) == (200, 666.7)
    assert table["emitters"] == {"red": {"x": 0.69, "y": 0.3, "flux": 0.12}}
    assert slots[4] == {"is": "intensity", "highlight": 255}
    assert slots[5]["ranges"] == [
        {"to": 7, "does": "closed"},
        {"to": 15, "does": "open"},
        {"to": 199, "does": "strobe", "hz": [1, 20]},
        {"to": 255, "does": "random strobe"},
    ]
    # 120 degrees/s are 20 turns a minute.
    assert slots[6]["ranges"] == [
        {"to": 19, "does": "Open", "colour": {"x": 0.3127, "y": 0.329}},
        {"to": 39, "does": "Deep red", "colour": {"x": 0.69, "y": 0.3}},
        {"to": 127, "does": "Green", "colour": {"x": 0.3, "y": 0.6}},
        {"to": 255, "does": "colour-wheel-spin", "rpm": [-20, 20]},
    ]
    assert slots[8]["ranges"] == [{"to": 255, "does": "zoom", "deg": [8, 40]}]
    assert slots[14]["ranges"] == [{"to": 255, "does": "kelvin", "kelvin": [2700, 6500]}]
    assert slots[16]["ranges"] == [{"to": 255, "does": "iris", "percent": [100, 0]}]
    assert "UserDefined: no slot of ours does that" in made.left_out
    assert "the pictures of the wheel Gobos: 1" in made.left_out


def test_every_mode_or_the_one_that_is_named(tmp_path: Path) -> None:
    path = write(
        fixture_type({"long": head(), "short": [channel([1], "Beam", function("Dimmer"))]}), tmp_path / "t.gdtf"
    )
    assert list(tomllib.loads(import_gdtf(path).text)["modes"]) == ["long", "short"]
    assert list(tomllib.loads(import_gdtf(path, "short").text)["modes"]) == ["short"]
    assert any("(mode long)" in one for one in import_gdtf(path).left_out)
    with pytest.raises(GdtfError, match=r'there is no mode .* its modes are "long", "short"'):
        import_gdtf(path, "middle")


def test_nothing_in_a_file_steers_the_terminal(tmp_path: Path) -> None:
    _, made = imported(
        tmp_path, channel([1], "Beam", function("\x9b31m odd")), channel([2], "Beam", function("Dimmer"))
    )
    assert made.left_out
    assert all(words.isprintable() for words in made.left_out)


def test_references_are_cells(tmp_path: Path) -> None:
    """A bar of eight pixels: each refers to one geometry, whose channels lie in a part that hangs on it."""
    pixel = Geometry(name="Pixel")
    pixel.geometries = Geometries([GeometryBeam(name="Lens")])
    made = fixture_type({"m": []}, [pixel])
    references = []
    for number in range(8):
        reference = GeometryReference(name=f"Pixel {number + 1}", geometry="Pixel")
        reference.breaks = [Break(dmx_offset=DmxAddress(str(2 + 3 * number)), dmx_break=1)]
        references.append(reference)
    made.geometries[0].geometries = Geometries([*made.geometries[0].geometries, *references])
    made.dmx_modes[0]._dmx_channels = [
        channel([1], "Base", function("Dimmer")),
        channel([1], "Lens", function("ColorAdd_R")),
        channel([2], "Lens", function("ColorAdd_G")),
        channel([3], "Lens", function("ColorAdd_B")),
    ]
    got = import_gdtf(write(made, tmp_path / "bar.gdtf"))
    table = tomllib.loads(got.text)
    assert table["modes"]["m"]["slots"] == ["intensity", {"cells": 8, "slots": ["red", "green", "blue"]}]
    assert table["kind"] == "bar"
    assert is_right(got)


def test_blocks_with_start_addresses_of_their_own_follow_each_other(tmp_path: Path) -> None:
    table, made = imported(
        tmp_path, channel([1], "Beam", function("Dimmer")), channel([1], "Base", function("Pan"), line=2)
    )
    assert table["modes"]["m"]["slots"] == ["intensity", "pan"]
    assert any("2 start addresses" in one for one in made.left_out)


def test_slots_without_a_channel_are_kept_free(tmp_path: Path) -> None:
    table, _ = imported(tmp_path, channel([1], "Beam", function("Dimmer")), channel([4], "Beam", function("Frost1")))
    assert [slot if isinstance(slot, str) else slot["is"] for slot in table["modes"]["m"]["slots"]] == [
        "intensity", "none", "none", "frost",
    ]  # fmt: skip


def test_what_stays_where_it_is_has_its_default_in_every_byte(tmp_path: Path) -> None:
    """DIN SPEC 15800, Table 1: a short value is mirrored into the bytes below."""
    one = channel([1, 2], "Beam", function("UserDefined", default=DmxValue("77/1")))
    one.default = DmxValue("77/1")
    other = channel([3, 4], "Beam", function("UserDefined"))
    other.default = DmxValue("513/2")
    table, _ = imported(tmp_path, one, other)
    assert table["modes"]["m"]["slots"] == [{"is": "none", "default": value} for value in (77, 77, 2, 1)]


def test_sets_with_physical_values_of_their_own(tmp_path: Path) -> None:
    sets = [
        channel_set("clockwise", "0/1", physical=(180, 6)),
        channel_set("stop", "120/1", physical=(0, 0)),
        channel_set("anticlockwise", "136/1", physical=(-6, -180)),
    ]
    table, _ = imported(
        tmp_path, channel([1], "Beam", function("Prism1PosRotate", "0/1", (180, -180), sets)),
    )  # fmt: skip
    assert table["modes"]["m"]["slots"][0]["ranges"] == [
        {"to": 119, "does": "prism-rotation", "rpm": [30, 1]},
        {"to": 135, "does": "stop"},
        {"to": 255, "does": "prism-rotation", "rpm": [-1, -30]},
    ]


def test_a_strobe_without_rates_is_out_of_reach(tmp_path: Path) -> None:
    """Nobody can count flashes whose rate is not told."""
    table, made = imported(
        tmp_path,
        channel([1], "Beam", function("Dimmer")),
        channel([2], "Beam", function("Shutter1", "0/1", (1, 1)), function("Shutter1Strobe", "10/1")),
    )
    assert table["modes"]["m"]["slots"][1]["ranges"][1] == {"to": 255, "does": "shutter1strobe", "scenes": False}
    assert any("does not tell it in hz" in one for one in made.left_out)


def test_names_are_those_of_the_standard() -> None:
    """Annex A and B as pygdtf holds them, and older names that files still use: no word here is of our invention."""
    attributes = ANNEX_ATTRIBUTE_DEFINITIONS["attributes"]
    names = {str(one["name"]).lower() for one in (attributes.values() if isinstance(attributes, dict) else attributes)}
    known = {name.replace("(n)", "1").replace("(m)", "1") for name in names}
    known |= {name.replace("(n)", "2").replace("(m)", "1") for name in names} | {
        name.replace("(n)", "") for name in names
    }
    older = {"colorrgb_red", "colorrgb_green", "colorrgb_blue", "strobefrequency", "blower", "fan"}
    assert set(WORDS) - known - older == set()


ATTRIBUTES = st.sampled_from([*WORDS, "shutter1strobepulse", "control3", "userdefined", "effects1", "coloradd_c"])
PHYSICAL = st.one_of(st.none(), st.tuples(st.floats(-1000, 1000), st.floats(-1000, 1000)), st.just((0.0, 0.0)))


@st.composite
def channels(draw: st.DrawFn) -> list[Any]:
    made, at = [], 1
    for _ in range(draw(st.integers(1, 8))):
        size = draw(st.integers(1, 4))
        starts = [0, *sorted(draw(st.sets(st.integers(1, 255), max_size=3)))]
        functions = []
        for start in starts:
            sets = [
                channel_set(f"set {value}", f"{value}/1", draw(st.integers(0, 4)), draw(PHYSICAL) or (None, None))
                for value in sorted(draw(st.sets(st.integers(start, 255), max_size=3)))
            ]
            functions.append(function(draw(ATTRIBUTES), f"{start}/1", draw(PHYSICAL), sets))
        made.append(channel(range(at, at + size), draw(st.sampled_from(["Base", "Beam"])), *functions))
        at += size
    return made


@settings(max_examples=30)
@given(channels())
def test_whatever_a_type_has_its_profile_passes_check_and_no_slot_is_moved(listed: list[Any]) -> None:
    with TemporaryDirectory() as folder:
        made = import_gdtf(write(fixture_type({"m": listed}), Path(folder) / "t.gdtf"))
    assert is_right(made)
    profile = Profile.model_validate(tomllib.loads(made.text))
    assert profile.modes["m"].footprint == max(max(one.offset) for one in listed)
    layout = [slot for _, slot in profile.modes["m"].layout()]
    for one in listed:
        first = layout[one.offset[0] - 1]
        of = {str(each.attribute).lower() for each in one.logical_channels[0].channel_functions}
        if len(of) == 1 and first.does not in ("none", "shutter"):
            assert WORDS.get(next(iter(of)), first.does) == first.does
        for span_first, span_last, range_ in first.spans():
            if range_.units:
                inside = [
                    each
                    for each in one.logical_channels[0].channel_functions
                    if WORDS.get(str(each.attribute).lower()) in (range_.does, first.does)
                ]
                assert inside
                assert span_first <= span_last
