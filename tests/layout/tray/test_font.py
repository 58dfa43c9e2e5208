import numpy as np
import pytest
import reportlab
import shapely
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from worker.layout.tray.font import FLATNESS, advance, contours, extent, least_cap, least_mark_cap, missing, placed
from worker.spec.errors import TrayError

LATIN = "".join(chr(code) for code in [*range(32, 127), *range(161, 173), *range(174, 256)])


def test_letters_digits_and_signs_of_latin_1_are_there():
    assert missing(LATIN) == ""
    assert missing("a漢b字漢") == "漢字"


@given(st.text(LATIN, max_size=12), st.text(LATIN, max_size=12))
def test_advances_add_up(first, other):
    assert advance(first + other) == pytest.approx(advance(first) + advance(other))


def test_outlines_are_those_of_the_font():
    # Outside: fontTools' own pens on the same file; a capital H is 1 high.
    font = TTFont(f"{reportlab.__path__[0]}/fonts/VeraBd.ttf")
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    capital = font["glyf"]["H"].yMax
    for char in "AOQagij0479&ßø":
        area, bounds = AreaPen(glyphs), BoundsPen(glyphs)
        glyphs[names[ord(char)]].draw(area)
        glyphs[names[ord(char)]].draw(bounds)
        own = sum(
            0.5 * float(np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - np.roll(ring[:, 0], -1) * ring[:, 1]))
            for ring in contours(char)
        )
        assert own == pytest.approx(-area.value / capital**2, rel=0.02), char
        assert extent(char) == pytest.approx([edge / capital for edge in bounds.bounds], abs=FLATNESS), char
        assert advance(char) == pytest.approx(font["hmtx"][names[ord(char)]][0] / capital), char


def test_contours_are_few_points_and_not_to_be_changed():
    assert sum(len(ring) for ring in contours("8")) < 80
    assert len(contours("H")[0]) == 12
    with pytest.raises(ValueError, match="read-only"):
        contours("H")[0][0] = 0.0


def test_nothing_has_no_extent():
    assert extent("") == extent("  ") == (0.0, 0.0, 0.0, 0.0)
    assert advance("") == 0.0
    assert contours(" ") == ()


@pytest.mark.parametrize("call", [advance, extent, contours])
def test_a_missing_character_is_named(call):
    with pytest.raises(TrayError) as caught:
        call("漢")
    assert caught.value.value == "漢"
    assert caught.value.remedy


def printed(text, cap_height, line_width):
    """Return the share of a text's area that a disc of a line's width reaches without leaving its strokes."""
    rings = [shapely.Polygon(ring * cap_height) for ring in placed(text)]
    ink = shapely.union_all([ring for ring in rings if ring.exterior.is_ccw])
    ink = ink.difference(shapely.union_all([ring for ring in rings if not ring.exterior.is_ccw]))
    return ink.buffer(-line_width / 2.0).buffer(line_width / 2.0).intersection(ink).area / ink.area


@pytest.mark.parametrize("line_width", [0.22, 0.44, 0.66, 0.88, 1.32])
@pytest.mark.parametrize("text", ["screws", "Bits & co", "n\u00e4gel", "O8 %", "M3 x 16", "wxyz", "FLAT"])
def test_the_smallest_text_prints(text, line_width):
    assert printed(text, least_cap(line_width), line_width) >= 0.78
    assert least_cap(line_width) >= 3.0  # legible (common practice)


@pytest.mark.parametrize("line_width", [0.22, 0.44, 0.66, 0.88, 1.32])
@pytest.mark.parametrize("mark", ["F12", "T3", "K1", "C1", "M4", "T60", "T78", "F9", "F5"])
def test_the_smallest_mark_prints_and_one_that_is_a_fifth_smaller_does_not(mark, line_width):
    assert printed(mark, least_mark_cap(line_width), line_width) >= 0.8
    assert printed(mark, 0.8 * least_mark_cap(line_width), line_width) < 0.8
