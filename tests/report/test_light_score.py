"""The light score: read back from the picture, not from the code that drew it."""

import re
import xml.etree.ElementTree as ET
from base64 import b64decode
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from matplotlib.image import imread

from lanternist.core.rehearsal import Rehearsal, Span
from lanternist.report.light_score import COLUMNS, columns_of, difference, html, svg

NAMES = ("par 1", "fog & haze", "head <2>")


def night() -> Rehearsal:
    light = np.zeros((3, 40, 3))
    light[0, 10:20] = (1.0, 0.0, 0.0)
    light[2, 30:] = (0.2140, 0.2140, 0.2140)
    spans = (
        Span("songs", "Opener", 0.0, 40.0),
        Span("sections", "1 intro", 0.0, 10.0),
        Span("sections", "2 drop", 10.0, 40.0),
        Span("scenes", "pulse", 10.0, 20.0),
        Span("cues", "light again", 10.0, 10.0),
        Span("cues", "start storm", 10.0, 10.0),
        Span("guard", "flashing light: par 1", 12.0, 13.0),
    )
    gives = np.array([True, False, True])
    return Rehearsal(
        "Tide on Hall", 1.0, NAMES, np.array([False, False, True]), gives, light, spans, np.full(40, 0.5), np.zeros(40)
    )


def pixels(drawn: str) -> np.ndarray:
    found = re.search(r"base64,([^\"]+)", drawn)
    assert found
    return np.asarray(imread(BytesIO(b64decode(found[1])), format="png"))


def test_every_fixture_that_gives_light_is_a_strip_in_its_colour() -> None:
    shown = pixels(svg(night()))[::8]
    assert shown.shape == (2, 40, 3)
    assert shown[0, 15].tolist() == [1.0, 0.0, 0.0]
    assert shown[0, 25].tolist() == [0.0, 0.0, 0.0]
    # IEC 61966-2-1: linear 0.2140 is encoded as one half.
    assert shown[1, 35] == pytest.approx([0.5] * 3, abs=1 / 255)


def test_all_that_is_to_be_read_is_in_it_and_it_is_right_xml() -> None:
    texts = [one.text for one in ET.fromstring(svg(night())).iter("{http://www.w3.org/2000/svg}text")]
    for words in (
        "Tide on Hall",
        "par 1",
        "head <2>",
        "Opener",
        "intro",
        "drop",
        "pulse",
        "flashing light",
        "0:10",
        "light again, start storm",
    ):
        assert words in texts
    assert "fog & haze" not in texts


def test_the_page_needs_nothing_from_elsewhere() -> None:
    page = html(night())
    assert re.findall(r'(?:href|src)="(?!data:)[^"]*"', page) == []
    assert page.count("<svg") == 1


def test_a_difference_is_bright_where_two_nights_are_not_alike() -> None:
    one = night()
    assert difference(one, one).max() == 0.0
    other = replace(one, light=np.where(np.arange(40)[None, :, None] < 12, one.light, 0.0))
    shown = pixels(svg(one, other))[::8]
    assert shown[0, 11].max() == 0.0
    assert shown[0, 15].tolist() == [1.0, 0.0, 0.0]
    longer = replace(one, light=np.pad(one.light, ((0, 0), (0, 5), (0, 0)), constant_values=0.3))
    assert difference(one, longer).shape == one.light.shape


def test_nights_that_cannot_be_laid_over_each_other_say_why() -> None:
    with pytest.raises(ValueError, match="not rehearsed on the same fixtures"):
        svg(night(), replace(night(), fixtures=("a", "b", "c")))
    with pytest.raises(ValueError, match=r"columns are 1 s and 2 s"):
        svg(night(), replace(night(), column_s=2.0))


def test_the_picture_has_no_more_columns_than_can_be_seen() -> None:
    assert 4 * 3600 / columns_of(4 * 3600) == COLUMNS
    assert columns_of(10.0) == 0.05
