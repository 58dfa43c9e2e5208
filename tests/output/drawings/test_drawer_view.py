"""Views of a drawer, measured on the sheet: parts to scale in their places, marks on them, arrows, hatching, seams."""

import re
from dataclasses import replace
from itertools import combinations, pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.affinity import affine_transform
from shapely.geometry import LineString, Polygon, box

from tests.layout.items.test_jointed_trays import LADLE, TONGS, WHISK, plan_of
from tests.layout.panels.jobs import panel_plan
from worker.layout.planner import lay_out
from worker.output.drawings.drawer_view import HEAD, draw_view
from worker.output.drawings.mapped_drawer import MappedDrawer
from worker.output.drawings.sheet import LEAST, Path, Sheet, TextLine
from worker.spec.errors import LayoutError
from worker.spec.reading.loader import load

CLOSE = 1e-6
FRAME = (13.0, 7.0, 900.0)


class Drawn:
    """A view drawn at a scale, and the way from the drawer's frame to the sheet."""

    def __init__(self, mapped, view, scale=2.0, unit=1.0):
        self.mapped, self.scale, self.unit = mapped, scale, unit
        sheet = Sheet(2000.0, 2000.0, "t", "d")
        draw_view(sheet, mapped, FRAME, view, scale=scale, unit=unit)
        self.paths = [shape for shape in sheet.shapes if isinstance(shape, Path)]
        self.texts = [shape for shape in sheet.shapes if isinstance(shape, TextLine)]
        wide, deep = mapped.extent
        middle = FRAME[0] + FRAME[2] / 2.0
        # the drawer in the middle of its frame, y downwards
        low = FRAME[1] + HEAD * unit + deep / scale
        self._matrix = [1.0 / scale, 0.0, 0.0, -1.0 / scale, middle - wide / scale / 2.0, low]

    def on_sheet(self, area):
        return affine_transform(area, self._matrix)

    def point(self, x, y):
        return x / self.scale + self._matrix[4], -y / self.scale + self._matrix[5]

    def marks(self, mark):
        return [box(*text.box) for text in self.texts if text.text == mark]


def planned(trays=(), wide=300, deep=220, high=90, **fields):
    drawer = {"name": "top", "width": wide, "depth": deep, "height": high, "trays": list(trays), **fields}
    spec = {"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [250, 250, 250]}, "coupon": False}
    return MappedDrawer(lay_out(load(spec)), 0)


@settings(max_examples=15, deadline=None)
@given(
    st.floats(90.0, 500.0).map(lambda side: round(side, 1)), st.floats(90.0, 500.0).map(lambda side: round(side, 1)),
    st.sampled_from([1.0, 2.5, 4.0]), st.sampled_from([1.0, 1.6]),
)  # fmt: skip
def test_the_outline_and_each_tile_lie_in_the_middle_of_the_frame_to_scale(wide, deep, scale, unit):
    try:
        mapped = planned(wide=wide, deep=deep)
    except LayoutError:
        assume(False)  # noqa: FBT003 - no grid fits
    drawn = Drawn(mapped, "floor", scale, unit)
    closed = [Polygon(path.points) for path in drawn.paths if path.closed and path.stroke is not None]
    outline = drawn.on_sheet(Polygon(mapped.drawer.outline[0]))
    assert any(area.symmetric_difference(outline).area < CLOSE for area in closed)
    for tile in mapped.floor:
        own = drawn.on_sheet(Polygon(tile.outline))
        assert any(area.symmetric_difference(own).area < CLOSE for area in closed)
        if tile.part.kind == "tile":
            # its mark is in the middle of its sides, on white of its own size
            marks = [mark for mark in drawn.marks(tile.place.mark) if own.contains(mark)]
            assert any(mark.centroid.distance(box(*own.bounds).centroid) < CLOSE for mark in marks)
            white = [Polygon(path.points) for path in drawn.paths if path.fill == 1.0 and path.stroke is None]
            assert all(any(mark.symmetric_difference(area).area < CLOSE for area in white) for mark in marks)
    usable = next(text.text for text in drawn.texts if "usable" in text.text)
    numbers = [float(number) for number in re.search(r"usable ([\d.]+) x ([\d.]+)", usable).groups()]
    assert numbers == pytest.approx(mapped.extent, abs=0.05 + CLOSE)
    assert usable.endswith(f"1:{scale:g}")


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(10, 240), st.integers(10, 190)), max_size=4), st.sampled_from([1.0, 4.0]))
def test_the_mark_of_each_tile_lies_on_it_clear_of_obstacles(spots, scale):
    posts = [{"name": f"post {n}", "at": list(at), "size": [38, 22]} for n, at in enumerate(spots)]
    assume(all(not box(*a, a[0] + 38, a[1] + 22).intersects(box(*b, b[0] + 38, b[1] + 22))
               for a, b in combinations(spots, 2)))  # fmt: skip
    try:
        mapped = planned(obstacles=posts)
    except LayoutError:
        assume(False)  # noqa: FBT003 - nothing is left
    drawn = Drawn(mapped, "floor", scale)
    blocked = union_all([Polygon(hole) for hole in mapped.drawer.outline[1:]])
    for tile in mapped.floor:
        if tile.part.kind != "tile":
            continue
        area = drawn.on_sheet(Polygon(tile.outline).buffer(0.0).difference(blocked))
        inside = [mark for mark in drawn.marks(tile.place.mark) if area.buffer(CLOSE).contains(mark)]
        # a tile that is a strip of some millimetres may have no room for a mark
        left, front, right, back = area.bounds
        cells = [drawn.on_sheet(box(*cell)) for cell in mapped.cells]
        assert inside or not any(area.contains(cell) for cell in cells) or min(right - left, back - front) < 5.0
        if not posts:
            assert inside
            assert inside[0].centroid.distance(box(*area.bounds).centroid) < CLOSE


ACROSS = {"along": "x", "at": 150, "height": 60}
DEEP = {"along": "y", "at": 200, "height": 60}


@settings(max_examples=5, deadline=None)
@given(
    st.integers(80, 220), st.integers(120, 300), st.sampled_from([None, 100, 200]), st.sampled_from([1.0, 2.0, 3.0]),
    st.sampled_from([1.0, 1.5]),
)  # fmt: skip
def test_marks_of_panels_lie_on_them_and_those_of_shoes_and_clips_beside_what_they_name(at, along, start, scale, unit):
    deep = {**DEEP, "at": along, **({} if start is None else {"start": at})}
    mapped = MappedDrawer(panel_plan({**ACROSS, "at": at}, deep), 0)
    drawn = Drawn(mapped, 0, scale, unit)
    strips = [part for part in mapped.panels if part.part.kind == "panel"]
    for strip in strips:
        own = drawn.on_sheet(strip.box)
        assert any(mark.centroid.distance(own.centroid) < CLOSE for mark in drawn.marks(strip.place.mark))
    assert {part.part.kind for part in mapped.panels} >= {"panel", "shoe", "clip"}
    for part in mapped.panels:
        if part.part.kind == "panel":
            continue
        own, marks = drawn.on_sheet(part.box), drawn.marks(part.place.mark)
        lines = [drawn.on_sheet(strip.box) for strip in strips]
        (mark,) = sorted(marks, key=own.distance)[:1]
        assert mark.distance(own) < 4.0 * unit
        if part.part.kind == "shoe":
            # past the shoe's inner end, in the middle of its panel
            assert mark.intersection(own).area < CLOSE
            assert mark.distance(own) >= 0.5 * unit
            assert mark.distance(own) < 2.0 * unit
            holding = min(lines, key=own.distance)
            left, top, right, low = holding.bounds
            lying = right - left > low - top
            axis = 1 if lying else 0
            assert mark.centroid.coords[0][axis] == pytest.approx(own.centroid.coords[0][axis])
            side = drawn.on_sheet(box(0.0, 0.0, *mapped.extent)).centroid.coords[0]
            nearer = [area.centroid.coords[0][1 - axis] for area in (own, mark)]
            assert abs(nearer[1] - side[1 - axis]) < abs(nearer[0] - side[1 - axis])
        else:
            # beside the strips that the clip holds, on the clip's own cross-axis
            assert all(mark.intersection(line).area < CLOSE for line in lines if line.intersects(own))
            offset = [abs(a - b) for a, b in zip(mark.centroid.coords[0], own.centroid.coords[0], strict=True)]
            assert min(offset) < CLOSE


def test_the_triangle_of_a_turned_tray_points_to_the_front_that_it_has_when_it_is_not_turned():
    """Turned counter-clockwise by 90 degrees, what was in front is at the right; and so on."""
    sides = {90: (1.0, 0.5), 180: (0.5, 1.0), 270: (0.0, 0.5)}
    for turn, (x, y) in sides.items():
        plan = planned([{"name": "t", "cells": [3, 2], "height": 30, "at": [0, 0]}]).plan
        (drawer,) = plan.drawers
        placements = tuple(
            replace(place, turn=turn) if place.cell is not None else place for place in drawer.placements
        )
        mapped = MappedDrawer(replace(plan, drawers=(replace(drawer, placements=placements),)), 0)
        drawn = Drawn(mapped, 0)
        ((tray,),) = mapped.stacks
        assert tray.place.turn == turn
        (arrow,) = [Polygon(path.points) for path in drawn.paths if path.closed and len(path.points) == 3]
        left, front, right, back = tray.box.bounds
        tip = drawn.point(left + x * (right - left), front + y * (back - front))
        corners = list(arrow.exterior.coords)[:-1]
        assert min(abs(u - tip[0]) + abs(v - tip[1]) for u, v in corners) < CLOSE
        (base_a, base_b) = [c for c in corners if abs(c[0] - tip[0]) + abs(c[1] - tip[1]) > CLOSE]
        middle = ((base_a[0] + base_b[0]) / 2.0, (base_a[1] + base_b[1]) / 2.0)
        # isosceles, as high as it is wide, and inside the tray
        height, width = LineString([tip, middle]).length, LineString([base_a, base_b]).length
        assert height == pytest.approx(width)
        assert height == pytest.approx(4.0)
        away = [abs(a - b) for a, b in zip(middle, tip, strict=True)]
        assert min(away) < CLOSE
        assert drawn.on_sheet(tray.box).buffer(CLOSE).contains(arrow)


@pytest.mark.parametrize("things", [[WHISK], [WHISK, LADLE, TONGS]])
def test_pieces_of_a_tray_show_what_the_whole_tray_has_and_seams_between_them(things):
    mapped = MappedDrawer(plan_of(*things), 0)
    drawn = Drawn(mapped, 0, 1.0)
    (jointed,) = mapped.drawer.jointed
    pieces = [part for stack in mapped.stacks for part in stack if part.index in jointed.pieces]
    whole = pieces[0].part.shape.tray
    # the tray begins at its first piece's corner, whatever that piece's tabs
    (first,) = [piece for piece in pieces if piece.part.shape.corner == (0.0, 0.0)]
    assert first.place.turn == 0
    x, y = first.place.at[:2]
    walls = []
    for wall in whole.walls:
        low, high = wall.at - wall.thickness / 2.0, wall.at + wall.thickness / 2.0
        ends = wall.span or (0.0, 1000.0)
        walls.append(box(low, ends[0], high, ends[1]) if wall.axis == "x" else box(ends[0], low, ends[1], high))
    inner = union_all([piece.box for piece in pieces])
    expected = drawn.on_sheet(union_all([affine_transform(w, [1, 0, 0, 1, x, y]) for w in walls]).intersection(inner))
    shown = union_all([Polygon(path.points) for path in drawn.paths if path.closed and path.fill == 0.82])
    assert not walls or not expected.is_empty
    rim = drawn.on_sheet(inner).boundary.buffer(whole.wall + CLOSE)
    assert shown.symmetric_difference(expected).difference(rim).area < 1e-3
    seams = [path for path in drawn.paths if path.width == pytest.approx(1.0) and path.dash]
    assert len(seams) == sum(p.part.shape.left is not None for p in pieces) + sum(
        p.part.shape.front is not None for p in pieces
    )
    for seam in seams:
        line = LineString(seam.points)
        # between two pieces, over the whole side of one of them
        touching = [piece for piece in pieces if drawn.on_sheet(piece.box).distance(line) < 0.5]
        assert len(touching) == 2
        sides = [LineString(pair) for piece in touching
                 for pair in pairwise(drawn.on_sheet(piece.box).exterior.coords)]  # fmt: skip
        assert any(side.equals(line) for side in sides)


def test_each_tray_of_a_stack_is_a_dashed_outline_within_that_below_with_a_hatched_back_right_corner():
    boxes = [
        {"name": name, "shape": {"kind": "box", "size": [60, 60, high]}, "access": "rarely", "storage": "rows",
         "mass": high}
        for name, high in (("light", 12), ("heavy", 14), ("plate", 16))
    ]  # fmt: skip
    spec = {"width": 90, "depth": 92, "height": 90, "items": boxes, "name": "stack"}
    mapped = MappedDrawer(
        lay_out(load({"spec": "1", "name": "x", "drawers": [spec], "printer": {"bed": [256, 256, 256]}})), 0
    )
    (stack,) = [stack for stack in mapped.stacks if len(stack) > 1]
    for scale, unit in ((1.0, 1.0), (2.5, 1.0), (1.0, 1.5)):
        drawn = Drawn(mapped, 0, scale, unit)
        lowest = drawn.on_sheet(stack[0].box)
        dashed = [Polygon(path.points) for path in drawn.paths
                  if path.closed and path.dash == (1.2 * unit, 0.8 * unit)]  # fmt: skip
        assert len(dashed) == len(stack) - 1
        for outer, inner in pairwise([lowest, *sorted(dashed, key=lambda area: -area.area)]):
            assert outer.contains(inner)
            assert outer.centroid.distance(inner.centroid) < CLOSE
            assert inner.exterior.distance(outer.exterior) == pytest.approx(0.8 * unit)
        strokes = [LineString(path.points) for path in drawn.paths if not path.closed
                   and path.width == pytest.approx(0.2 * unit) and len(path.points) == 2]  # fmt: skip
        left, top, right, low = lowest.bounds
        back = LineString([(left, top), (right, top)])
        side = LineString([(right, top), (right, low)])
        distinct = {tuple(sorted(line.coords)) for line in strokes}
        reaches = []
        for ends in distinct:
            (u, v), (s, t) = ends
            # from the back edge to the right edge at 45 degrees
            assert back.distance(LineString([(u, v), (u, v + CLOSE)])) < CLOSE
            assert side.distance(LineString([(s, t), (s + CLOSE, t)])) < CLOSE
            assert s - u == pytest.approx(t - v)
            reaches.append(s - u)
        steps = [b - a for a, b in pairwise(sorted(reaches))]
        assert len(reaches) >= 4
        assert max(steps) == pytest.approx(min(steps))
        assert min(reaches) >= min(steps)
        assert max(reaches) == pytest.approx(min(5.0 * unit, (right - left) / 3.0, (low - top) / 3.0))


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 4), st.integers(1, 3), st.sampled_from(["pen", "a rather long name"])),
             min_size=1, max_size=5),
    st.sampled_from([1.0, 2.0, 5.0]),
)  # fmt: skip
def test_the_words_of_each_tray_lie_in_the_middle_of_it(sizes, scale):
    trays = [{"name": name, "cells": [x, y], "height": 30} for x, y, name in sizes]
    try:
        mapped = planned(trays, wide=400, deep=320)
    except LayoutError:
        assume(False)  # noqa: FBT003 - they do not all fit
    drawn = Drawn(mapped, 0, scale)
    for (tray,) in mapped.stacks:
        area = drawn.on_sheet(tray.box)
        texts = [text for text in drawn.texts if area.contains(box(*text.box))]
        assert texts[0].text == tray.place.mark
        assert texts[0].bold
        written = union_all([box(*text.box) for text in texts])
        left, top, right, low = written.bounds
        x, y = area.centroid.coords[0]
        assert ((left + right) / 2.0, (top + low) / 2.0) == pytest.approx((x, y))
        assert min(text.size for text in texts) >= LEAST - CLOSE
        # the mark is the largest, and nothing lies over anything
        assert texts[0].size == max(text.size for text in texts)
        assert sum(box(*text.box).area for text in texts) == pytest.approx(written.area)
        name = " ".join(text.text for text in texts[1:])
        assert tray.place.name.startswith(name.rstrip("\u2026").strip())
        if scale == 1.0:
            assert name == tray.place.name


def test_layers_are_named_and_what_carries_them_is_drawn_below_them():
    low = [{"name": f"low {n}", "cells": [2, 1], "height": 20, "at": [2 * n, 0]} for n in (0, 1)]
    middle = [{"name": "middle", "cells": [4, 1], "height": 20, "on": ["low 0", "low 1"]}]
    mapped = planned([*low, *middle], wide=180, deep=92)
    assert [len(layer) for layer in mapped.layers] == [2, 1]
    first = Drawn(mapped, 1).texts[0].text
    assert first == "top: upper trays"
    assert Drawn(mapped, 0).texts[0].text == "top: trays"
    assert Drawn(mapped, "floor").texts[0].text == "top: floor"
    drawn = Drawn(mapped, 1)
    filled = [Polygon(path.points) for path in drawn.paths if path.closed and path.fill is not None]
    for (tray,) in mapped.layers[0]:
        own = drawn.on_sheet(Polygon(tray.outline))
        assert any(area.symmetric_difference(own).area < CLOSE for area in filled)


def test_lanes_have_their_name_and_contents_within_them():
    mapped = MappedDrawer(panel_plan(ACROSS, {**DEEP, "start": 150}), 0)
    drawn = Drawn(mapped, 0, 1.0)
    assert len(mapped.drawer.lanes) == 3
    for lane in mapped.drawer.lanes:
        (x, y), (wide, deep) = lane.at, lane.size
        area = drawn.on_sheet(box(x, y, x + wide, y + deep))
        (name,) = drawn.marks(lane.name)
        assert area.contains(name)
        (free,) = [box(*text.box) for text in drawn.texts if text.text == "free" and area.contains(box(*text.box))]
        assert free.centroid.x == pytest.approx(area.centroid.x)
