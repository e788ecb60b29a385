"""The colour table against an independent copy of it: matplotlib ships the CSS Color Module Level 4 names (W3C)."""

import re

from matplotlib.colors import CSS4_COLORS

from lanternist.core.colour.css_colours import CSS_COLOURS


def test_table_is_that_of_css() -> None:
    assert {name: str(code).lower() for name, code in CSS4_COLORS.items()} == CSS_COLOURS


def test_table_has_148_names_and_each_is_a_hex_code() -> None:
    assert len(CSS_COLOURS) == 148
    assert all(re.fullmatch("#[0-9a-f]{6}", code) for code in CSS_COLOURS.values())
