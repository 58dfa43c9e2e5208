"""Cuts of jointed trays, what they keep clear of, and the plans of jobs that have such trays."""

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from shapely import LineString, Polygon, box

from tests.layout.relayout.printed_manifest import again, counts
from tests.solids.joint_geometry import jointed
from tests.solids.tray_shapes import JOINT
from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.layout.tray.interior import tray_room
from worker.layout.tray.joints.jointed_tray import piece_size
from worker.layout.tray.part_mark import piece_ends, piece_mark, text_size
from worker.spec import load
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError

BED = ((180.0, 180.0),)


def job(*trays, **fields):
    drawer = {"name": "top", "width": 400, "depth": 300, "height": 80, "trays": list(trays)}
    return {
        "spec": "1", "name": "kitchen", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}, "coupon": False,
    } | fields  # fmt: skip


SPOONS = {"name": "spoons", "cells": [6, 2], "height": 40}


def cuts(fields, beds=BED, **rules):
    tray = jointed(fields, joint=JOINT, beds=beds, **rules)
    return None if tray is None else [(line.axis, line.at) for line in tray.splices]


def test_the_fewest_and_then_the_most_equal_pieces():
    assert len(cuts({"cells": (7, 2)})) == 1
    # in the middle of the middle cell
    assert cuts({"cells": (7, 2)}) == [("x", pytest.approx(146.7, abs=1.6))]
    assert len(cuts({"cells": (6, 6)})) == 2
    assert len(cuts({"cells": (10, 2)})) == 2
    assert cuts({"cells": (10, 2)}, beds=((120.0, 200.0), (200.0, 120.0))) is not None


def test_a_cut_lies_inside_a_foot():
    for cells in (5, 6, 7, 9):
        for axis, at in cuts({"cells": (cells, 2)}):
            assert axis == "x"
            assert 8.0 - 1e-6 <= (at + 0.3) % 42.0 <= 34.0 + 1e-6
    for _, at in cuts({"cells": (6.5, 2)}, half_feet=True):
        assert 7.5 - 1e-6 <= (at + 0.3) % 21.0 <= 13.5 + 1e-6


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.floats(8, 240), min_size=1, max_size=5), st.sampled_from(["x", "y"]))
def test_no_cut_runs_along_a_divider_and_no_tab_under_one(places, axis):
    dividers = [{"axis": axis, "at": at if axis == "x" else at % 70 + 6} for at in places]
    try:
        tray = jointed({"cells": (6, 2), "dividers": dividers}, joint=JOINT, beds=BED)
    except (TrayError, ValidationError):
        reject()
    if tray is None:
        reject()
    (line,) = tray.splices
    for wall in tray.shape.walls:
        if wall.axis == "x":
            assert line.at - wall.at >= 4.0 or wall.at - line.at >= 1.9
        else:
            heads = [y for x, y in line.behind if x < line.at - 2.0]
            for low, high in zip(heads[::2], heads[1::2], strict=True):
                assert high + 0.2 <= wall.at - 0.6 or low - 0.2 >= wall.at + 0.6


def test_a_cut_keeps_clear_of_text_and_pockets():
    free = cuts({"cells": (7, 2)})
    text = {"text": "spoons", "face": "front", "cap_height": 6}
    ((_, at),) = cuts({"cells": (7, 2), "text": text})
    assert free != [("x", at)]
    pocket = {"shape": "circle", "at": [146, 40], "diameter": 30, "depth": 10}
    ((_, at),) = cuts({"cells": (7, 2), "pockets": [pocket], "filling": "solid"})
    assert abs(at - 147.2) >= 15.0 + 3.0
    wall = {"shape": "rectangle", "at": [5, 5], "size": [280, 60], "depth": 10}
    assert cuts({"cells": (7, 2), "pockets": [wall], "filling": "solid"}) is None


def test_pieces_are_marked_under_a_foot_clear_of_their_seams():
    tray = jointed({"cells": (6, 6)}, joint=JOINT, beds=BED)
    for number, piece in enumerate(tray.pieces, start=1):
        mark = piece_mark(piece, f"T{number}", line_width=0.44)
        width, depth = text_size(mark.text, mark.cap_height)
        at = [mark.at[axis] + piece.corner[axis] for axis in (0, 1)]
        for (low, high), middle, side in zip(piece_ends(piece), at, (width, depth), strict=True):
            assert low + side / 2 < middle < high - side / 2


def test_a_jointed_tray_is_planned_as_pieces_with_marks():
    document = plan_document(lay_out(load(job(SPOONS | {"quantity": 2}))))
    pieces = [part for part in document.parts if part.kind == "tray"]
    assert [(part.mark, part.name, part.quantity) for part in pieces] == [
        ("T1", "spoons 1/2", 2), ("T2", "spoons 2/2", 2),
    ]  # fmt: skip
    assert [(part.piece.number, part.piece.of) for part in pieces] == [(1, 2), (2, 2)]
    assert pieces[0].piece.tray_size == (251.4, 83.4, 40.0)
    first, second = document.drawers[0].jointed
    for tray in (first, second):
        (seam,) = tray.seams
        marks = [document.drawers[0].placements[index].mark for index in tray.pieces]
        assert marks == ["T1", "T2"]
        assert (seam.axis, seam.tabs) == ("x", 4)
        assert seam.floor_pull > 100.0
        assert seam.wall_pull > 100.0
        assert 0.3 < tray.sag < 1.5


def test_a_jointed_tray_that_is_printed_stays():
    spec = job(SPOONS)
    before = lay_out(load(spec))
    after = again(spec, before)
    assert not after.changes.new
    assert not after.changes.moved
    assert counts(after.changes.kept)["T2"] == 1


def test_joints_can_be_switched_off():
    with pytest.raises(TrayError, match="does not fit the printer's bed") as refused:
        lay_out(load(job(SPOONS, joints=False)))
    assert "joints" in refused.value.remedy


@pytest.mark.parametrize(("rim", "least"), [("straight", 16.0), ("stacking", 20.0)])
def test_a_low_tray_cannot_be_joined(rim, least):
    with pytest.raises(TrayError, match="too low to be joined") as refused:
        lay_out(load(job(SPOONS | {"height": least - 0.5, "rim": rim})))
    assert refused.value.limit == f"at least {least:g} mm"
    assert lay_out(load(job(SPOONS | {"height": least, "rim": rim}))).drawers[0].jointed


def test_a_tray_that_cannot_be_cut_is_refused_with_a_reason():
    dividers = [{"axis": "x", "at": at} for at in range(6, 246, 6)]
    with pytest.raises(TrayError, match="cannot be cut"):
        lay_out(load(job(SPOONS | {"dividers": dividers})))


def test_things_in_a_jointed_tray_keep_clear_of_its_posts():
    spec = job(SPOONS | {"hold": [{"item": "rods"}]})
    spec["items"] = [{"name": "rods", "count": 40, "shape": {"kind": "box", "size": [230, 8, 8]}}]
    plan = lay_out(load(spec))
    (drawer,) = plan.drawers
    tray = jointed(SPOONS, joint=JOINT, beds=BED)
    corner = drawer.placements[drawer.jointed[0].pieces[0]].at
    assert drawer.contents
    for content in drawer.contents:
        for post in tray.shape.posts:
            xs, ys = zip(*post.outline, strict=True)
            apart = [
                content.at[axis] + content.size[axis] <= corner[axis] + min(side) + 1e-6
                or content.at[axis] >= corner[axis] + max(side) - 1e-6
                for axis, side in enumerate((xs, ys))
            ]
            assert any(apart)


def test_piece_sizes_add_up_to_the_tray_and_its_overlaps():
    tray = jointed({"cells": (6, 2)}, joint=JOINT, beds=BED)
    widths = [piece_size(piece)[0] for piece in tray.pieces]
    assert sum(widths) == pytest.approx(251.4 + tray.profile.reach - 0.1)
    room = tray_room(Tray(name="t", cells=(6, 2), height=40.0), joint=JOINT, pitch=42.0, line_width=0.44, pointer="")
    assert all(post.top == room.ceiling for post in tray.shape.posts)


_GRIPPED = st.fixed_dictionaries(
    {
        "cells": st.tuples(st.integers(3, 8), st.integers(2, 7)).filter(lambda cells: max(cells) > 4),
        "compartments": st.tuples(st.integers(1, 3), st.integers(1, 3)),
        "finger_ramp": st.booleans(),
        "label_ledge": st.booleans(),
    }
)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(_GRIPPED)
def test_each_grip_of_a_tray_in_pieces_is_whole_and_the_tray_hangs_from_its_middle(fields):
    tray = {"name": "any", "height": 40, "rim": "straight", "grip": True, "at": [0, 0], **fields}
    try:
        plan = lay_out(load(job(tray)))
    except TrayError:
        reject()
    pieces = [part.shape for part in plan.parts if part.kind == "tray"]
    shape = pieces[0].tray
    outer = tuple(halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves)
    assert len(shape.grips) in {2, 4}
    for grip in shape.grips:
        across = (
            (outer[0 if grip.axis == "x" else 1] - 9.2, outer[0 if grip.axis == "x" else 1]) if grip.far else (0, 9.2)
        )
        along = grip.start, grip.end
        lip = box(
            *(across[0], along[0], across[1], along[1])
            if grip.axis == "x"
            else (along[0], across[0], along[1], across[1])
        )
        # a seam is a line from wall to wall, with posts in the corners between it and the walls
        for line in {line for piece in pieces for line in (piece.right, piece.back) if line is not None}:
            ends = [(line.at, -9.0), (line.at, 999.0)] if line.axis == "x" else [(-9.0, line.at), (999.0, line.at)]
            assert LineString(ends).distance(lip) > 2.0
        assert all(Polygon(post.outline).distance(lip) > 0.5 for post in shape.posts)
    for axis in {grip.axis for grip in shape.grips}:
        lips = [grip for grip in shape.grips if grip.axis == axis]
        assert sum(grip.far for grip in lips) * 2 == len(lips)


def test_a_tray_that_a_seam_halves_hangs_from_four_grips():
    plan = lay_out(load(job({**SPOONS, "cells": [6, 6], "height": 40, "compartments": [2, 2], "grip": True})))
    pieces = [part.shape for part in plan.parts if part.kind == "tray"]
    lips = [(grip.start + grip.end) / 2.0 for grip in pieces[0].tray.grips]
    assert len(lips) == len(pieces) == 4
    # level: the mean of the lips is the middle of the wall, 6 cells of 42 mm less the air at both sides
    assert sum(lips) / 4 == pytest.approx((6 * 42.0 - 0.6) / 2.0, abs=1e-6)
