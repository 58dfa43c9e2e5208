import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout import lay_out
from worker.layout.document import plan_document
from worker.layout.parts import KeyShape, Part, Placement
from worker.layout.plan import Caution, Cell, DrawerPlan, Lattice, Plan
from worker.layout.plan import Warning as PlanWarning
from worker.spec import Spec
from worker.spec.manifest import CautionEntry, PlanDocument, WarningEntry

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
