"""The patch sheet: nothing of the rig is missing on it, nothing covers anything, everything is on the paper."""

import re
from html import unescape
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rigs import CLUB, PROFILES, rig

from lanternist.core.profile import Profile
from lanternist.core.rig import Rig
from lanternist.report.patch_sheet import PatchSheet, patch_sheet, runs
from lanternist.report.plan import plan
from lanternist.report.png import png
from lanternist.report.sheet_pages import HEIGHT, WIDTH, circuit_words, html, pages, svg
from lanternist.report.sheet_text import sheet_text
from lanternist.report.svg import cut, text_width, wrapped

POWERED = {name: one.model_copy(update={"power_w": 500.0}) for name, one in PROFILES.items() if name != "fogger"} | {
    "fogger": PROFILES["fogger"]
}
MAINS = '[mains]\nvolts = 230\namps = { "left wall" = 10 }\n'


def sheet(text: str = CLUB, profiles: dict[str, Profile] = POWERED) -> PatchSheet:
    return patch_sheet(rig(text), profiles, "from rig.toml, 2026-11-25")


def words(page: str) -> list[str]:
    return [unescape(one) for one in re.findall(r"<text[^>]*>([^<]*)</text>", page)]


def test_lines_are_numbered_in_patch_order() -> None:
    assert [(line.number, line.one.fixture.name) for line in sheet().lines][:3] == [
        (1, "par 1"), (2, "par 2"), (3, "par 3"),
    ]  # fmt: skip
    assert sheet().groups == {"heads": [5, 8], "outer": [1, 7], "pars": [1, 2, 3, 7]}
    assert sheet().universes == [1, 2]


def test_currents_are_power_over_voltage() -> None:
    """Worked by hand: 5 x 500 W / 230 V = 10.87 A, 108.7 % of 10 A."""
    text = re.sub(r'(profile = "(?!fogger|head)\w+")', r'\1\ncircuit = "left wall"', CLUB) + MAINS
    named, rest = sheet(text).circuits
    assert (named.name, named.numbers, named.watts) == ("left wall", [1, 2, 3, 4, 7], 2500.0)
    assert named.amps == pytest.approx(10.87, abs=0.005)
    assert named.load == pytest.approx(1.087, abs=0.0005)
    assert "TOO MUCH" in circuit_words(named)
    assert (rest.name, rest.watts, rest.untold, rest.rated) == ("", 1000.0, [6], None)
    assert (
        circuit_words(rest) == "fixtures 5-6, 8; at least 1000 W; 4.3 A; not counted, their profiles tell no power: 6"
    )


def test_without_a_voltage_there_is_no_current() -> None:
    (one,) = sheet().circuits
    assert one.amps is None
    assert "no current without [mains] volts" in circuit_words(one)


def test_every_fixture_is_on_the_pages_with_all_its_figures() -> None:
    drawn = words("".join(pages(sheet())))
    for line in sheet().lines:
        assert line.one.fixture.name in drawn
        assert str(line.one.fixture.address) in drawn
        assert str(line.one.last) in drawn
        assert f"{line.one.fixture.universe}.{line.one.fixture.address}" in drawn
    assert {"Groups", "Mains", "Universe 1: 46 of 512 slots", "Universe 2: 10 of 512 slots"} <= set(drawn)
    assert any("second, independent safety bond" in one for one in drawn)


def test_the_black_levers_add_up_to_the_address() -> None:
    drawn = re.findall(r">on</text>(.*?)</g>", "".join(pages(sheet())))
    sums = [
        sum(2 ** round((float(x) - 0.7) / 4.0) for x in re.findall(r'<rect x="([\d.]+)"[^>]*fill="#000"', one))
        for one in drawn
    ]
    assert sums == [line.one.fixture.address for line in sheet().lines]


def test_html_is_whole_and_asks_for_nothing_from_elsewhere() -> None:
    page = html(sheet())
    assert not re.search(r"(?:src|href|url)\s*[=(]", page.replace("http://www.w3.org/2000/svg", ""))
    assert "@page { margin: 12mm }" in page
    assert page.count("<svg") == len(pages(sheet()))


def test_what_a_rig_file_says_cannot_break_the_page() -> None:
    text = CLUB.replace('"Club"', '"</text><script>x</script>&"').replace('"par 2"', '"<b>\\"2&"')
    page = html(sheet(text))
    assert "<script>" not in page
    ElementTree.fromstring(svg(sheet(text)))


fixtures = st.lists(
    st.fixed_dictionaries(
        {
            "name": st.text("abW 1<&é漢", min_size=1, max_size=80).filter(str.strip),
            "profile": st.sampled_from(["par", "bar", "head", "fogger"]),
            "groups": st.lists(st.text("xyz ", min_size=1, max_size=30).filter(str.strip), max_size=4),
            "hangs": st.sampled_from(["up", "down"]),
            "facing_deg": st.floats(-360, 360),
            "at": st.one_of(
                st.none(), st.lists(st.floats(-1e4, 1e4), min_size=3, max_size=3), st.just([0.0, 0.0, 0.0])
            ),
        }
    ),
    min_size=1,
    max_size=25,
)
MODES = {"par": "8", "bar": "12", "head": "11", "fogger": "2"}


def made_of(listed: list[dict[str, Any]]) -> PatchSheet:
    for index, one in enumerate(listed):
        one |= {"mode": MODES[one["profile"]], "address": 1 + 12 * index, "universe": 1 + index % 2}
    made = Rig.model_validate({"outputs": [{"universe": 1, "by": "null"}], "fixtures": listed})
    return patch_sheet(made, POWERED)


@settings(max_examples=30)
@given(fixtures)
def test_whatever_hangs_anywhere_all_is_inside_the_paper(listed: list[dict[str, Any]]) -> None:
    made = made_of(listed)
    heights = [height for height, _ in plan(made, WIDTH, 200.0)]
    assert sum(heights) <= HEIGHT
    found: list[str] = []

    def walk(element: ElementTree.Element, x: float, y: float) -> None:
        if move := re.match(r"translate\(([-.\d]+) ([-.\d]+)\)", element.get("transform", "")):
            x, y = x + float(move[1]), y + float(move[2])
        if element.tag == "text":
            at = x + float(element.get("x", 0))
            wide = text_width(element.text or "", float(element.get("font-size", 0)))
            left = at - {"middle": wide / 2, "end": wide}.get(element.get("text-anchor", ""), 0.0)
            assert left >= 0
            assert left + wide <= WIDTH
            assert 0 <= y + float(element.get("y", 0)) <= HEIGHT
            found.append(element.text or "")
        for child in element:
            walk(child, x, y)

    for page in pages(made):
        walk(ElementTree.fromstring(f"<svg>{page}</svg>"), 0.0, 0.0)
    assert all(str(line.number) in found for line in made.lines)
    text = sheet_text(made)
    assert all(re.search(rf"^ *{line.number}  ", text, re.MULTILINE) for line in made.lines)


def test_symbols_do_not_cover_each_other() -> None:
    crowd = [
        {"name": f"f{n}", "profile": "par", "at": [0.1 * (n % 9), 0.0, 3.0], "groups": [], "hangs": "down"}
        for n in range(40)
    ]
    for _, view in plan(made_of(crowd), WIDTH, 200.0)[:2]:
        at = [(float(x), float(y)) for x, y in re.findall(r'<circle cx="([-.\d]+)" cy="([-.\d]+)" r="3.00"', view)]
        assert len(at) == 40
        assert all((x - x2) ** 2 + (y - y2) ** 2 >= 6.0**2 for index, (x, y) in enumerate(at) for x2, y2 in at[:index])


def test_the_text_has_every_fixture_and_fits_a_terminal() -> None:
    told = sheet_text(sheet(CLUB + MAINS))
    assert max(map(len, told.splitlines())) <= 80
    assert re.search(r"^  2  par 2 +1 +11 +18  ▀▀▄▀▄▄▄▄▄ 124 ", told, re.MULTILINE)
    assert "  fixtures 1-8" in told
    assert "No place given in the rig file (at = [x, y, z]): 6" in told


def test_slot_512_has_no_switches() -> None:
    text = '[[fixtures]]\nname = "d"\nprofile = "dimmer"\nmode = "1"\naddress = 512\n'
    assert "512: set it in the menu" in words("".join(pages(sheet(text))))
    assert "in its menu" in sheet_text(sheet(text))


@given(st.text(max_size=60), st.floats(8, 60))
def test_wrapped_text_is_whole_and_fits(text: str, room: float) -> None:
    lines = wrapped(text, room, 3.0)
    assert "".join(lines).replace(" ", "") == "".join(text.split())
    assert all(text_width(line, 3.0) <= room or len(line) == 1 for line in lines)
    assert text_width(cut(text, room, 3.0), 3.0) <= room


@given(st.sets(st.integers(1, 60), min_size=1))
def test_runs_of_numbers_read_back(numbers: set[int]) -> None:
    back: set[int] = set()
    for part in runs(sorted(numbers)).split(", "):
        first, _, last = part.partition("-")
        back |= set(range(int(first), int(last or first) + 1))
    assert back == numbers


def test_a_picture() -> None:
    picture = png(svg(sheet()), dots_per_mm=2.0)
    assert picture.startswith(b"\x89PNG")
    wide, tall = int.from_bytes(picture[16:20], "big"), int.from_bytes(picture[20:24], "big")
    assert wide == 420
    assert tall == len(pages(sheet())) * (HEIGHT + 24) * 2
