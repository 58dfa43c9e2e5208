"""Reasons and remedies, each judged by planning the job again with the limit lifted or the remedy followed."""

import re

from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from worker.layout.planner import lay_out
from worker.spec import load

# each example plans several jobs, and few draws have the remedy in question; one that fails is shown as it is
_slow = settings(
    max_examples=3,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)

#: Examples that are drawn to have the remedy in question.
_narrow = settings(_slow, max_examples=6)

_side = st.integers(5, 260)
_shapes = st.one_of(
    st.tuples(_side, _side, st.integers(3, 120)).map(lambda size: {"kind": "box", "size": size}),
    st.tuples(st.integers(4, 90), _side).map(
        lambda pair: {"kind": "cylinder", "diameter": pair[0], "length": pair[1]}
    ),
    st.sampled_from(
        [{"kind": "standard", "id": name} for name in ("battery-aa", "nut-m8", "card-sd", "hexkey-8", "pen-ball")]
    ),
)  # fmt: skip


def _thing(name):
    return st.builds(
        lambda shape, count, storage: {"name": name, "shape": shape, "count": count, "storage": storage},
        _shapes,
        st.integers(1, 14),
        st.sampled_from([None, None, "rows", "upright", "loose"]),
    )


def _job(items, *, width=212, depth=254, height=50, bed=(256, 256, 256), half_cells=False, **drawer):
    """Return a spec as data: one drawer, with its items."""
    return {
        "spec": "1",
        "name": "bench",
        "drawers": [{"name": "top", "width": width, "depth": depth, "height": height, "items": items, **drawer}],
        "grid": {"half_cells": half_cells},
        "printer": {"bed": list(bed), "margin": 2},
        "coupon": False,
        "joints": False,  # what is named is what serves a tray of one piece
    }


def _missing(data, name="thing"):
    """Return what a plan says of an item without a place; None where all of it has one."""
    lacks = [lack for lack in lay_out(load(data)).unplaced if lack.item == name]
    return lacks[0] if lacks else None


def _with(data, **drawer):
    return {**data, "drawers": [{**data["drawers"][0], **drawer}]}


def _bed(data, bed):
    return {**data, "printer": {**data["printer"], "bed": bed}}


@st.composite
def _tight(draw):
    """Draw a job of one kind in a drawer that may be too small, with a tray in it, on a small or a large bed."""
    trays = draw(
        st.sampled_from(
            [
                [],
                [{"name": "mine", "cells": [3, 3], "height": 20, "at": [0, 0]}],
                [{"name": "loose", "cells": [2, 3], "height": 20, "quantity": 2}],
            ]
        )
    )
    bed = draw(st.sampled_from([(256, 256, 256), (180, 180, 180), (140, 220, 60)]))
    width, depth, height = draw(st.tuples(st.integers(215, 300), st.integers(215, 300), st.integers(25, 90)))
    return _job([draw(_thing("thing"))], width=width, depth=depth, height=height, bed=bed, trays=trays)


@_slow
@given(_tight())
def test_no_reason_names_a_limit_that_is_kept(data):
    lack = _missing(data)
    assume(lack is not None and lack.count == data["drawers"][0]["items"][0]["count"])
    alone = _with(data, trays=[])
    if lack.reason.startswith("More than one limit"):
        assert _missing(_with(alone, height=400)) is not None
        assert _missing(_bed(alone, [1000, 1000, 1000])) is not None
        assert _missing(_bed(_with(alone, width=840, depth=840, height=400), [1000, 1000, 1000])) is None
        return
    match lack.cause:
        case "height":
            assert _missing(_with(alone, height=400)) is None
            assert _missing(_bed(alone, [1000, 1000, data["printer"]["bed"][2]])) is not None
        case "bed":
            assert _missing(alone) is not None
            assert _missing(_bed(alone, [1000, 1000, 1000])) is None
        case "floor" | "pinned":
            assert _missing(alone) is None
        case "shape":
            assert _missing(_with(alone, height=400)) is not None
            assert _missing(_bed(alone, [1000, 1000, 1000])) is not None
        case "access":
            assert _missing(_bed(_with(alone, width=840, depth=840, height=400), [1000, 1000, 1000])) is not None
    assert re.fullmatch(r"[A-Z].*\.", lack.reason)
    assert lack.remedy is None or re.fullmatch(r"[A-Z].*\.", lack.remedy)


@st.composite
def _too_high(draw):
    """Draw a job of one kind in a drawer with floor for it, and less height than it needs whichever way it lies."""
    size = draw(st.tuples(st.integers(45, 90), st.integers(45, 90), st.integers(45, 90)))
    item = {"name": "thing", "shape": {"kind": "box", "size": size}, "count": draw(st.integers(1, 2))}
    width, depth, height = draw(st.tuples(st.integers(215, 300), st.integers(215, 300), st.integers(25, 45)))
    return _job([item], width=width, depth=depth, height=height)


@st.composite
def _too_many(draw):
    """Draw a job of one kind of which a drawer takes a few."""
    size = draw(st.tuples(st.integers(40, 90), st.integers(30, 60), st.integers(20, 30)))
    item = {"name": "thing", "shape": {"kind": "box", "size": size}, "count": draw(st.integers(20, 40))}
    width, depth = draw(st.tuples(st.integers(130, 220), st.integers(130, 220)))
    return _job([{**item, "storage": "rows"}], width=width, depth=depth, height=60)


@st.composite
def _off_the_bed(draw):
    """Draw a job of one flat kind in pockets that lies in its drawer, and in no tray that a small bed prints."""
    size = draw(st.tuples(st.integers(120, 180), st.integers(15, 70), st.integers(4, 20)))
    item = {"name": "thing", "shape": {"kind": "box", "size": size}, "count": draw(st.integers(1, 3))}
    bed = draw(st.sampled_from([(110, 110, 256), (90, 140, 100), (120, 100, 60)]))
    width, depth = draw(st.tuples(st.integers(230, 300), st.integers(230, 300)))
    return _job([{**item, "storage": "pocket"}], width=width, depth=depth, height=80, bed=bed)


@_narrow
@given(_too_high())
def test_the_height_named_is_enough_and_one_millimetre_less_is_not(data):
    lack = _missing(data)
    named = lack and re.fullmatch(r"With (\d+) mm of inner height, the drawer has room for it\.", lack.remedy or "")
    assume(named)
    high = int(named[1])
    assert _missing(_with(data, height=high)) is None
    assert _missing(_with(data, height=high - 1)) is not None


@_narrow
@given(_off_the_bed())
def test_the_bed_named_is_enough_and_one_millimetre_less_is_not(data):
    lack = _missing(data)
    named = lack and re.fullmatch(r"With a bed of (\d+) x (\d+) mm within its margins, its .*", lack.remedy or "")
    assume(named)
    wide, deep, high = int(named[1]) + 4, int(named[2]) + 4, data["printer"]["bed"][2]
    short, long, _ = *sorted(data["printer"]["bed"][:2]), high
    assert _missing(_bed(data, [wide, deep, high])) is None
    assert wide > long or deep > short
    assert wide == long or _missing(_bed(data, [wide - 1, deep, high])) is not None
    assert deep == short or _missing(_bed(data, [wide, deep - 1, high])) is not None


@_narrow
@given(_too_many())
def test_the_count_named_has_room_and_one_more_has_not(data):
    lack = _missing(data)
    named = lack and re.fullmatch(r"Take (\d+) instead of (\d+)\.", lack.remedy or "")
    assume(named)
    (thing,) = data["drawers"][0]["items"]
    assert int(named[2]) == thing["count"]
    count = int(named[1])
    assert _missing(_with(data, items=[{**thing, "count": count}])) is None
    assert _missing(_with(data, items=[{**thing, "count": count + 1}])) is not None


@_slow
@given(_tight())
def test_every_other_remedy_helps_when_it_is_followed(data):
    lack = _missing(data)
    assume(lack is not None and lack.remedy is not None)
    (thing,) = data["drawers"][0]["items"]
    if named := re.match(r"With (\d+) mm more (width|depth)", lack.remedy):
        assert _missing(_with(data, **{named[2]: data["drawers"][0][named[2]] + int(named[1])})) is None
    elif lack.remedy.startswith("Set `joints`"):
        assert _missing({**data, "joints": True}) is None
    elif lack.remedy.startswith("Set `half_cells`"):
        assert _missing({**data, "grid": {"half_cells": True}}) is None
    elif named := re.match(r"Set `pitch` of the grid to ([\d.]+) mm", lack.remedy):
        assert _missing({**data, "grid": {**data["grid"], "pitch": float(named[1])}}) is None
    elif lack.remedy.startswith("Leave out `storage`"):
        assert _missing(_with(data, items=[{**thing, "storage": None}])) is None
    elif named := re.match(r"Set `storage` to `(\w+)`", lack.remedy):
        assert _missing(_with(data, items=[{**thing, "storage": named[1]}])) is None
    else:
        assert re.match(r"With (\d+ mm of inner height|a bed of)|Take ", lack.remedy)


def test_a_kind_is_split_evenly_where_the_most_that_one_tray_takes_leaves_no_room_for_the_rest():
    # 6 x 6 cells and a bed for 5 x 5: a tray for three leaves strips one cell wide; two trays for two each have room
    thing = {"name": "thing", "shape": {"kind": "cylinder", "diameter": 60, "length": 194}, "count": 4}
    job = _job([thing], width=271, depth=267, height=77, bed=(214, 214, 180))
    assert _missing(job) is None


def test_nothing_worth_far_more_is_left_out_for_an_item():
    # the drawer is full of what is used every day; with more width the mould has room, too
    forks = {"name": "forks", "shape": {"kind": "standard", "id": "fork-table"}, "count": 12, "access": "often"}
    knives = {"name": "knives", "shape": {"kind": "standard", "id": "knife-table"}, "count": 12, "access": "often"}
    mould = {"name": "thing", "shape": {"kind": "box", "size": [150, 100, 30]}, "access": "rarely"}
    lack = _missing(_job([forks, knives, mould], width=214, depth=254, height=60))
    assert lack.cause == "floor"
    assert not lack.remedy.startswith("Leave out")


def test_another_pitch_is_offered_where_its_cells_leave_no_strip_beside_them():
    # 165 mm take three cells of 42 mm, and half of one more, but four of 41 mm
    board = {"name": "thing", "shape": {"kind": "box", "size": [150, 120, 30]}}
    job = _job([board], width=165, depth=165)
    assert _missing(job).remedy.startswith("Set `pitch` of the grid to 41 mm")
    assert _missing({**job, "grid": {"pitch": 41}}) is None
    in_two = {**job, "drawers": [*job["drawers"], {**job["drawers"][0], "name": "below", "items": []}]}
    assert "pitch" not in (_missing(in_two).remedy or "")  # it would change the other drawer, too
