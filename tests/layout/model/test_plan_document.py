from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.plan import (
    Caution,
    Cell,
    DrawerPlan,
    FloorPlan,
    Lattice,
    LayoutChanges,
    LeftOut,
    Move,
    Pieces,
    Plan,
    PlanWarning,
    SeamHold,
    Space,
    Stand,
    Stored,
    Unplaced,
)
from worker.layout.model.plan_document import plan_document
from worker.layout.model.shapes import KeyShape, Part, Placement
from worker.layout.planner import lay_out
from worker.spec import Box, Spec, Tray
from worker.spec.manifest import CautionEntry, PlanDocument, SeamHoldEntry, WarningEntry

RING = ((0.0, 0.0), (10.0, 0.0), (10.0, 20.0), (0.0, 20.0))


def plan_with(origin=(0.0, 0.0), leftover=(0.0, 0.0), size=(10.0, 20.0, 40.0), at=(0.0, 0.0, 0.0)):
    drawer = DrawerPlan(
        name="top", outline=(RING,), size=size, lattice=Lattice(origin, 42.0, (Cell(0, 0, 2, 2),)), whole=1, half=0,
        across=(1, 1), leftover=leftover, free=4, placements=(Placement("K1", at, 90),), seams=(), copies=2,
    )  # fmt: skip
    part = Part("K1", "key", "butterfly key", KeyShape(RING, 5.0), (10.0, 20.0, 5.0), 2)
    warnings, cautions = (PlanWarning("/drawers/0/width", "spread"),), (Caution("printing", "hot"),)
    return Plan("bench", (drawer,), (part,), warnings, cautions)


def test_lengths_are_rounded_to_a_micrometre():
    plan = plan_with(origin=(0.1234567, 0.0), leftover=(-1e-9, 5.0), size=(10.0001, 20.0, 40.0), at=(1.0004, 2.0006, 0))
    drawer = plan_document(plan).drawers[0]
    assert (drawer.origin, drawer.leftover, drawer.size) == ((0.123, 0.0), (0.0, 5.0), (10.0, 20.0, 40.0))
    assert str(drawer.leftover[0]) == "0.0"
    assert drawer.placements[0].at == (1.0, 2.001, 0.0)


@settings(max_examples=40)
@given(st.lists(st.floats(-1000.0, 1000.0), min_size=3, max_size=3))
def test_a_place_is_off_by_half_a_micrometre_at_most(at):
    placed = plan_document(plan_with(at=tuple(at))).drawers[0].placements[0]
    assert placed.at == pytest.approx(at, abs=5.001e-4)


def test_everything_is_in_the_document():
    document = plan_document(plan_with())
    drawer = document.drawers[0]
    assert (document.plan, document.name, drawer.name, drawer.copies, drawer.free) == ("1", "bench", "top", 2, 4)
    assert (drawer.cells.whole, drawer.cells.half, drawer.cells.across) == (1, 0, (1, 1))
    assert drawer.outline == (RING,)
    assert (drawer.placements[0].mark, drawer.placements[0].turn, drawer.placements[0].cell) == ("K1", 90, None)
    assert [(part.mark, part.kind, part.quantity) for part in document.parts] == [("K1", "key", 2)]
    assert document.warnings == (WarningEntry(pointer="/drawers/0/width", message="spread"),)
    assert document.cautions == (CautionEntry(topic="printing", text="hot"),)


def test_the_document_reads_back_as_it_was():
    document = plan_document(plan_with())
    assert PlanDocument.model_validate_json(document.model_dump_json()) == document


def plan_with_things():
    plan = plan_with()
    shape = Box(kind="box", size=(10.0, 20.0, 5.0))
    stored = Stored("dice", "/items/0", 4, 6, "rows", shape, 0, (1.0004, 2.0, 3.0), (10.0, 20.0, 5.00049))
    drawer = replace(plan.drawers[0], contents=(stored,), spaces=(Space((1, 2), (3, 4)),))
    part = replace(plan.parts[0], bare="ab" * 32, tray=Tray(name="dice", cells=(1.0, 1.0), height=30.0))
    pieces = Pieces("K1", "key", "butterfly key", 2)
    move = Move("K1", "key", "", 1, Stand("top", (0.0, 0.0, 0.0)), Stand("low", (1.0, 2.0, 0.0), 90, (1.0, 0.5)))
    lost = Unplaced("ruler", "/drawers/0/items/1", 1, "Too long.", None, "top")
    changes = LayoutChanges((pieces,), (), (move,), (pieces,))
    return replace(
        plan, drawers=(drawer,), parts=(part,), unplaced=(lost,), changes=changes, numbering=(("K", 1), ("T", 7))
    )


def test_things_their_places_and_changes_are_in_the_document():
    document = plan_document(plan_with_things())
    drawer = document.drawers[0]
    (content,) = drawer.contents
    assert (content.item, content.pointer, content.count, content.capacity) == ("dice", "/items/0", 4, 6)
    assert (content.storage, content.placement, content.at, content.size) == ("rows", 0, (1, 2, 3), (10, 20, 5))
    assert content.shape == Box(kind="box", size=(10, 20, 5))
    assert [(space.at, space.cells) for space in drawer.spaces] == [((0.5, 1.0), (1.5, 2.0))]
    (lost,) = document.unplaced
    assert (lost.item, lost.drawer, lost.count, lost.reason, lost.remedy) == ("ruler", "top", 1, "Too long.", None)
    changes = document.changes
    assert [(entry.mark, entry.count) for entry in changes.new] == [("K1", 2)]
    assert changes.kept == ()
    assert (changes.moved[0].before.drawer, changes.moved[0].now.cell) == ("top", (1.0, 0.5))
    assert document.numbering == {"K": 1, "T": 7}
    assert document.parts[0].shape == "ab" * 32
    assert document.parts[0].tray.cells == (1.0, 1.0)


def test_the_floor_is_in_the_document():
    ring = ((0.0, 0.0), (10.0, 0.0), (10.0, 2.00049), (0.0, 2.0))
    floor = FloorPlan(((0, 1), (2,)), (2,), SeamHold(3, 0.762, 0.2, 137.0), (LeftOut((ring,), 20.0, "narrow"),))
    plan = plan_with()
    document = plan_document(replace(plan, drawers=(replace(plan.drawers[0], floor=floor),)))
    entry = document.drawers[0].floor
    assert (entry.groups, entry.loose) == (((0, 1), (2,)), (2,))
    assert entry.seams == SeamHoldEntry(tabs=3, undercut=0.762, play=0.2, pull=137.0)
    (part,) = entry.left_out
    assert (part.area, part.reason, part.outline[0][2]) == (20.0, "narrow", (10.0, 2.0))
    assert PlanDocument.model_validate_json(document.model_dump_json()) == document


def test_a_document_with_things_reads_back_as_it_was():
    document = plan_document(plan_with_things())
    assert PlanDocument.model_validate_json(document.model_dump_json()) == document


def test_without_things_nothing_is_said_of_them():
    document = plan_document(plan_with())
    assert (document.drawers[0].contents, document.drawers[0].spaces, document.unplaced) == ((), (), ())
    assert document.changes is None


def test_the_plan_of_a_whole_spec_has_a_document():
    spec = Spec.model_validate(
        {
            "spec": "1", "name": "bench", "printer": {"bed": [256, 256, 256]},
            "drawers": [{"name": "top", "width": 310, "depth": 425, "height": 70}],
        }
    )  # fmt: skip
    document = plan_document(lay_out(spec))
    assert document.drawers[0].cells.across == (7, 10)
    assert {part.kind for part in document.parts} >= {"tile"}
