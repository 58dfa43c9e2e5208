"""Whole jobs with items: laid out, told, refused."""

import subprocess
import sys
from itertools import combinations

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.errors import LayoutError

AA = {"kind": "standard", "id": "battery-aa"}
NUTS = {"kind": "standard", "id": "nut-m4"}


def item(name, shape=AA, **fields):
    return {"name": name, "shape": shape, **fields}


def box(name, size, **fields):
    return item(name, {"kind": "box", "size": size}, **fields)


def job(*items, half_cells=False, items_of_job=(), drawers=(), strict=False, **drawer):
    """Return a job with a drawer of 5 x 6 cells, and others."""
    first = {"name": "top", "width": 212, "depth": 254, "height": 70, "items": items, **drawer}
    return load(
        {
            "spec": "1",
            "name": "bench",
            "drawers": [first, *drawers],
            "items": items_of_job,
            "strict": strict,
            "grid": {"half_cells": half_cells},
            "printer": {"bed": [256, 256, 256]},
            "coupon": False,
        }
    )


def trays(plan, drawer=0):
    """Return the trays of a drawer: name, half cells under it, z."""
    parts = {part.mark: part for part in plan.parts}
    standing = []
    for placement in plan.drawers[drawer].placements:
        if placement.cell is not None:
            x, y = (round(2 * along) for along in placement.cell)
            width, depth = parts[placement.mark].shape.halves
            standing.append(
                (placement.name, {(x + i, y + j) for i in range(width) for j in range(depth)}, placement.at[2])
            )
    return standing


def sound(plan, spec):
    """Assert that no tray stands on another's cells or off the grid, and that all items are told of."""
    for number, drawer in enumerate(plan.drawers):
        there = {
            (i, j)
            for c in drawer.lattice.cells
            for i in range(c.x, c.x + c.width)
            for j in range(c.y, c.y + c.depth)
        }  # fmt: skip
        standing = [tray for tray in trays(plan, number) if not tray[2]]
        assert all(under <= there for _, under, _ in standing)
        assert not any(first[1] & other[1] for first, other in combinations(standing, 2))
        covered = set().union(*(under for _, under, _ in trays(plan, number)))
        assert drawer.free == len(there - covered)
        for stored in drawer.contents:
            place = drawer.placements[stored.placement]
            size = plan.part(place.mark).size
            for axis in (0, 1):
                assert place.at[axis] < stored.at[axis]
                assert stored.at[axis] + stored.size[axis] < place.at[axis] + size[axis]
            assert place.at[2] < stored.at[2]
            assert stored.at[2] + stored.size[2] <= drawer.size[2]
            assert stored.count <= stored.capacity
    for pointer, count in counts(spec).items():
        placed = sum(entry.count for drawer in plan.drawers for entry in drawer.contents if entry.pointer == pointer)
        assert placed + sum(entry.count for entry in plan.unplaced if entry.pointer == pointer) == count
    assert len({entry.pointer for entry in plan.unplaced}) == len(plan.unplaced)


def counts(spec):
    """How many there are of each item, by its pointer."""
    of_job = {f"/items/{k}": item.count for k, item in enumerate(spec.items)}
    return of_job | {
        f"/drawers/{d}/items/{k}": item.count
        for d, drawer in enumerate(spec.drawers)
        for k, item in enumerate(drawer.items)
    }


_items = st.lists(
    st.builds(
        lambda shape, **fields: {"shape": shape, **fields},
        st.sampled_from(
            [AA, NUTS, {"kind": "box", "size": [45, 30, 12]}, {"kind": "cylinder", "diameter": 9, "length": 60}]
        ),
        count=st.integers(1, 20),
        access=st.sampled_from(["often", "sometimes", "rarely"]),
        group=st.sampled_from([None, "a", "b"]),
        label=st.booleans(),
    ),
    max_size=9,
).map(lambda kinds: [{"name": f"kind {k}", **kind} for k, kind in enumerate(kinds)])


# a layout takes a while: one that fails is shown as it is
@settings(max_examples=15, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(_items, _items, st.booleans(), st.booleans(), st.sampled_from([30, 70]))
def test_any_job_is_laid_out_soundly(own, of_job, half_cells, fill, height):
    second = {"name": "low", "width": 140, "depth": 180, "height": 40, "fill": fill}
    spec = job(*own, items_of_job=of_job, half_cells=half_cells, fill=fill, drawers=[second], height=height)
    plan = lay_out(spec)
    sound(plan, spec)
    assert plan == lay_out(spec)
    if fill:
        # what is left is too small for a tray
        assert all(drawer.free == 0 for drawer in plan.drawers)


def test_items_stand_clear_of_the_trays_of_the_list():
    fixed = {"name": "mine", "cells": [2, 2], "height": 30, "at": [0, 0]}
    loose = {"name": "loose", "cells": [1, 2], "height": 30, "quantity": 2}
    spec = job(item("cells", count=8), item("nuts", NUTS, count=40), trays=[fixed, loose])
    plan = lay_out(spec)
    sound(plan, spec)
    assert len(trays(plan)) == 5


def test_a_pinned_item_keeps_its_place_before_loose_trays():
    loose = {"name": "loose", "cells": [2, 2], "height": 30}
    plan = lay_out(job(item("cells", count=4, at=[0, 0]), trays=[loose]))
    assert not plan.unplaced
    assert (0, 0) in next(under for name, under, _ in trays(plan) if name == "cells")


def test_a_pinned_item_without_room_is_told():
    pinned = {"name": "mine", "cells": [2, 2], "height": 30, "at": [0, 0]}
    plan = lay_out(job(item("cells", count=4, at=[1, 1]), trays=[pinned]))
    (lack,) = plan.unplaced
    assert (lack.pointer, lack.drawer, lack.count) == ("/drawers/0/items/0", "top", 4)
    assert lack.reason.startswith("No room at its place")


def test_what_is_too_tall_is_told_and_a_strict_job_is_refused():
    tall = box("bottle", [60, 60, 120], storage="upright")
    plan = lay_out(job(tall, item("cells")))
    (lack,) = plan.unplaced
    assert lack.reason.startswith("It is too tall: it needs")
    assert len(trays(plan)) == 1
    with pytest.raises(LayoutError) as refused:
        lay_out(job(tall, item("cells"), strict=True))
    assert refused.value.pointer == "/drawers/0/items/0"


def test_another_drawer_of_the_job_is_the_first_remedy():
    tall = box("bottle", [60, 60, 120], storage="upright")
    high = {"name": "high", "width": 212, "depth": 254, "height": 160}
    (lack,) = lay_out(job(tall, drawers=[high])).unplaced
    assert "'high'" in lack.remedy
    plan = lay_out(job(items_of_job=[tall], drawers=[high]))
    assert not plan.unplaced
    assert [content.item for content in plan.drawers[1].contents] == ["bottle"]


def test_a_kind_that_no_one_drawer_holds_is_split_over_several():
    second = {"name": "below", "width": 212, "depth": 254, "height": 70}
    (lack,) = lay_out(job(box("block", [90, 70, 45], count=20))).unplaced
    spec = job(items_of_job=[box("block", [90, 70, 45], count=20)], drawers=[second])
    plan = lay_out(spec)
    sound(plan, spec)
    assert all(drawer.contents for drawer in plan.drawers)
    assert sum(other.count for other in plan.unplaced) < lack.count


def test_things_of_one_name_in_two_lists_are_told_apart():
    plan = lay_out(job(item("cells", count=4, group="a"), items_of_job=[item("cells", count=4, group="a")]))
    assert sorted(content.pointer for content in plan.drawers[0].contents) == ["/drawers/0/items/0", "/items/0"]


def test_no_tray_is_larger_than_the_bed():
    spec = job(box("level", [200, 30, 20]), fill=True)
    changes = {"printer": {"bed": [130, 130, 130]}, "joints": False}
    small = load(spec.model_dump(mode="json", exclude_none=True) | changes)
    plan = lay_out(small)
    assert [entry.item for entry in plan.unplaced] == ["level"]
    assert all(max(part.size[:2]) <= 130 for part in plan.parts if part.kind == "tray")
    sound(plan, small)


def test_copies_of_a_drawer_have_the_same_in_them():
    plan = lay_out(job(item("cells", count=4), copies=3))
    assert [part.quantity for part in plan.parts if part.kind == "tray"] == [3]


_ELSEWHERE = """
from tests.layout.items.test_item_trays import item, job, lay_out, NUTS
spec = job(*(item(f"k{n}", NUTS, count=5 + n, access=("often", "rarely")[n % 2], group="ab"[n % 2]) for n in range(12)))
print(lay_out(spec).drawers)
"""


def test_a_layout_is_the_same_in_another_process():
    answers = {
        subprocess.run([sys.executable, "-c", _ELSEWHERE], check=True, capture_output=True, text=True).stdout
        for _ in range(2)
    }
    assert len(answers) == 1


SPANNER = {"kind": "polygon", "height": 6, "points": [
    [0, 0], [30, 0], [34, 8], [110, 8], [114, 0], [140, 0], [140, 26], [114, 26], [110, 18], [34, 18], [30, 26], [0, 26]
]}  # fmt: skip
ANGLE = {"kind": "polygon", "points": [[0, 0], [90, 0], [90, 20], [20, 20], [20, 60], [0, 60]], "height": 9}


@pytest.mark.parametrize("engraved", [False, True])
def test_kinds_of_a_group_in_pockets_share_a_tray_that_costs_less_than_two(engraved):
    def plan_of(groups):
        items = [
            item(name, shape, storage="pocket", group=group, engraved=engraved)
            for (name, shape), group in zip((("spanner", SPANNER), ("angle", ANGLE)), groups, strict=True)
        ]
        spec = job(*items)
        plan = lay_out(spec)
        sound(plan, spec)
        return plan

    apart, together = plan_of(["a", "b"]), plan_of(["a", "a"])
    assert (len(trays(apart)), len(trays(together))) == (2, 1)
    cells = [sum(len(under) for _, under, _ in trays(plan)) for plan in (apart, together)]
    assert cells[1] <= cells[0]
    (drawer,) = together.drawers
    assert [(each.item, each.count, each.capacity, each.storage) for each in drawer.contents] == [
        ("spanner", 1, 1, "pocket"), ("angle", 1, 1, "pocket")
    ]  # fmt: skip
    assert len({each.placement for each in drawer.contents}) == 1
