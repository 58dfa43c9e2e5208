"""The geometry of the reference sheet, against the standards of what it shows and what it is printed on."""

from itertools import chain

import cv2
import numpy as np
import pytest

from worker.silhouettes.photo.sheet import (
    BAR,
    CARD,
    MARKER,
    MODULES,
    SHEET_SIZES,
    SQUARE,
    TINTS,
    marker_bits,
    reference_sheet,
)

#: A margin in mm that no printer needs all of (common practice).
_BLANK = 6.0


@pytest.fixture(params=SHEET_SIZES)
def sheet(request):
    return reference_sheet(request.param)


@pytest.mark.outside
@pytest.mark.parametrize(("size", "paper"), [("a4", (210.0, 297.0)), ("letter", (8.5 * 25.4, 11.0 * 25.4))])
def test_paper_has_the_size_of_the_standard(size, paper):
    """ISO 216 (A4); ANSI/ASME Y14.1 (Letter, 8.5 x 11 in)."""
    assert reference_sheet(size).paper == pytest.approx(paper)


@pytest.mark.outside
def test_the_card_box_has_the_size_of_a_bank_card(sheet):
    """ISO/IEC 7810: ID-1 is 85.60 x 53.98 mm."""
    left, bottom, right, top = sheet.card_box
    assert CARD == (85.60, 53.98)
    assert (right - left, top - bottom) == pytest.approx((85.60, 53.98))


@pytest.mark.outside
def test_markers_are_those_of_the_dictionary():
    """OpenCV's dictionary of 250 markers of 4 x 4 modules draws the same modules."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    numbers = sorted(chain.from_iterable(reference_sheet(size).markers for size in SHEET_SIZES))
    assert numbers == list(range(164))
    for number in numbers:
        drawn = cv2.aruco.generateImageMarker(dictionary, number, MODULES)
        assert (drawn[1:-1, 1:-1] > 0).tolist() == [list(row) for row in marker_bits(number)]
        assert not np.delete(drawn, np.s_[1:-1], axis=0).any()
    with pytest.raises(IndexError):
        marker_bits(164)


def test_the_ring_stays_clear_of_the_edges_that_printers_leave_blank(sheet):
    (x, y), (width, height), (across, down) = sheet.corner, sheet.outside, sheet.paper
    assert min(x, y, across - x - width, down - y - height) > _BLANK


def test_squares_alternate_and_cover_the_ring(sheet):
    white, black = set(sheet.white_squares.values()), set(sheet.black_squares)
    left, bottom, right, top = sheet.field
    area = sheet.outside[0] * sheet.outside[1] - (right - left) * (top - bottom)
    assert not white & black
    assert (len(white) + len(black)) * SQUARE**2 == area
    for column, row in white:
        assert not white & {(column + 1, row), (column, row + 1)}
    for column, row in black:
        assert not black & {(column + 1, row), (column, row + 1)}


def test_each_white_square_has_its_marker_in_its_middle(sheet):
    for number, corners in sheet.markers.items():
        column, row = sheet.white_squares[number]
        middle = np.mean(corners, axis=0)
        assert middle == pytest.approx([(column + 0.5) * SQUARE, (row + 0.5) * SQUARE])
        (left, top), (right, _), (_, bottom), _ = corners
        assert (right - left, top - bottom) == pytest.approx((MARKER, MARKER))


def test_saddles_lie_between_two_black_and_two_white_squares_on_all_sides_of_the_field(sheet):
    white, black = set(sheet.white_squares.values()), set(sheet.black_squares)
    for x, y in sheet.saddles:
        column, row = round(x / SQUARE), round(y / SQUARE)
        around = {(column - i, row - j) for i in (0, 1) for j in (0, 1)}
        assert len(around & white) == len(around & black) == 2
    left, bottom, right, top = sheet.field
    sides = np.array(sheet.saddles)
    assert len(sides) >= 80
    assert (sides.min(axis=0) < [left, bottom]).all()
    assert (sides.max(axis=0) > [right, top]).all()


def test_the_bar_fits_the_ring_and_the_card_the_field(sheet):
    left, bottom, right, top = sheet.field
    assert sheet.outside[0] > BAR
    assert CARD[0] < right - left
    assert CARD[1] < top - bottom


def test_tints_differ_from_grey_and_from_each_other_in_hue():
    linear = {name: (np.array(colour) / 255.0) ** 2.2 for name, colour in TINTS.items()}
    chroma = {name: np.log(colour) - np.log(colour).mean() for name, colour in linear.items()}
    assert all(np.linalg.norm(value) > 0.7 for value in chroma.values())
    assert chroma["green"] @ chroma["pink"] < 0.0
