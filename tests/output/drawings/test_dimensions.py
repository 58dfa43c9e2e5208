"""Dimensions around a view, measured on the sheet: lines, strokes, numbers, arrows and the scale bar."""

from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.panels.jobs import panel_plan
from worker.layout.planner import lay_out
from worker.output.drawings.dimensions import FOOT, HEAD, SIDE, dimensions
from worker.output.drawings.font import text_width
from worker.output.drawings.mapped_drawer import MappedDrawer
from worker.output.drawings.sheet import Path, TextLine
from worker.spec.errors import LayoutError
from worker.spec.reading.loader import load

CLOSE = 1e-6


def mapped_drawer(wide, deep, **fields):
    drawer = {"name": "top", "width": wide, "depth": deep, "height": 60}
    spec = {"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [250, 250, 250]}, **fields}
    return MappedDrawer(lay_out(load(spec)), 0)


def placed(mapped, scale, unit):
    """Return the shapes of dimensions around a drawer with its left top corner at (40, 30), and its rectangle."""
    wide, deep = (side / scale for side in mapped.extent)
    room = wide + 2.0 * SIDE * unit
    shapes = dimensions(mapped, (40.0, 30.0, scale, unit), (40.0 - SIDE * unit, room))
    return shapes, (40.0, 30.0, 40.0 + wide, 30.0 + deep)


def of_width(shapes, width):
    return [shape.points for shape in shapes if isinstance(shape, Path) and abs(shape.width - width) < CLOSE]


def inside(box, outer):
    return (
        outer[0] - CLOSE <= box[0] and outer[1] - CLOSE <= box[1] and box[2] <= outer[2] + CLOSE
        and box[3] <= outer[3] + CLOSE
    )  # fmt: skip


def apart(box, other):
    return (
        min(box[2], other[2]) - max(box[0], other[0]) < CLOSE or min(box[3], other[3]) - max(box[1], other[1]) < CLOSE
    )


def bounds(points):
    across, down = zip(*points, strict=True)
    return min(across), min(down), max(across), max(down)


def chains(mapped, scale, drawn):
    """Return what each axis divides, as positions on the sheet: the overall size, and cells and margins or panels."""
    left, top, right, low = drawn
    if mapped.cells:
        lefts, fronts, rights, backs = zip(*mapped.cells, strict=True)
        inner = ((min(lefts), max(rights)), (min(fronts), max(backs)))
    else:
        inner = tuple(
            sorted(panel.at for panel in mapped.drawer.panels if panel.along == across) for across in ("y", "x")
        )
    return {
        "across": [left, *(left + at / scale for at in inner[0]), right],
        "upright": [top, *sorted(low - at / scale for at in inner[1]), low],
    }


def check_lines(mapped, scale, unit):
    """Dimension lines run from side to side, a stroke and an extension line stand where each measured length ends."""
    shapes, drawn = placed(mapped, scale, unit)
    left, top, right, low = drawn
    lines = of_width(shapes, 0.18 * unit)
    strokes, extensions = of_width(shapes, 0.3 * unit), of_width(shapes, 0.1 * unit)
    expected = chains(mapped, scale, drawn)
    for kind, ends in expected.items():
        own = [line for line in lines if (abs(line[0][1] - line[1][1]) < CLOSE) == (kind == "across")]
        axis, other = (0, 1) if kind == "across" else (1, 0)
        edges = (left, right) if axis == 0 else (top, low)
        assert len(own) == (1 if not mapped.cells and len(ends) == 2 else 2)
        stops = []
        for line in own:
            # each line spans the outline and lies outside of it
            assert sorted(point[axis] for point in line) == pytest.approx(edges, abs=CLOSE)
            level = line[0][other]
            assert not (left, top)[other] <= level <= (right, low)[other]
            middles = [
                tuple((a + b) / 2.0 for a, b in zip(*stroke, strict=True)) for stroke in strokes
            ]  # fmt: skip
            stops.append(sorted(middle[axis] for middle in middles if abs(middle[other] - level) < CLOSE))
            outwards = 1.0 if level > (left, top)[other] else -1.0
            edge = (right, low)[other] if outwards > 0.0 else (left, top)[other]
            reaching = [
                ext for ext in extensions
                if abs(ext[0][axis] - ext[1][axis]) < CLOSE and abs(ext[1][other] - level - outwards * unit) < CLOSE
            ]  # fmt: skip
            # an extension line begins off the outline and ends beyond the dimension line (ISO 129-1, from memory)
            assert sorted(ext[0][axis] for ext in reaching) == pytest.approx(stops[-1], abs=CLOSE)
            assert all(outwards * (ext[0][other] - edge) > CLOSE for ext in reaching)
        assert min(stops, key=len) == pytest.approx(edges, abs=CLOSE)
        assert max(stops, key=len) == pytest.approx(ends, abs=CLOSE)
    for (x, y), (u, v) in strokes:
        assert u - x == pytest.approx(y - v)  # 45 degrees, upwards to the right
        assert u > x


def check_numbers(mapped, scale, unit):
    """No number lies on a line, on the drawer or outside of the view's room, and a number between strokes is right."""
    shapes, drawn = placed(mapped, scale, unit)
    left, top, right, low = drawn
    room = (left - SIDE * unit, top - HEAD * unit, right + SIDE * unit, low + FOOT * unit)
    lines = of_width(shapes, 0.18 * unit)
    texts = [shape for shape in shapes if isinstance(shape, TextLine)]
    for text in texts:
        assert inside(text.box, room), text
        assert apart(text.box, drawn), text
        for line in lines:
            x, y, u, v = bounds(line)
            assert apart(text.box, (x - CLOSE, y - CLOSE, u + 2.0 * CLOSE, v + 2.0 * CLOSE)), text
    ends = chains(mapped, scale, drawn)
    measured = [text for text in texts if text.size == pytest.approx(2.4 * unit) and "mm" not in text.text]
    for text in measured:
        # level with the middle of a length of this size; only the narrow margins at the sides have it outside
        number = float(text.text.removeprefix("cells "))
        middles = ((text.box[0] + text.box[2]) / 2.0, (text.box[1] + text.box[3]) / 2.0)
        level = any(
            abs(abs(b - a) * scale - number) <= 0.05 + CLOSE and abs((a + b) / 2.0 - middles[axis]) < CLOSE
            for axis, own in enumerate((ends["across"], ends["upright"]))
            for a, b in (*pairwise(own), (own[0], own[-1]))
        )
        margins = [abs(ends["across"][end] - ends["across"][end + 1]) * scale for end in (0, -2)]
        assert level or any(abs(margin - number) <= 0.05 + CLOSE for margin in margins), text
    # a length that its number fits has it, with a millimetre of the sheet at each end to spare
    for axis, own in enumerate((ends["across"], ends["upright"])):
        for a, b in pairwise(own):
            length = f"{round(abs(b - a) * scale, 1):g}"
            wide = text_width(f"cells {length}", 2.4 * unit)
            if abs(b - a) > wide + 8.0 * unit:
                middle = (a + b) / 2.0
                assert any(
                    abs((text.box[axis] + text.box[axis + 2]) / 2.0 - middle) < CLOSE
                    for text in measured
                    if abs(float(text.text.removeprefix("cells ")) - abs(b - a) * scale) <= 0.05 + CLOSE
                ), length
    # the widest lengths have their number in the middle between their ends
    for axis, (low_end, high_end) in enumerate(((left, right), (top, low))):
        whole = f"{round(mapped.extent[axis], 2):g}"
        middle = (low_end + high_end) / 2.0
        fitting_texts = [text for text in measured if text.text == whole and text.turned == (axis == 1)]
        assert any(abs(text.at[axis] - middle) < CLOSE for text in fitting_texts)
    return texts


def check_front(shapes, drawn, scale, unit):
    """The arrows beside the words point to the front, and the bar is as long as it says."""
    words = next(shape for shape in shapes if isinstance(shape, TextLine) and shape.text == "front of the drawer")
    solid = [shape.points for shape in shapes if isinstance(shape, Path) and shape.closed and len(shape.points) == 7]
    assert len(solid) == 2
    for arrow, side in zip(sorted(solid), (-1, 1), strict=True):
        x, y, u, v = bounds(arrow)
        assert apart((x, y, u, v), words.box)
        assert (x + u) / 2.0 < words.box[0] if side < 0 else (x + u) / 2.0 > words.box[2]
        # its only lowest point, the tip, is in the middle; the shaft above is a third as wide as the head
        assert [point for point in arrow if point[1] > v - CLOSE] == [pytest.approx(((x + u) / 2.0, v))]
        shaft = [point for point in arrow if point[1] < y + CLOSE]
        head = [point for point in arrow if abs(point[0] - x) < CLOSE or abs(point[0] - u) < CLOSE]
        assert len(shaft) == len(head) == 2
        assert abs(shaft[0][0] - shaft[1][0]) == pytest.approx((u - x) / 3.0)
        assert (x + u) / 2.0 == pytest.approx((shaft[0][0] + shaft[1][0]) / 2.0)
        assert head[0][1] == pytest.approx(head[1][1])
        assert y < head[0][1] < v
        shaft_area = abs(shaft[0][0] - shaft[1][0]) * (head[0][1] - y)
        assert Polygon(arrow).is_valid
        assert Polygon(arrow).area == pytest.approx(shaft_area + (u - x) * (v - head[0][1]) / 2.0)
        assert y > drawn[3]
    labels = [shape for shape in shapes if isinstance(shape, TextLine) and shape.text.endswith(" mm")]
    blocks = [shape for shape in shapes if isinstance(shape, Path) and shape.closed and len(shape.points) == 4]
    assert len(blocks) == 2 * len(labels)
    for label in labels:
        (x, y, u, v), (s, t, right, low) = sorted(bounds(block.points) for block in blocks)
        assert (right - x) * scale == pytest.approx(float(label.text.removesuffix(" mm")))
        assert (u, y, v) == pytest.approx((s, t, low))
        assert u - x == pytest.approx(right - s)
        for block in blocks:
            assert Polygon(block.points).area == pytest.approx((u - x) * (v - y))
            assert block.width == pytest.approx(0.15 * unit)
        assert y > drawn[3]
        assert {blocks[0].fill, blocks[1].fill} == {0.0, 1.0}
        # the label follows the bar, and the arrow follows the label
        assert right + CLOSE < label.box[0] < right + 2.0 * unit
        assert label.box[1] < (y + v) / 2.0 < label.box[3]
        assert label.box[2] < bounds(min(solid))[0]


def check_counts(mapped, shapes, drawn, scale, unit):
    """A column's or row's number is in the middle of its cells, above or at the left of the drawer."""
    lattice = mapped.drawer.lattice
    counted = [shape for shape in shapes if isinstance(shape, TextLine) and shape.size == pytest.approx(1.8 * unit)]
    steps = set()
    for axis in (0, 1):
        own = [text for text in counted if (text.box[3] < drawn[1] if axis == 0 else text.box[2] < drawn[0])]
        for text in own:
            x, y, u, v = text.box
            assert (drawn[1] - v if axis == 0 else drawn[0] - u) > 0.3 * unit
            middle = (int(text.text) + 0.5) * lattice.pitch + lattice.origin[axis]
            on_sheet = drawn[0] + middle / scale if axis == 0 else drawn[3] - middle / scale
            assert ((x + u) / 2.0 if axis == 0 else (y + v) / 2.0) == pytest.approx(on_sheet)
        numbers = sorted(int(text.text) for text in own)
        assert not numbers or numbers[0] == 0
        assert not numbers or numbers[-1] < lattice.span[axis] / 2.0
        steps |= {b - a for a, b in pairwise(numbers)}
    assert len(steps) <= 1
    step = steps.pop() if steps else 1
    # numbers stand as close as they may: every one, or every one that is 4.5 units or more from the next
    assert step == 1 or step * lattice.pitch / scale >= 4.5 * unit
    assert step in {1, 2, 5, 10, 20, 50}


@settings(max_examples=25, deadline=None)
@given(
    st.floats(60.0, 700.0).map(lambda side: round(side, 1)), st.floats(60.0, 500.0).map(lambda side: round(side, 1)),
    st.sampled_from([1.0, 2.0, 5.0]), st.sampled_from([1.0, 1.5]), st.booleans(),
)  # fmt: skip
def test_dimensions_measure_the_drawer(wide, deep, scale, unit, halves):
    try:
        mapped = mapped_drawer(wide, deep, grid={"half_cells": halves})
    except LayoutError:
        assume(False)  # noqa: FBT003 - no grid fits
    assume(wide / scale >= 45.0 * unit)
    assume(deep / scale >= 20.0 * unit)
    check_lines(mapped, scale, unit)
    check_numbers(mapped, scale, unit)
    shapes, drawn = placed(mapped, scale, unit)
    check_front(shapes, drawn, scale, unit)
    check_counts(mapped, shapes, drawn, scale, unit)


@settings(max_examples=6, deadline=None)
@given(st.integers(60, 360), st.integers(60, 240) | st.none(), st.sampled_from([1.0, 2.0]))
def test_dimensions_measure_from_panel_to_panel(at, other, scale):
    panels = [{"along": "y", "at": at}, *([] if other is None else [{"along": "x", "at": other}])]
    mapped = MappedDrawer(panel_plan(*panels, bed=(500, 500, 200)), 0)
    check_lines(mapped, scale, 1.0)
    check_numbers(mapped, scale, 1.0)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_margin_that_is_too_narrow_for_its_number_has_it_outside(side):
    """The number of a margin of some millimetres stands beside the stroke, on the side away from the cells."""
    mapped = mapped_drawer(310.0, 220.0)
    margin = mapped.edges[0 if side == "left" else 2]
    assert margin > 0.0
    shapes, drawn = placed(mapped, 5.0, 1.0)
    texts = [shape for shape in shapes if isinstance(shape, TextLine) and not shape.turned]
    (cells,) = [text for text in texts if text.text.startswith("cells ")]
    margins = [text.box for text in texts if text.at[1] == pytest.approx(cells.at[1]) and text is not cells]
    assert any(box[2] < drawn[0] if side == "left" else box[0] > drawn[2] for box in margins)
