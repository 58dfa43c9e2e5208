"""Text at the bottom of pockets: inside the pocket, along the item, readable, as deep as the floor allows."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.tray.pockets.test_nesting import _SPANNER, _pocket
from tests.layout.tray.test_tray_builder import LINES, refused, shape_of
from worker.layout.tray.font import extent, least_cap
from worker.solids.engraving import text_rings

_TRAY = {"cells": [5, 3], "height": 30.0}


def _letters(lettering):
    """Return the region of a text in the tray's frame, with the insides of its letters."""
    return shapely.union_all([shapely.Polygon(ring) for ring in text_rings(lettering)])


def _texts(shape):
    return {lettering.text: lettering for lettering in shape.letterings if lettering.level is not None}


@settings(max_examples=15, deadline=None)
@given(
    st.floats(0.0, 180.0),
    st.text("ABGHgjpy 0123456789-", min_size=1, max_size=8).filter(lambda text: text.strip() == text),
)
def test_a_text_lies_inside_its_pocket_along_the_item_and_reads_from_the_front_or_the_right(turn, text):
    turned = shapely.affinity.translate(shapely.affinity.rotate(_SPANNER, turn), 100.0, 100.0)
    shape = shape_of(**{**_TRAY, "cells": [5, 5]}, pockets=[_pocket(turned, text=text)])
    lettering = _texts(shape)[text]
    pocket = shape.pockets[0]
    item = shapely.Polygon(pocket.outline)
    assert item.buffer(-0.9).covers(_letters(lettering))
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(item))
    longest = max(np.diff(box[:3], axis=0), key=np.linalg.norm)
    along = np.degrees(np.arctan2(longest[1], longest[0]))
    assert abs((lettering.turn - along + 90.0) % 180.0 - 90.0) < 0.1
    assert -90.0 < lettering.turn <= 90.001
    assert least_cap(LINES / 2.0) - 1e-6 <= lettering.cap_height <= 8.0
    assert lettering.level == pocket.bottom


def test_a_longer_text_has_smaller_capitals_and_one_that_fits_nowhere_is_refused():
    pocket = {"shape": "rectangle", "at": [5, 5], "size": [60, 12], "depth": 5}
    caps = [
        _texts(shape_of(**_TRAY, pockets=[{**pocket, "text": text}]))[text].cap_height for text in ("M4", "M4 X 25 MM")
    ]
    assert caps[0] == 8.0
    assert caps[1] < caps[0]
    left, _, right, _ = extent("M4 X 25 MM")
    assert caps[1] + 0.5 > 58.6 / (right - left)  # the next size up has no room beside margins of 1 mm
    long = "forty letters are too many for so small a"[:40]
    pointer, value, limit = refused(**_TRAY, pockets=[{**pocket, "text": long}])
    assert (pointer, value, limit[:12]) == ("/pockets/0/text", long, "capitals of ")


def test_round_pockets_and_the_copies_of_a_nested_one_have_their_text():
    spanners = _pocket(_SPANNER, text="17", count=2)
    washer = {"shape": "circle", "at": [190, 105], "diameter": 24, "depth": 4, "text": "M8"}
    shape = shape_of(**_TRAY, pockets=[washer, spanners])
    assert sorted(lettering.text for lettering in shape.letterings) == ["17", "17", "M8"]
    bottoms = {lettering.text: lettering.level for lettering in shape.letterings}
    assert bottoms["M8"] == pytest.approx(bottoms["17"] + 2.0)


def test_a_floor_that_is_too_thin_and_letters_that_the_font_lacks_are_refused():
    pocket = {"shape": "rectangle", "at": [5, 5], "size": [60, 12], "depth": 5}
    assert refused(**_TRAY, floor=0.8, pockets=[{**pocket, "text": "M4"}])[0] == "/floor"
    assert refused(**_TRAY, pockets=[{**pocket, "text": "ねじ"}])[0] == "/pockets/0/text"
    # over a shallow pocket's bottom there is more floor
    shallow = {"shape": "rectangle", "at": [5, 40], "size": [60, 12], "depth": 3, "text": "M4"}
    assert "M4" in _texts(shape_of(**_TRAY, floor=0.8, pockets=[pocket, shallow]))


def test_a_groove_has_no_bottom_for_text():
    with pytest.raises(ValueError, match="no bottom for text"):
        shape_of(**_TRAY, pockets=[_pocket(_SPANNER, engraved=True, text="17")])
