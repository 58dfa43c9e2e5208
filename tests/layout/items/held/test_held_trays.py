"""What trays of the list hold: where it lies, checked without the code that puts it there, and what does not fit."""

import itertools
import re
from collections import Counter
from math import hypot

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from tests.layout.items.test_item_trays import box, item, job
from tests.layout.storage.apart import clashes, widest_gap
from tests.layout.storage.leaning import UNSTEADY, leaning, wall_boxes
from tests.layout.storage.things import shapes
from worker.layout.items.filling import drawer_stock
from worker.layout.items.held.held_trays import fill_tray, held_things
from worker.layout.planner import lay_out
from worker.layout.storage.reach import FINGER_GAP, LEAST_GRIP
from worker.layout.storage.sizing_rules import AIR, FRAME_AIR
from worker.layout.storage.tray_option import Bulk
from worker.layout.tray.tray_builder import tray_shape
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.tray import Tray
from worker.spec.errors import LayoutError, TrayError

_modest = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
_SLACK = 2e-3  # coordinates are rounded to a micrometre, twice

_CYLINDER = {"kind": "cylinder", "diameter": 36, "length": 60}
_PEN = {"kind": "cylinder", "diameter": 9, "length": 145}


def made(spec, index=0):
    """Return a tray of the first drawer as it is made."""
    tray = spec.drawers[0].trays[index]
    line = spec.line_width_of("tray")
    return tray_shape(
        tray, joint=spec.joint(), pitch=spec.grid.pitch, line_width=line, half_feet=False, pointer=""
    )  # fmt: skip


def filled(spec):
    """Return what the first tray holds, and its shape with the stops of that."""
    first = spec.drawers[0]
    held = fill_tray(spec, 0, first.trays[0], held_things(spec)[0][0, 0], made(spec), first.height)
    drawer = first.model_copy(update={"trays": (held.tray,)})
    return held, made(spec.model_copy(update={"drawers": (drawer,)}))


def contents(held):
    """Yield the compartment of each lot or heap, and the boxes in it: least and largest corners."""
    for part in held.filled:
        names = [holding.item.name for holding in part.holdings]
        for content, _ in part.lying.filled(names, held.ground, stop=part.stop):
            if isinstance(content, Bulk):
                boxes = [(content.at, tuple(a + b for a, b in zip(content.at, content.size, strict=True)))]
            else:
                boxes = [
                    (thing.at, tuple(a + b for a, b in zip(thing.at, thing.pose.size, strict=True)))
                    for thing in content.things()
                ]
            yield part.lying.compartment, content, boxes


def blocked(shape):
    """Yield the rectangles of the tray's inside that its walls, ledge and dividers take, with the air about them."""
    wide, deep = (halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves)
    wall = shape.wall
    yield -100.0, -100.0, wide + 100.0, wall
    yield -100.0, deep - wall - (shape.ledge.depth if shape.ledge else 0.0), wide + 100.0, deep + 100.0
    yield -100.0, -100.0, wall, deep + 100.0
    yield wide - wall, -100.0, wide + 100.0, deep + 100.0
    for inner in shape.walls:
        low, high = inner.at - inner.thickness / 2.0, inner.at + inner.thickness / 2.0
        start, end = inner.span or (0.0, deep if inner.axis == "x" else wide)
        yield (low, start, high, end) if inner.axis == "x" else (start, low, end, high)


_storages = st.sampled_from([None, None, "rows", "upright", "loose"])


def _parted(at, *spans):
    """Return a divider from left to right, and others from it to the back or the front."""
    return {"dividers": [{"axis": "y", "at": at}, *({"axis": "x", "at": x, "span": span} for x, span in spans)]}


_divided = [
    ((1, 1), {}),
    ((2, 1), {"compartments": [2, 1]}),
    ((1, 2), {"compartments": [1, 2]}),
    ((3, 1), {"compartments": [3, 1]}),
    ((2, 2), {"compartments": [2, 2]}),
    ((2, 2), _parted(25.0, (18.0, [0, 25]))),
    ((2, 2), {"dividers": [{"axis": "x", "at": 17.0, "height": 6}, {"axis": "y", "at": 20.0, "span": [0, 17]}]}),
    ((3, 2), _parted(30.0, (12.0, [0, 30]), (24.0, [0, 30]))),
]


@st.composite
def specs(draw):
    """Draw a job with one tray that is to hold one to four kinds of things in its compartments."""
    grid, dividers = draw(st.sampled_from(_divided))
    kinds = draw(st.lists(shapes, min_size=1, max_size=4))
    items = [
        item(f"k{n}", shape, count=draw(st.integers(1, 40)), storage=draw(_storages)) for n, shape in enumerate(kinds)
    ]
    hold = [
        {"item": f"k{n}", "compartment": [draw(st.integers(0, grid[0] - 1)), draw(st.integers(0, grid[1] - 1))]}
        for n in range(len(kinds))
    ]
    wall = draw(st.sampled_from([1.2, 1.2, 2.0]))
    tray = {
        "name": "tray",
        "cells": draw(st.tuples(st.integers(1, 5), st.integers(1, 5))),
        "height": draw(st.integers(14, 68)),
        "rim": draw(st.sampled_from(["straight", "straight", "stacking"])),
        **dividers,
        "wall": wall,
        "finger_ramp": draw(st.sampled_from([False, False, True])),
        "label_ledge": draw(st.sampled_from([False, False, True])),
        "hold": hold,
    }
    return job(*items, trays=[tray])


def _made_and_filled(spec):
    """Return what the first tray holds, and its shape; a tray that cannot be made is no example."""
    try:
        made(spec)
    except TrayError:
        reject()
    return filled(spec)


@_modest
@given(specs())
def test_what_is_held_lies_in_its_compartment_clear_of_all_and_can_be_taken(spec):
    held, shape = _made_and_filled(spec)
    tray = spec.drawers[0].trays[0]
    limit = spec.drawers[0].height - FRAME_AIR
    walls = list(blocked(shape))
    every = list(contents(held))
    for compartment, content, boxes in every:
        for low, high in boxes:
            for left, front, right, back in walls:
                apart = max(left - high[0], low[0] - right, front - high[1], low[1] - back)
                assert apart >= AIR - _SLACK
            if shape.ramp and not isinstance(content, Bulk) and compartment.place[1] == 0:
                assert low[1] >= shape.wall + shape.ramp.radius + AIR - _SLACK
            assert all(compartment.at[a] < low[a] < high[a] < compartment.at[a] + compartment.size[a] for a in (0, 1))
            assert shape.floor_top - _SLACK <= low[2] < high[2] <= limit + _SLACK
            if tray.rim == "stacking":
                assert high[2] <= tray.height - spec.joint().nesting_depth + _SLACK
            _clear_of_corners(spec, shape, content, low, high)
        assert content.count <= content.capacity
        if shape.ramp and isinstance(content, Bulk) and compartment.place[1] == 0:
            room = content.size[0] * content.size[1] * content.size[2]
            lost = (1.0 - 3.141592653589793 / 4.0) * shape.ramp.radius**2 * content.size[0]
            assert room - lost >= 0.0
        beside = [b for room, other, more in every if room == compartment and other is not content for b in more]
        room = [(low, low + size) for low, size in zip(compartment.at, compartment.size, strict=True)]
        assert _reached(content, boxes, beside, room, tray.height)
    things = {thing.name: thing.model_copy(update={"shape": thing.plain}) for thing in spec.drawers[0].items}
    for _, content, _ in every:
        assert isinstance(content, Bulk) or not clashes(things[content.item], list(content.things())[:30], 0.0)
    for first, other in (
        pair
        for (_, _, left), (_, _, right) in itertools.combinations(every, 2)
        for pair in itertools.product(left[:30], right[:30])
    ):
        gaps = [max(first[0][a], other[0][a]) - min(first[1][a], other[1][a]) for a in range(3)]
        assert max(gaps) >= -_SLACK
    for holding in held_things(spec)[0][0, 0]:
        there = sum(content.count for _, content, _ in every if content.item == holding.item.name)
        lack = sum(entry.count for entry in held.unplaced if entry.pointer == holding.pointer)
        assert there + lack == holding.item.count


@st.composite
def standing(draw):
    """Draw a job with one tray, in a compartment of which things are to stand unsteadily."""
    form, count = draw(st.sampled_from(UNSTEADY)), draw(st.integers(1, 15))
    grid, dividers = draw(st.sampled_from(_divided))
    tray = {
        "name": "tray",
        "cells": draw(st.tuples(st.integers(1, 5), st.integers(1, 5))),
        "height": 48,
        "finger_ramp": False,
        **draw(st.sampled_from([{}, {"rim": "straight"}, {"rim": "straight", "label_ledge": True}])),
        **dividers,
        "hold": [{"item": "rods", "compartment": [draw(st.integers(0, lines - 1)) for lines in grid]}],
    }
    return job(item("rods", form, count=count, storage="upright", label=True), trays=[tray], height=110.0)


@_modest
@given(standing())
def test_what_stands_unsteadily_in_a_tray_of_the_list_cannot_topple(spec):
    held, shape = _made_and_filled(spec)
    assert Tray.model_validate(held.tray.model_dump()) == held.tray
    grid = spec.drawers[0].trays[0].grid
    for compartment, _, boxes in contents(held):
        at_back = compartment.place[1] + compartment.reach[1] == grid[1]
        if not (shape.ledge and at_back and grid != (1, 1)):  # a stop there would part a label
            assert not leaning(boxes, wall_boxes(shape), shape.wall)


@st.composite
def standing_together(draw):
    """Draw a job with one tray, in a compartment of which things of several kinds are to stand unsteadily."""
    forms = draw(st.lists(st.sampled_from(UNSTEADY), min_size=2, max_size=3))
    names = [f"rods {number}" for number in range(len(forms))]
    things = [
        item(name, form, count=draw(st.integers(1, 9)), storage="upright")
        for name, form in zip(names, forms, strict=True)
    ]
    grid, dividers = draw(st.sampled_from(_divided))
    compartment = [draw(st.integers(0, lines - 1)) for lines in grid]
    tray = {
        "name": "tray", "cells": draw(st.tuples(st.integers(1, 6), st.integers(1, 6))), "height": 48,
        "rim": draw(st.sampled_from(["straight", "stacking"])), "finger_ramp": False, **dividers,
        "hold": [{"item": name, "compartment": compartment} for name in names],
    }  # fmt: skip
    return job(*things, trays=[tray], height=110.0)


@_modest
@given(standing_together())
def test_kinds_that_stand_unsteadily_in_one_compartment_cannot_topple(spec):
    held, shape = _made_and_filled(spec)
    assert Tray.model_validate(held.tray.model_dump()) == held.tray
    lying = {part.lying.compartment: part.lying for part in held.filled}
    every = list(contents(held))
    for number, (compartment, _, boxes) in enumerate(every):
        spare = lying[compartment].spare if not lying[compartment].divider else 1e3
        beside = [box for k, (_, _, others) in enumerate(every) if k != number for box in others]
        if spare >= (len(lying[compartment].lanes) - 1) * shape.wall:  # dividers between the kinds have room
            assert not leaning(boxes, wall_boxes(shape), shape.wall, beside)


def test_dividers_and_stops_keep_two_kinds_in_one_compartment_from_toppling():
    rods = [item(name, UNSTEADY[2], count=4, storage="upright") for name in ("short rods", "long rods")]
    hold = [{"item": thing["name"]} for thing in rods]
    plan = lay_out(job(*rods, trays=[tray(*hold, cells=[3, 3], height=45)]))
    assert not plan.unplaced
    (part,) = [part for part in plan.parts if part.kind == "tray"]
    lengthways = sorted(wall.at for wall in part.shape.walls if wall.axis == "x")
    behind = [wall for wall in part.shape.walls if wall.axis == "y"]
    # one divider between the kinds, and for each a stop beside its row, and one behind it that ends at both
    assert len(lengthways) == 3
    assert sorted(wall.span for wall in behind) == [(1.2, lengthways[0]), (lengthways[1], lengthways[2])]


@pytest.mark.parametrize(
    ("fields", "stops"),
    [
        ({}, 2),  # behind the row and beside it
        ({"compartments": [2, 1]}, 2),
        ({"label_ledge": True}, 2),
        ({"label_ledge": True, "compartments": [2, 1]}, 0),  # they would part the label
    ],
)
def test_a_row_in_a_tray_of_the_list_has_stops(fields, stops):
    rods = item("rods", UNSTEADY[2], count=4, storage="upright", label="label_ledge" in fields)
    plan = lay_out(job(rods, trays=[tray({"item": "rods"}, cells=[2, 3], height=45, **fields)]))
    assert not plan.unplaced
    (part,) = [part for part in plan.parts if part.kind == "tray"]
    apart = 1 if "compartments" in fields else 0
    assert len(part.shape.walls) == apart + stops
    assert len(part.tray.dividers) == (apart + stops if stops else 0)
    assert [text.text for text in part.shape.letterings if text.face == "ledge"] == ["rods"] * ("label_ledge" in fields)


def test_things_that_all_lie_loose_have_the_ramp_of_trays_that_are_laid_out():
    nuts = item("nuts", {"kind": "standard", "id": "nut-m5"}, count=120)
    pens = item("pens", _PEN, count=2)
    beside = {"item": "pens", "compartment": [1, 0]}
    for hold, ramped in (([{"item": "nuts"}], True), ([{"item": "nuts"}, beside], False)):
        plan = lay_out(job(nuts, pens, trays=[tray(*hold, cells=[4, 4], compartments=[2, 1])]))
        (part,) = [part for part in plan.parts if part.kind == "tray" and part.tray.name == "tray"]
        assert (part.shape.ramp is not None) == ramped
        assert part.tray.finger_ramp.rows == ("front" if ramped else "none")


def _clear_of_corners(spec, shape, content, low, high):
    """Assert that a box, or a standing cylinder, keeps its air from the tray's round inner corners."""
    radius = CORNER_RADIUS - spec.joint().body_inset - shape.wall
    round_ = 0.0 if isinstance(content, Bulk) else content.pose.round_radius
    sides = [halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves]
    dx, dy = (
        max(shape.wall + radius - low[a] - round_, high[a] - round_ - sides[a] + shape.wall + radius) for a in (0, 1)
    )
    if dx > 0.0 and dy > 0.0:
        assert hypot(dx, dy) + round_ <= radius - AIR + 0.02


def _reached(content, boxes, beside, room, wall_top):
    """Whether the top things stick out by a grip or have a gap of a finger's breadth beside them."""
    if isinstance(content, Bulk):
        return min(content.size[:2]) >= 20.0
    top = max(high[2] for _, high in boxes)
    rod = content.pose.form == "cylinder" and content.pose.axis != "z"
    grip = min(LEAST_GRIP, 0.4 * content.pose.size[2]) if rod else LEAST_GRIP
    if top - wall_top >= grip - 0.3:
        return True
    every = [b for b in (*boxes, *beside) if b[1][2] >= top - content.pose.size[2] + _SLACK]
    gaps = []
    for low, high in (b for b in boxes if b[1][2] >= top - _SLACK):
        for axis, (begin, end) in enumerate(room):
            # only what overlaps across the axis is in the finger's way
            others = [b for b in every if b[0][1 - axis] < high[1 - axis] and b[1][1 - axis] > low[1 - axis]]
            gaps.append(low[axis] - max((b[1][axis] for b in others if b[1][axis] <= low[axis]), default=begin))
            gaps.append(min((b[0][axis] for b in others if b[0][axis] >= high[axis]), default=end) - high[axis])
    return max(*gaps, widest_gap(content.things())) >= FINGER_GAP - _SLACK


@_modest
@given(specs())
def test_every_remedy_for_a_tray_works(spec):
    held, _ = _made_and_filled(spec)
    tray = spec.drawers[0].trays[0]
    for lack in held.unplaced:
        assert lack.reason
        assert lack.remedy
        height = re.fullmatch(r"Make the tray ([\d.]+) mm high\.", lack.remedy)
        if height is None or float(height[1]) > 68.0 or len(held.unplaced) > 1:
            continue
        higher = tray.model_copy(update={"height": float(height[1])})
        drawer = spec.drawers[0].model_copy(update={"trays": (higher,)})
        again = spec.model_copy(update={"drawers": (drawer, *spec.drawers[1:])})
        try:
            assert lack.pointer not in {entry.pointer for entry in filled(again)[0].unplaced}
        except TrayError:  # too low for its ledge or ramp
            continue


_kinds = st.lists(
    st.builds(
        lambda shape, **fields: {"shape": shape, **fields},
        shapes,
        count=st.integers(1, 20),
        group=st.sampled_from(["a", "b"]),
        label=st.booleans(),
    ),
    min_size=1,
    max_size=6,
).map(lambda kinds: [{"name": f"kind {k}", **kind} for k, kind in enumerate(kinds)])


@settings(max_examples=15, deadline=None)
@given(_kinds)
def test_what_the_search_lays_out_can_be_said_by_hand(kinds):
    """An automatic layout, written down as trays that hold things, is held by the same rules."""
    spec = job(*kinds)
    plan = lay_out(spec)
    parts = {part.mark: part for part in plan.parts}
    drawer = plan.drawers[0]
    trays = []
    for index, place in enumerate(drawer.placements):
        inside = [entry for entry in drawer.contents if entry.placement == index]
        if place.cell is None or place.at[2] or not inside or parts[place.mark].tray.pockets:
            continue
        part = parts[place.mark]
        hold = [
            {"item": entry.item, "count": entry.count, "compartment": _compartment(part, place, entry)}
            for entry in inside
        ]
        if len({tuple(entry["compartment"]) for entry in hold}) != part.tray.grid[0] * part.tray.grid[1]:
            continue  # a file with stops lies in several
        trays.append({**part.tray.model_dump(mode="json"), "at": place.cell, "name": f"t{index}", "hold": hold})
    counts = Counter()
    for entry in (entry for tray in trays for entry in tray["hold"]):
        counts[entry["item"]] += entry["count"]
    held = [{**kind, "count": counts[kind["name"]]} for kind in kinds if counts[kind["name"]]]
    by_hand = lay_out(job(*held, trays=trays))
    assert not by_hand.unplaced
    assert {(c.item, c.count) for c in by_hand.drawers[0].contents} == {
        (entry["item"], entry["count"]) for tray in trays for entry in tray["hold"]
    }
    assert len([p for p in by_hand.drawers[0].placements if p.cell is not None]) == len(trays)


def _compartment(part, place, entry):
    """Return the column and row that the middle of an entry's box is in."""
    steps = []
    for axis, name in enumerate(("x", "y")):
        middle = entry.at[axis] + entry.size[axis] / 2.0 - place.at[axis]
        steps.append(sum(wall.axis == name and wall.at < middle for wall in part.shape.walls))
    return steps


def tray(*hold, **fields):
    return {"name": "tray", "cells": [2, 4], "height": 22, "rim": "straight", "hold": hold, **fields}


def test_held_things_are_in_the_plan_like_all_others():
    spec = job(
        item("pens", _PEN, count=12, label=True), item("cells", count=8), trays=[tray({"item": "pens"}, at=[1, 2])]
    )
    plan = lay_out(spec)
    assert not plan.unplaced
    pens = next(entry for entry in plan.drawers[0].contents if entry.item == "pens")
    place = plan.drawers[0].placements[pens.placement]
    assert (place.name, place.cell) == ("tray", (1.0, 2.0))
    assert (pens.pointer, pens.count, pens.storage, pens.label) == ("/drawers/0/items/0", 12, "rows", "pens")
    assert {entry.item for entry in plan.drawers[0].contents} == {"pens", "cells"}
    assert next(part for part in plan.parts if part.mark == place.mark).tray.hold == ()


def test_what_no_tray_holds_is_placed_by_the_search():
    plan = lay_out(job(item("cells", count=30), trays=[tray({"item": "cells", "count": 5}, at=[0, 0])]))
    assert not plan.unplaced
    counts = sorted(entry.count for entry in plan.drawers[0].contents)
    assert counts == [5, 25]
    assert {entry.pointer for entry in plan.drawers[0].contents} == {"/drawers/0/items/0"}


def test_an_explicit_layout_costs_no_search(monkeypatch):
    searched = []
    real = drawer_stock.search_stages

    def search(pool, *rest, **more):
        searched.extend(pool.stock.items)
        return real(pool, *rest, **more)

    monkeypatch.setattr(drawer_stock, "search_stages", search)
    (entry,) = lay_out(job(item("pens", _PEN, count=12), trays=[tray({"item": "pens"})])).drawers[0].contents
    assert entry.count == 12
    assert not searched


def test_an_item_of_the_job_is_held_in_a_drawer():
    plan = lay_out(job(items_of_job=[item("pens", _PEN, count=12)], trays=[tray({"item": "pens"})]))
    (entry,) = plan.drawers[0].contents
    assert (entry.pointer, entry.count) == ("/items/0", 12)


@pytest.mark.parametrize(
    ("thing", "fields", "reason", "remedy"),
    [
        (box("level", [200, 30, 20]), {}, "is 81 x 165 mm inside, and needs", "Give it a compartment of"),
        (box("tin", [60, 60, 4]), {"height": 60}, "a finger reaches over 28.3", "Make the tray "),
        (item("jars", _CYLINDER, count=2, storage="upright"), {"height": 14}, "and needs", "Make the tray "),
        (item("jars", _CYLINDER, count=2), {"rim": "stacking", "height": 30}, "stand out", "straight rim"),
        (box("tower", [30, 30, 90], storage="upright"), {"height": 40}, "drawer of 98 mm", "A drawer of 98 mm"),
        (item("keys", count=2, storage="pocket"), {}, "has none", "Leave out `storage`"),
        (item("pens", _PEN, count=80), {}, "has room for", "Give it a compartment of"),
    ],
)  # fmt: skip
def test_what_does_not_fit_says_why_and_what_would_help(thing, fields, reason, remedy):
    plan = lay_out(job(thing, trays=[tray({"item": thing["name"]}, **fields)]))
    (lack,) = plan.unplaced
    assert (lack.item, lack.pointer, lack.drawer) == (thing["name"], "/drawers/0/trays/0/hold/0", "top")
    assert lack.reason.startswith(("Compartment [0, 0] of tray 'tray'", "Each is to have a pocket"))
    assert re.search(reason, lack.reason)
    assert lack.remedy.startswith(remedy) or remedy in lack.remedy


def test_a_strict_job_is_refused_where_it_is_held():
    with pytest.raises(LayoutError) as refused:
        lay_out(job(box("level", [200, 30, 20]), trays=[tray({"item": "level"})], strict=True))
    assert refused.value.pointer == "/drawers/0/trays/0/hold/0"


def test_some_of_the_things_are_held_where_not_all_fit():
    plan = lay_out(job(item("pens", _PEN, count=80), trays=[tray({"item": "pens"})]))
    (lack,) = plan.unplaced
    (entry,) = plan.drawers[0].contents
    assert entry.count + lack.count == 80
    assert entry.count > 6


def test_several_kinds_lie_side_by_side_in_one_compartment_but_nothing_loose():
    nuts = item("nuts", {"kind": "standard", "id": "nut-m4"}, count=50)
    tools = [box("pliers", [150, 24, 12]), box("file", [140, 20, 8])]
    plan = lay_out(job(*tools, nuts, trays=[tray({"item": "pliers"}, {"item": "file"}, {"item": "nuts"})]))
    assert [entry.item for entry in plan.drawers[0].contents] == ["pliers", "file"]
    (lack,) = plan.unplaced
    assert lack.item == "nuts"


def test_what_is_near_a_held_thing_stands_beside_its_tray():
    held = tray({"item": "pens"}, at=[3, 2])
    plan = lay_out(job(item("pens", _PEN, count=12), item("cells", count=4, near="pens"), trays=[held]))
    cells = next(entry for entry in plan.drawers[0].contents if entry.item == "cells")
    place = plan.drawers[0].placements[cells.placement]
    assert abs(place.cell[0] - 3.0) <= 2.0


def test_compartments_behind_each_other_are_named_by_column_and_row():
    parted = {"dividers": [{"axis": "y", "at": 60}, {"axis": "x", "at": 60, "span": [60, 123]}]}
    kinds = [box(name, [40, 40, 12]) for name in ("front", "left", "right")]
    places = {"front": [1, 0], "left": [0, 1], "right": [1, 1]}
    hold = [{"item": name, "compartment": place} for name, place in places.items()]
    plan = lay_out(job(*kinds, trays=[tray(*hold, cells=[3, 3], height=24, **parted)]))
    assert not plan.unplaced
    middles = {
        entry.item: [entry.at[axis] + entry.size[axis] / 2.0 for axis in (0, 1)] for entry in plan.drawers[0].contents
    }
    assert middles["left"][0] < middles["front"][0] < middles["right"][0]
    assert middles["front"][1] < min(middles["left"][1], middles["right"][1])


def _labels_on(plan):
    """Return the texts on the parts, with the middle of each across its part."""
    trays = [part.shape for part in plan.parts if part.kind == "tray"]
    return {text.text: text.at[0] for shape in trays for text in shape.letterings if text.face == "ledge"}


def test_every_held_kind_that_asks_for_a_label_has_it_behind_its_compartment():
    nuts = [
        item(name, {"kind": "standard", "id": "nut-m4"}, count=40, label=label)
        for name, label in (("M4", True), ("bare", False), ("locknuts", "M4 lock"))
    ]
    hold = [{"item": kind["name"], "compartment": [k, 0]} for k, kind in enumerate(nuts)]
    fields = {"cells": [3, 2], "height": 30, "compartments": [3, 1], "label_ledge": True}
    plan = lay_out(job(*nuts, trays=[tray(*hold, **fields)]))
    assert not plan.unplaced
    assert not plan.warnings
    labels = _labels_on(plan)
    assert set(labels) == {"M4", "M4 lock"}
    for entry in plan.drawers[0].contents:
        if entry.label is not None:
            middle = entry.at[0] + entry.size[0] / 2.0 - plan.drawers[0].placements[entry.placement].at[0]
            assert labels[entry.label] == pytest.approx(middle, abs=1.0)


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"height": 30}, "has no label ledge"),
        ({"height": 30, "label_ledge": True, "cells": [1, 2]}, "has no room for it"),
    ],
)
def test_a_label_without_a_place_is_warned_of(fields, why):
    nuts = item("nuts", {"kind": "standard", "id": "nut-m4"}, count=20, label="a label far too long for it")
    (warning,) = lay_out(job(nuts, trays=[tray({"item": "nuts"}, **fields)])).warnings
    assert warning.pointer == "/drawers/0/trays/0/hold/0"
    assert why in warning.message


def test_a_tray_keeps_the_labels_that_it_was_given():
    nuts = item("nuts", {"kind": "standard", "id": "nut-m4"}, count=20, label="M4")
    given_labels = {"height": 30, "label_ledge": True, "labels": ["mine"]}
    plan = lay_out(job(nuts, trays=[tray({"item": "nuts"}, **given_labels)]))
    assert set(_labels_on(plan)) == {"mine"}
    assert [warning.pointer for warning in plan.warnings] == ["/drawers/0/trays/0/hold/0"]


def test_a_tray_has_a_ramp_unasked_where_small_things_would_lie_out_of_reach():
    nuts = item("nuts", {"kind": "standard", "id": "nut-m5"}, count=60)
    pens = item("pens", {"kind": "box", "size": [38, 20, 9]}, count=2)
    tray = {"name": "tray", "cells": [2, 1], "height": 50, "rim": "straight", "compartments": [2, 1]}

    def laid_out(name, **fields):
        held = {**tray, "hold": [{"item": name}], **fields}
        plan = lay_out(job(nuts, pens, trays=[held]))
        (part,) = [part for part in plan.parts if part.kind == "tray" and part.tray.name == "tray"]
        missing = sum(lack.count for lack in plan.unplaced if lack.drawer is not None)
        return part, missing

    part, missing = laid_out("nuts")
    assert part.shape.ramp is not None
    assert part.tray.finger_ramp.rows == "front"
    assert missing == 0
    part, missing = laid_out("nuts", finger_ramp=False)
    assert part.shape.ramp is None
    assert missing == 60
    part, _ = laid_out("pens")  # they lie in a row, and a ramp would only take their room
    assert part.shape.ramp is None
    assert part.tray.finger_ramp.rows == "none"
