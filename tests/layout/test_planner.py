"""A whole job laid out."""

import re
from collections import Counter
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon

from worker.layout.model.plan import DrawerPlan, Plan
from worker.layout.model.shapes import CouponShape, KeyShape, Part, Placement, TileShape, TrayShape
from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.errors import LayoutError, SpecError, TrayError
from worker.spec.tolerances import CONTAINMENT_SLACK

L_SHAPE = [[0, 0], [500, 0], [500, 210], [230, 210], [230, 400], [0, 400]]

DRAWERS: dict[str, dict[str, Any]] = {
    "plain": {"width": 310, "depth": 425},
    "out of square": {"width": [310, 312, 315], "depth": [425, 421]},
    "l": {"outline": L_SHAPE},
    "round corners": {"width": 310, "depth": 425, "corner_radius": 15},
    "obstacle": {"width": 310, "depth": 425, "obstacles": [{"at": [260, 380], "size": [50, 45]}]},
    "copies": {"width": 310, "depth": 425, "copies": 3},
}

TRAYS = [
    {"name": "screws", "cells": [2, 1], "height": 40, "quantity": 3, "compartments": [2, 1]},
    {"name": "bits", "cells": [1, 2], "height": 30, "at": [0, 0], "rim": "straight"},
    {"name": "nuts", "cells": [1, 1], "height": 40, "quantity": 4, "magnets": {"diameter": 8, "depth": 3}},
]


def job(*drawers: dict[str, Any], **fields: Any) -> dict[str, Any]:
    return {
        "spec": "1",
        "name": "workbench",
        "drawers": [{"name": f"bench {index}", "height": 80, **drawer} for index, drawer in enumerate(drawers)],
        "printer": {"bed": [256, 256, 256]},
        **fields,
    }


def plan_of(*drawers: dict[str, Any], **fields: Any) -> Plan:
    return lay_out(load(job(*drawers, **fields)))


def footprint(part: Part, placement: Placement) -> Polygon:
    """Return what a placed part covers of the drawer's bottom, its sockets filled up."""
    shape = part.shape
    if isinstance(shape, TileShape):
        own: Any = Polygon(shape.outline, shape.windows)
    elif isinstance(shape, KeyShape):
        own = Polygon(shape.outline)
    else:
        own = shapely.box(0, 0, *part.size[:2])
    turned = rotate(own, placement.turn, origin=(0, 0))
    left, front, _, _ = turned.bounds
    return translate(turned, placement.at[0] - left, placement.at[1] - front)


def usable(drawer: DrawerPlan) -> Any:
    """Return the drawer's usable area from its rings: holes run clockwise."""
    area = shapely.union_all([Polygon(ring) for ring in drawer.outline if Polygon(ring).exterior.is_ccw])
    return area.difference(
        shapely.union_all([Polygon(ring) for ring in drawer.outline if not Polygon(ring).exterior.is_ccw])
    )


def check(plan: Plan) -> None:
    """Check what holds for every plan."""
    parts = {part.mark: part for part in plan.parts}
    assert len(parts) == len(plan.parts)
    assert all(re.fullmatch(r"[FTKC][1-9][0-9]*", mark) for mark in parts)
    counts: Counter[str] = Counter()
    for drawer in plan.drawers:
        area = usable(drawer)
        by_kind: dict[str, list[Polygon]] = {}
        for placement in drawer.placements:
            part = parts[placement.mark]
            counts[placement.mark] += drawer.copies
            by_kind.setdefault(part.kind, []).append(footprint(part, placement))
            assert placement.at[2] + part.size[2] <= drawer.size[2] + CONTAINMENT_SLACK
        for prints in by_kind.values():
            assert shapely.union_all(prints).area == pytest.approx(sum(shape.area for shape in prints), abs=1e-3)
            assert all(area.buffer(CONTAINMENT_SLACK).covers(shape) for shape in prints)
        sockets = sum(
            len(parts[placement.mark].shape.sockets)
            for placement in drawer.placements
            if parts[placement.mark].kind == "tile"
        )
        assert sockets == len(drawer.lattice.cells) == drawer.whole + drawer.half
        for seam in drawer.seams:
            first, second = (
                footprint(parts[drawer.placements[index].mark], drawer.placements[index])
                for index in (seam.first, seam.second)
            )
            assert first.distance(second) == pytest.approx(seam.gap, abs=3e-3)
    for part in plan.parts:
        if part.kind in {"tile", "tray", "key"}:
            assert part.quantity == counts[part.mark]


@pytest.mark.parametrize("seam", ["dovetail", "key", "plain"])
@pytest.mark.parametrize("half_cells", [False, True])
@pytest.mark.parametrize("name", DRAWERS)
def test_every_kind_of_drawer_is_laid_out(name: str, seam: str, *, half_cells: bool) -> None:
    plan = plan_of({**DRAWERS[name], "trays": TRAYS}, grid={"seam": seam, "half_cells": half_cells})
    check(plan)
    kinds = Counter(part.kind for part in plan.parts)
    assert kinds["tile"] >= 1
    assert kinds["tray"] == 3
    assert kinds["coupon"] == kinds["plug"] == 1
    assert (kinds["key"] == 1) is (seam == "key")
    (drawer,) = plan.drawers
    assert len([placement for placement in drawer.placements if placement.mark.startswith("T")]) == 8
    quarters = sum(cell.width * cell.depth for cell in drawer.lattice.cells)
    assert drawer.free == quarters - 4 * (3 * 2 + 2 + 4)


@pytest.mark.parametrize("bed", [[180, 180, 180], [120, 120, 120], [100, 100, 100]])
def test_every_part_fits_a_small_bed(bed: list[float]) -> None:
    plan = plan_of({**DRAWERS["plain"], "trays": TRAYS}, printer={"bed": bed, "margin": 0})
    check(plan)
    for part in plan.parts:
        assert max(part.size[:2]) <= max(bed[:2])
        assert min(part.size[:2]) <= min(bed[:2])
        assert part.size[2] <= bed[2]
    coupons = [part for part in plan.parts if part.kind in {"coupon", "plug"}]
    too_large = [warning for warning in plan.warnings if warning.pointer == "/coupon"]
    assert (len(coupons), len(too_large)) == ((0, 1) if bed[0] < 105 else (2, 0))


def test_copies_multiply_quantities_and_nothing_else() -> None:
    once = plan_of({**DRAWERS["plain"], "trays": TRAYS})
    thrice = plan_of({**DRAWERS["plain"], "trays": TRAYS, "copies": 3})
    assert [part.shape for part in once.parts] == [part.shape for part in thrice.parts]
    for single, three in zip(once.parts, thrice.parts, strict=True):
        assert three.quantity == single.quantity * (1 if single.kind in {"coupon", "plug"} else 3)
    assert once.drawers[0].placements == thrice.drawers[0].placements


def test_two_drawers_share_their_parts() -> None:
    single = plan_of({**DRAWERS["plain"], "trays": TRAYS})
    two = plan_of({**DRAWERS["plain"], "trays": TRAYS}, {**DRAWERS["plain"], "trays": TRAYS[:1]})
    check(two)
    assert [part.mark for part in single.parts] == [part.mark for part in two.parts]
    assert two.part("T1").quantity == 6
    assert two.part("F1").quantity == 2 * single.part("F1").quantity


def test_marks_are_engraved_in_what_they_name() -> None:
    plan = plan_of({**DRAWERS["plain"], "trays": TRAYS})
    for part in plan.parts:
        if isinstance(part.shape, KeyShape):
            continue
        own = [lettering for lettering in part.shape.letterings if lettering.text == part.mark]
        warned = any(part.mark in warning.message for warning in plan.warnings)
        assert len(own) == (0 if warned else 1), part.mark
        if isinstance(part.shape, TrayShape | CouponShape):
            assert [lettering.face for lettering in own] == ["bottom"]


def test_equal_trays_under_two_names_are_one_part() -> None:
    trays = [{"name": "left", "cells": [1, 1], "height": 40}, {"name": "right", "cells": [1, 1], "height": 40}]
    plan = plan_of({**DRAWERS["plain"], "trays": trays})
    assert [(part.mark, part.quantity) for part in plan.parts if part.kind == "tray"] == [("T1", 2)]


def test_a_tray_stands_on_its_cell_with_half_the_air_around() -> None:
    plan = plan_of({**DRAWERS["plain"], "trays": [{"name": "bits", "cells": [1, 2], "height": 30, "at": [3, 1]}]})
    (drawer,) = plan.drawers
    (stand,) = (placement for placement in drawer.placements if placement.mark == "T1")
    x, y = drawer.lattice.origin
    assert stand.cell == (3, 1)
    assert stand.at == pytest.approx((x + 3 * 42 + 0.3, y + 42 + 0.3, 0.0))
    assert plan.part("T1").size == pytest.approx((41.4, 83.4, 30))


def test_the_coupon_can_be_left_out() -> None:
    assert not {"coupon", "plug"} & {part.kind for part in plan_of(DRAWERS["plain"], coupon=False).parts}


def test_parts_come_in_order_of_kind_then_mark() -> None:
    trays = [{"name": f"tray {n}", "cells": [1, 1], "height": 20 + n} for n in range(12)]
    plan = plan_of({**DRAWERS["plain"], "trays": trays}, grid={"seam": "key"})
    marks = [part.mark for part in plan.parts if part.kind == "tray"]
    assert marks == [f"T{n}" for n in range(1, 13)]
    kinds = [part.kind for part in plan.parts]
    assert kinds == sorted(kinds, key=["tile", "tray", "key", "coupon", "plug"].index)


def test_a_drawer_that_cannot_be_laid_out_is_named() -> None:
    with pytest.raises(LayoutError) as caught:
        plan_of(DRAWERS["plain"], {"width": 30, "depth": 400})
    assert caught.value.pointer == "/drawers/1"


def test_a_tray_too_tall_or_off_the_grid_is_named() -> None:
    tall = {"name": "pens", "cells": [1, 1], "height": 90}
    far = {"name": "pens", "cells": [1, 1], "height": 40, "at": [9, 0]}
    for tray, pointer in ((tall, "/drawers/0/trays/0"), (far, "/drawers/0/trays/0")):
        with pytest.raises(TrayError, match="pens") as caught:
            plan_of({**DRAWERS["plain"], "trays": [tray]})
        assert (caught.value.pointer or "").startswith(pointer)


def test_the_same_spec_gives_the_same_plan() -> None:
    drawer = {**DRAWERS["out of square"], "trays": TRAYS}
    assert plan_of(drawer) == plan_of(drawer)


def test_warnings_reach_the_plan() -> None:
    pointers = [warning.pointer for warning in plan_of(DRAWERS["out of square"]).warnings]
    assert "/drawers/0/width" in pointers
    assert "/drawers/0/depth" in pointers


@st.composite
def jobs(draw: st.DrawFn) -> dict[str, Any]:
    """A drawer with readings, obstacles and trays as they come, and a printer of some size."""
    width, depth = draw(st.floats(90, 500)), draw(st.floats(90, 500))
    near = st.floats(-4, 4)
    drawer: dict[str, Any] = {
        "width": [width + deviation for deviation in draw(st.lists(near, min_size=1, max_size=4))],
        "depth": [depth + deviation for deviation in draw(st.lists(near, min_size=1, max_size=4))],
        "gap": draw(st.sampled_from([0, 0.5, 2])),
        "corner_radius": draw(st.sampled_from([0, 3, 15])),
        "align": {"x": draw(st.sampled_from(["left", "right"])), "y": draw(st.sampled_from(["front", "center"]))},
        "obstacles": [
            {"at": [draw(st.floats(0, 0.8)) * width, draw(st.floats(0, 0.8)) * depth], "size": [0.1 * width, 20]}
            for _ in range(draw(st.integers(0, 2)))
        ],
    }
    half_cells = draw(st.booleans())
    sizes = st.sampled_from([0.5, 1, 1.5, 2] if half_cells else [1, 2])
    drawer["trays"] = [
        {
            "name": f"tray {n}",
            "cells": [draw(sizes), draw(sizes)],
            "height": 20 + n,
            "quantity": draw(st.integers(1, 2)),
        }
        for n in range(draw(st.integers(0, 3)))
    ]
    grid = {"half_cells": half_cells, "seam": draw(st.sampled_from(["dovetail", "key", "plain"]))}
    bed = draw(st.sampled_from([120, 180, 256]))
    forbidden = [{"at": [0, 0], "size": [25, 15]}] if draw(st.booleans()) else []
    printer = {"bed": [bed, bed, bed], "forbidden": forbidden, "margin": 1}
    return job(drawer, grid=grid, printer=printer)


@given(jobs())
@settings(max_examples=25, deadline=None)
def test_any_job_is_laid_out_or_refused_with_a_pointer(data: dict[str, Any]) -> None:
    try:
        spec = load(data)
    except SpecError:
        return
    try:
        plan = lay_out(spec)
    except LayoutError as error:
        refused = error
    else:
        check(plan)
        return
    assert (refused.pointer or "").startswith("/drawers/0")
    assert refused.limit is not None
    assert refused.remedy is not None


def test_equal_trays_share_a_mark_and_keep_their_names():
    trays = [{"name": name, "cells": [2, 1], "height": 40} for name in ("forks", "knives")]
    plan = plan_of({"width": 200, "depth": 100, "trays": trays}, coupon=False)
    placed = [
        (placement.mark, placement.name) for placement in plan.drawers[0].placements if placement.name is not None
    ]
    assert sorted(placed) == [("T1", "forks"), ("T1", "knives")]
    assert plan.part("T1").quantity == 2


def test_two_millimetres_of_air_stay_below_the_frame() -> None:
    """A drawer's frame passes over its things: 2 mm of air (common practice) are left above the highest of them."""
    item = {"name": "block", "shape": {"kind": "box", "size": [40, 40, 40]}, "storage": "rows"}

    def laid(height: float) -> Plan:
        return plan_of({"name": "top", "width": 130, "depth": 90, "height": height, "items": [item]})

    tall = laid(90.0)
    (stored,) = tall.drawers[0].contents
    tray = tall.drawers[0].placements[stored.placement]
    top = max(stored.at[2] + stored.size[2], tray.at[2] + tall.part(tray.mark).size[2])
    assert top > 40.0
    fits = laid(round(top + 2.0, 3))
    assert not fits.unplaced
    assert [entry.count for entry in laid(round(top + 1.9, 3)).unplaced] == [1]


def test_a_text_that_would_not_print_is_left_out_with_a_warning() -> None:
    tray = {"name": "bits", "cells": [2, 2], "height": 40, "wall": 2.4, "text": {"text": "M3", "cap_height": 4}}
    drawer = {"name": "top", "width": 200, "depth": 180, "height": 70, "trays": [tray]}
    for nozzle, warned in ((0.4, False), (0.8, True)):
        spec = load(
            {"spec": "1", "name": "bench", "printer": {"bed": [256, 256, 256], "nozzle": nozzle}, "drawers": [drawer]}
        )
        plan = lay_out(spec)
        texts = [lettering.text for part in plan.parts for lettering in getattr(part.shape, "letterings", ())]
        assert ("M3" in texts) is not warned
        messages = {warning.pointer: warning.message for warning in plan.warnings}
        assert ("/drawers/0/trays/0/text/cap_height" in messages) is warned
