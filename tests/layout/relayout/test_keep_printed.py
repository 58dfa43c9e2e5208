"""A job laid out over one that is printed."""

import copy
import json
from collections import Counter

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.layout.relayout.printed_manifest import again, counts, first, printed
from worker.layout.model.changes import changes_of
from worker.layout.model.plan_document import plan_document
from worker.spec import load
from worker.spec.errors import LayoutError, SpecError, TrayError


def job(*drawers, **fields):
    return {
        "spec": "1",
        "name": "workbench",
        "drawers": [
            {"name": f"bench {n}", "width": 310, "depth": 425, "height": 70, **drawer}
            for n, drawer in enumerate(drawers)
        ],
        "printer": {"bed": [256, 256, 256]},
        **fields,
    }


TRAYS = [
    {"name": "screws", "cells": [2, 1], "height": 40, "quantity": 3, "compartments": [2, 1]},
    {"name": "bits", "cells": [1, 2], "height": 30, "rim": "straight"},
    {"name": "nuts", "cells": [1, 1], "height": 40, "quantity": 4, "magnets": {"diameter": 8, "depth": 3}},
]
#: Kinds of different groups, so that each but the last two has a tray of its own.
ITEMS = [
    {"name": "cells", "shape": {"kind": "standard", "id": "battery-aa"}, "count": 12, "group": "power"},
    {
        "name": "pens",
        "shape": {"kind": "cylinder", "diameter": 10, "length": 145},
        "count": 8,
        "access": "often",
        "group": "writing",
    },
    {"name": "knife", "shape": {"kind": "box", "size": [160, 25, 20]}, "group": "cutting"},
    {"name": "nuts", "shape": {"kind": "standard", "id": "nut-m4"}, "count": 100, "group": "M4"},
    {"name": "washers", "shape": {"kind": "cylinder", "diameter": 9, "length": 0.9}, "count": 100, "group": "M4"},
]


def stands(plan):
    """Return where every part stands."""
    return {
        (drawer.name, placement.mark, placement.cell or placement.at, placement.at[2], placement.turn, placement.name)
        for drawer in plan.drawers
        for placement in drawer.placements
    }


def pieces(plan):
    return {part.mark: part.quantity for part in plan.parts}


def check_sums(plan, before):
    """What is kept, moved and new is all that is needed; kept, moved and retired all that is printed."""
    changes = plan.changes
    kept, new, retired = counts(changes.kept), counts(changes.new), counts(changes.retired)
    moved = Counter()
    for move in changes.moved:
        moved[move.mark] += move.count
        assert move.before != move.now
    needed, there = pieces(plan), pieces(before)
    for mark in needed.keys() | there.keys():
        served = kept.get(mark, 0) + moved[mark]
        assert served + new.get(mark, 0) == needed.get(mark, 0), mark
        assert served + retired.get(mark, 0) == there.get(mark, 0), mark
    shapes = {part.mark: part.shape for part in before.parts}
    for part in plan.parts:
        assert shapes.get(part.mark, part.shape) == part.shape
    numbers = dict(plan.numbering)
    assert all(int(mark[1:]) <= numbers[mark[0]] for mark in needed.keys() | there.keys())


def check_unchanged(plan, before):
    check_sums(plan, before)
    assert not plan.changes.new
    assert not plan.changes.moved
    assert not plan.changes.retired
    assert plan.parts == before.parts
    assert stands(plan) == stands(before)
    assert plan.unplaced == before.unplaced


SAME = {
    "trays": job({"trays": TRAYS}),
    "items": job({"items": ITEMS}),
    "both": job({"items": ITEMS[:3], "trays": TRAYS}, {"trays": TRAYS[:1], "copies": 2}),
    "over all drawers": job({}, {"height": 120}, items=ITEMS),
    "half cells": job(
        {"trays": [*TRAYS, {"name": "clips", "cells": [1.5, 0.5], "height": 30}], "items": ITEMS[:2]},
        grid={"half_cells": True},
    ),
    "keys": job({"trays": TRAYS}, grid={"seam": "key"}),
    "fill": job({"items": ITEMS[:2], "fill": True}),
    "no coupon": job({"trays": TRAYS}, coupon=False),
    "obstacle": job({"obstacles": [{"at": [260, 380], "size": [50, 45]}], "trays": TRAYS}),
}


@pytest.mark.parametrize("name", SAME)
def test_the_same_spec_changes_nothing_however_often(name):
    before = first(SAME[name])
    plan = again(SAME[name], before)
    check_unchanged(plan, before)
    check_unchanged(again(SAME[name], plan), plan)


_tray = st.fixed_dictionaries(
    {
        "cells": st.tuples(st.integers(1, 3), st.integers(1, 2)).map(list),
        "height": st.sampled_from([30, 40, 55]),
        "quantity": st.integers(1, 2),
        "rim": st.sampled_from(["stacking", "straight"]),
    }
)
_lists = st.lists(_tray, min_size=1, max_size=5).map(
    lambda trays: [{"name": f"tray {n}", **tray} for n, tray in enumerate(trays)]
)


@given(_lists)
@settings(max_examples=20, deadline=None)
def test_the_same_trays_change_nothing(trays):
    data = job({"trays": trays})
    before = first(data)
    check_unchanged(again(data, before), before)


@given(_lists, st.integers(0, 5))
@settings(max_examples=20, deadline=None)
def test_one_tray_more_changes_only_that(trays, where):
    before = first(job({"trays": trays}))
    more = [*trays[:where], {"name": "new", "cells": [1, 1], "height": 25}, *trays[where:]]
    plan = again(job({"trays": more}), before)
    check_sums(plan, before)
    assert [(entry.name, entry.count) for entry in plan.changes.new] == [("new", 1)]
    assert not plan.changes.moved
    assert not plan.changes.retired
    assert stands(before) < stands(plan)


@given(_lists, st.integers(0, 4))
@settings(max_examples=20, deadline=None)
def test_one_tray_less_retires_it(trays, which):
    before = first(job({"trays": trays}))
    gone = trays[which % len(trays)]
    less = [tray for tray in trays if tray is not gone]
    plan = again(job({"trays": less}), before)
    check_sums(plan, before)
    assert not plan.changes.new
    assert sum(entry.count for entry in plan.changes.retired) == gone["quantity"]
    assert not plan.changes.moved
    assert stands(plan) < stands(before)


@given(_lists, _lists, st.sampled_from([250, 310, 330, 400]))
@settings(max_examples=20, deadline=None)
def test_the_sums_are_right_whatever_changes(trays, others, width):
    # the narrow drawer has 50 cells, of which trays in a row of their own leave some over
    assume(sum(tray["quantity"] * tray["cells"][0] * tray["cells"][1] for tray in others) <= 35)
    before = first(job({"trays": trays}, {"trays": others, "copies": 2}))
    plan = again(job({"trays": others, "width": width}, {"trays": trays[:2], "copies": 3}), before)
    check_sums(plan, before)


def test_a_wider_drawer_keeps_its_trays_and_gets_new_tiles():
    before = first(job({"trays": TRAYS}))
    plan = again(job({"trays": TRAYS, "width": 400}), before)
    check_sums(plan, before)
    trays = {part.mark for part in plan.parts if part.kind == "tray"}
    assert {entry.mark for entry in plan.changes.kept} >= trays
    assert all(entry.kind == "tile" for entry in plan.changes.new)
    assert any(entry.kind == "tile" for entry in plan.changes.retired)
    old = {part.mark for part in before.parts if part.kind == "tile"}
    assert not old & {entry.mark for entry in plan.changes.new if entry.name == "border"}


def test_trays_that_find_no_cells_any_more_are_moved():
    trays = [{"name": "bits", "cells": [1, 1], "height": 30, "at": [6, 0]}]
    before = first(job({"trays": trays}))
    free = [{"name": "bits", "cells": [1, 1], "height": 30}]
    plan = again(job({"trays": free, "width": 200}), before)
    check_sums(plan, before)
    (move,) = (entry for entry in plan.changes.moved if entry.kind == "tray")
    assert (move.name, move.count, move.before.cell, move.now.cell) == ("bits", 1, (6.0, 0.0), (0.0, 0.0))
    stays = again(job({"trays": free}), before)
    assert not stays.changes.moved


def test_a_tray_over_a_new_obstacle_is_moved():
    trays = [{"name": "bits", "cells": [1, 1], "height": 30}]
    before = first(job({"trays": trays}))
    plan = again(job({"trays": trays, "obstacles": [{"at": [0, 0], "size": [30, 30]}]}), before)
    assert [entry.kind for entry in plan.changes.moved if entry.kind == "tray"] == ["tray"]


def test_printed_trays_make_room_when_all_would_not_fit():
    drawer = {"width": 4 * 42 + 2, "depth": 42 + 2}
    before = first(job({**drawer, "trays": [{"name": "bits", "cells": [1, 1], "height": 30, "at": [1, 0]}]}))
    trays = [{"name": "bits", "cells": [1, 1], "height": 30}, {"name": "saws", "cells": [3, 1], "height": 30}]
    plan = again(job({**drawer, "trays": trays}), before)
    check_sums(plan, before)
    assert [entry.name for entry in plan.changes.moved] == ["bits"]
    assert [entry.name for entry in plan.changes.new] == ["saws"]


def test_a_tray_goes_where_the_drawer_of_its_name_goes():
    before = first(job({"trays": TRAYS}, {"trays": TRAYS[:1]}))
    data = job({"trays": TRAYS}, {"trays": TRAYS[:1]})
    data["drawers"].reverse()
    plan = again(data, before)
    assert not plan.changes.moved
    assert not plan.changes.new


def test_marks_of_retired_parts_are_never_given_again():
    low, two, three = (job({"trays": [{"name": "bits", "cells": [1, 1], "height": height}]}) for height in (30, 31, 32))
    before = first(low)
    second = again(two, before)
    third = again(three, second)
    marks = [next(part.mark for part in plan.parts if part.kind == "tray") for plan in (before, second, third)]
    assert marks == ["T1", "T2", "T3"]
    assert counts(third.changes.retired)["T2"] == 1
    fourth = again(low, third)
    assert next(part.mark for part in fourth.parts if part.kind == "tray") == "T4"


def test_another_clearance_makes_everything_anew_with_marks_of_its_own():
    before = first(job({"trays": TRAYS}))
    plan = again(job({"trays": TRAYS}, grid={"clearance": 0.25}), before)
    check_sums(plan, before)
    assert not {part.mark for part in before.parts if part.kind in {"tray", "coupon", "plug"}} & pieces(plan).keys()
    for part in plan.parts:
        own = [lettering.text for lettering in getattr(part.shape, "letterings", ()) if lettering.text == part.mark]
        assert own or any(part.mark in warning.message for warning in plan.warnings)


def placed(plan, item):
    """Return the one placement of an item, with its drawer and count."""
    ((drawer, content),) = (
        (drawer, content) for drawer in plan.drawers for content in drawer.contents if content.item == item
    )
    placement = drawer.placements[content.placement]
    return drawer.name, placement.mark, placement.cell, content.count


@pytest.mark.parametrize("shared", [False, True])
def test_items_that_their_tray_still_serves_stay(shared):
    def with_items(items):
        return job({}, items=items) if shared else job({"items": items})

    before = first(with_items(ITEMS))
    fewer = copy.deepcopy(ITEMS)
    fewer[1]["count"] = 5
    more = {"name": "chalk", "shape": {"kind": "box", "size": [60, 12, 12]}, "count": 6}
    plan = again(with_items([more, *fewer]), before)
    check_sums(plan, before)
    for item in ITEMS:
        count = next(entry for entry in fewer if entry["name"] == item["name"]).get("count", 1)
        assert placed(plan, item["name"])[:3] == placed(before, item["name"])[:3]
        assert placed(plan, item["name"])[3] == count
    assert [entry.name for entry in plan.changes.new if entry.kind == "tray"] == ["chalk"]
    assert not [entry for entry in plan.changes.retired if entry.kind == "tray"]
    pointers = {content.item: content.pointer for drawer in plan.drawers for content in drawer.contents}
    assert pointers["pens"].endswith("/items/2")


def test_an_item_that_outgrows_its_tray_gets_another_and_the_rest_stays():
    before = first(job({"items": ITEMS}))
    grown = copy.deepcopy(ITEMS)
    grown[0]["count"] = 60
    plan = again(job({"items": grown}), before)
    check_sums(plan, before)
    for item in ITEMS[1:]:
        assert placed(plan, item["name"])[1:3] == placed(before, item["name"])[1:3]
    assert placed(plan, "cells")[3] == 60
    assert counts(plan.changes.retired)[placed(before, "cells")[1]] == 1


def test_an_item_less_retires_its_tray():
    before = first(job({"items": ITEMS}))
    plan = again(job({"items": ITEMS[1:]}), before)
    check_sums(plan, before)
    assert counts(plan.changes.retired) == {placed(before, "cells")[1]: 1}
    assert not plan.changes.new
    assert not plan.changes.moved


def test_an_item_with_a_new_place_goes_there():
    before = first(job({"items": ITEMS[:2]}))
    _, _, cell, _ = placed(before, "pens")
    there = [cell[0] + 1, 5]
    plan = again(job({"items": [ITEMS[0], {**ITEMS[1], "at": there}]}), before)
    assert placed(plan, "pens")[2] == tuple(there)
    assert placed(plan, "cells")[2] == placed(before, "cells")[2]


def test_a_tray_with_a_place_overrules_what_stands_there():
    before = first(job({"items": ITEMS[:1]}))
    _, _, cell, _ = placed(before, "cells")
    trays = [{"name": "bits", "cells": [1, 1], "height": 30, "at": list(cell)}]
    plan = again(job({"items": ITEMS[:1], "trays": trays}), before)
    check_sums(plan, before)
    assert placed(plan, "cells")[2] != cell
    fixed = job({"items": [{**ITEMS[0], "fixed": True}], "trays": trays})
    with pytest.raises(LayoutError, match=r"cells.*another tray stands in its place") as caught:
        again(fixed, before)
    assert caught.value.pointer == "/drawers/0/items/0/fixed"


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"count": 500}, "has room for"),
        ({"shape": {"kind": "box", "size": [20, 20, 50]}}, "shape is another"),
        ({"label": "AA"}, "label is another"),
        ({"name": "other"}, "has no such item"),
    ],
)
def test_a_fixed_item_that_cannot_stay_is_refused_by_name(fields, why):
    before = first(job({"items": ITEMS}))
    item = {**ITEMS[0], "fixed": True, **fields}
    with pytest.raises(LayoutError, match=why) as caught:
        again(job({"items": [*ITEMS[1:], item]}), before)
    assert caught.value.pointer == "/drawers/0/items/4/fixed"
    assert item["name"] in caught.value.message
    assert caught.value.remedy


def test_every_fixed_item_that_cannot_stay_is_named():
    before = first(job({"items": ITEMS[:2]}))
    items = [{**item, "fixed": True, "count": 900} for item in ITEMS[:2]]
    with pytest.raises(LayoutError) as caught:
        again(job({}, items=items), before)
    assert [error.pointer for error in caught.value.errors] == ["/items/0/fixed", "/items/1/fixed"]


def test_fixed_items_stay_when_others_must_move():
    drawer = {"width": 4 * 42 + 2, "depth": 2 * 42 + 2}
    small = {"name": "dice", "shape": {"kind": "box", "size": [16, 16, 16]}, "storage": "rows", "at": [1, 0]}
    before = first(job({**drawer, "items": [small]}))
    del small["at"]
    large = {"name": "ruler", "shape": {"kind": "box", "size": [140, 25, 10]}, "storage": "rows"}
    beside = {"name": "saw", "shape": {"kind": "box", "size": [140, 24, 10]}, "storage": "rows"}
    moved = again(job({**drawer, "items": [small, large, beside]}), before)
    check_sums(moved, before)
    fixed = again(job({**drawer, "items": [{**small, "fixed": True}, large, beside]}), before)
    assert placed(fixed, "dice")[2] == (1.0, 0.0)
    assert len(moved.unplaced) <= len(fixed.unplaced)


def test_what_had_no_place_before_moves_nothing():
    drawer = {"width": 5 * 42 + 2, "depth": 3 * 42 + 2}
    small = {"name": "dice", "shape": {"kind": "box", "size": [16, 16, 16]}, "storage": "rows"}
    large = {"name": "album", "shape": {"kind": "box", "size": [155, 70, 10]}, "storage": "rows"}
    before = first(job({**drawer, "items": [{**small, "at": [1, 1]}, large]}))
    assert [entry.item for entry in before.unplaced] == ["album"]

    plan = again(job({**drawer, "items": [small, large]}), before)

    check_sums(plan, before)
    assert not plan.changes.moved
    assert placed(plan, "dice") == placed(before, "dice")
    assert [entry.item for entry in plan.unplaced] == ["album"]
    alone = first(job({**drawer, "items": [{**small, "at": [1, 1]}]}))
    changed = again(job({**drawer, "items": [small, large]}), alone)  # the album is new: it may move the dice
    assert not changed.unplaced
    assert placed(changed, "dice") != placed(alone, "dice")


def test_piles_stay_as_they_are():
    thing = {"shape": {"kind": "box", "size": [70, 70, 30]}, "access": "rarely", "storage": "rows"}
    drawer = {"width": 2 * 42 + 2, "depth": 3 * 42 + 2, "height": 150}
    data = job({**drawer, "items": [{"name": f"plate {n}", **thing} for n in range(3)]})
    before = first(data)
    heights = {placement.at[2] for placement in before.drawers[0].placements if placement.mark.startswith("T")}
    assert len(heights) > 1
    check_unchanged(again(data, before), before)
    low = copy.deepcopy(data)
    low["drawers"][0]["height"] = 100
    check_sums(again(low, before), before)


def tops(plan):
    """Return how high each tray, and what is in it, reaches over the drawer's bottom."""
    heights = {part.mark: part.size[2] for part in plan.parts if part.kind == "tray"}
    (drawer,) = plan.drawers
    trays = [place.at[2] + heights[place.mark] for place in drawer.placements if place.mark in heights]
    return trays + [stored.at[2] + stored.size[2] for stored in drawer.contents]


@pytest.mark.parametrize("label", [False, True])
def test_of_a_pile_only_what_a_lower_drawer_has_room_for_stays(label):
    thing = {"shape": {"kind": "box", "size": [60, 45, 20]}, "access": "rarely", "storage": "rows", "label": label}
    drawer = {"width": 2 * 42 + 2, "depth": 3 * 42 + 2, "height": 200}
    data = job({**drawer, "items": [{"name": f"plate {n}", **thing} for n in range(3)]})
    before = first(data)
    highest = max(tops(before))
    # the whole pile stays where it just has room; where it is a millimetre too high its top goes
    for height, stay in ((highest + 2.1, True), (highest + 1.0, False)):
        low = copy.deepcopy(data)
        low["drawers"][0]["height"] = height
        plan = again(low, before)
        check_sums(plan, before)
        assert max(tops(plan)) <= height - 2.0 + 1e-6  # 2 mm of air under the drawer's frame
        assert (max(tops(plan)) == highest) is stay


def test_no_spare_tray_stays_in_a_drawer_that_is_too_low_for_it():
    before = first(job({"items": ITEMS, "fill": True}))
    height = sorted(tops(before))[len(tops(before)) // 2]
    for low, most in ((height + 2.1, height), (height - 1.0, height - 3.0)):
        plan = again(job({"fill": True, "height": low}), before)
        check_sums(plan, before)
        assert max(tops(plan)) <= most + 0.1 + 1e-6
    assert not plan.drawers[0].spaces


@given(
    st.lists(st.sampled_from(ITEMS), unique_by=lambda item: item["name"], max_size=5),
    st.lists(st.sampled_from(ITEMS), unique_by=lambda item: item["name"], max_size=5),
)
@settings(max_examples=15, deadline=None)
def test_items_that_come_and_go_leave_the_others_alone(items, others):
    before = first(job({"items": items}))
    plan = again(job({"items": others}), before)
    check_sums(plan, before)
    there = {content.item: content for drawer in before.drawers for content in drawer.contents}
    for content in (content for drawer in plan.drawers for content in drawer.contents):
        if content.item in there:
            assert placed(plan, content.item) == placed(before, content.item)


def test_a_manifest_that_was_tampered_with_is_refused_or_does_no_harm():
    data = job({"trays": TRAYS, "items": ITEMS[:2]})
    manifest = printed(first(data)).model_dump(mode="json")

    def laid(change):
        trial = json.loads(json.dumps(manifest))
        change(trial)
        return first({**data, "previous": trial})

    with pytest.raises(LayoutError, match="the same mark") as caught:
        laid(lambda manifest: manifest["parts"][1].update(mark=manifest["parts"][0]["mark"]))
    assert caught.value.pointer == "/previous/parts/1/mark"
    with pytest.raises(LayoutError, match="another kind"):
        laid(lambda manifest: manifest["parts"][0].update(mark="T99"))
    with pytest.raises(LayoutError, match="used up") as caught:
        laid(
            lambda manifest: [
                manifest["numbering"].update(T=99_999),
                *(part.update(shape=None) for part in manifest["parts"]),
            ]
        )
    assert caught.value.pointer == "/previous/numbering"
    with pytest.raises(SpecError):
        laid(lambda manifest: manifest["parts"][-3].update(tray={"name": "x"}))
    for change in (
        lambda manifest: manifest["drawers"][0].update(placements=[]),
        lambda manifest: manifest["drawers"][0].update(name="gone"),
        lambda manifest: [part.update(tray=None) for part in manifest["parts"]],
        lambda manifest: [part.update(shape="0" * 64) for part in manifest["parts"]],
        lambda manifest: [
            place.update(cell=[-3, 200]) for place in manifest["drawers"][0]["placements"] if place["cell"]
        ],
        lambda manifest: [lot.update(placement=999) for lot in manifest["drawers"][0]["contents"]],
        lambda manifest: manifest.update(parts=[]),
    ):
        plan = laid(change)
        assert not plan.unplaced
        assert len([manifest for manifest in plan.drawers[0].placements if manifest.mark.startswith("T")]) == 10


def test_printed_trays_that_nothing_needs_serve_as_spare_ones():
    before = first(job({"items": ITEMS, "trays": TRAYS[1:2], "fill": True}))
    plan = again(job({"items": ITEMS[1:], "fill": True}), before)
    check_sums(plan, before)
    assert not plan.changes.new
    assert not plan.changes.moved
    assert not plan.changes.retired
    assert not plan.drawers[0].spaces


def test_things_come_before_spare_trays():
    before = first(job({"items": ITEMS[:2], "fill": True}))
    plan = again(job({"items": ITEMS, "fill": True}), before)
    check_sums(plan, before)
    assert not plan.unplaced
    assert not plan.drawers[0].spaces
    assert all(entry.name.startswith("spare") for entry in plan.changes.retired)


def test_one_of_several_kinds_keeps_the_tray_they_shared():
    labelled = [{**item, "label": True} for item in ITEMS[3:]]
    before = first(job({"items": labelled}))
    assert placed(before, "nuts")[1:3] == placed(before, "washers")[1:3]
    plan = again(job({"items": labelled[:1]}), before)
    check_sums(plan, before)
    assert placed(plan, "nuts") == placed(before, "nuts")
    check_unchanged(again(job({"items": labelled[:1]}), plan), plan)
    plain = again(job({"items": [ITEMS[3], ITEMS[4]]}), before)
    assert placed(plain, "nuts")[1] == placed(before, "nuts")[1]


#: Kinds of one group, in one tray.
MIXED = [
    {"name": "nuts", "shape": {"kind": "standard", "id": "nut-m4"}, "count": 40, "group": "M4"},
    {"name": "bits", "shape": {"kind": "cylinder", "diameter": 7, "length": 25}, "count": 6, "group": "M4"},
    {"name": "keys", "shape": {"kind": "box", "size": [30, 10, 5]}, "count": 2, "group": "M4"},
]


def together(plan, items):
    """Return whether all of these lie in one tray."""
    return len({placed(plan, item["name"])[:3] for item in items}) == 1


@pytest.mark.parametrize("which", range(len(MIXED)))
def test_a_kind_less_leaves_the_others_in_the_tray_they_shared(which):
    before = first(job({"items": MIXED}))
    assert together(before, MIXED)
    left = [item for index, item in enumerate(MIXED) if index != which]
    plan = again(job({"items": left}), before)
    check_sums(plan, before)
    for item in left:
        assert placed(plan, item["name"]) == placed(before, item["name"])
    assert not [entry for entry in (*plan.changes.new, *plan.changes.moved) if entry.kind == "tray"]
    check_unchanged(again(job({"items": left}), plan), plan)


@pytest.mark.parametrize("which", range(len(MIXED)))
def test_a_kind_that_outgrows_a_shared_tray_gets_one_of_its_own_and_the_others_stay(which):
    before = first(job({"items": MIXED}))
    grown = [{**item, "count": 600} if index == which else item for index, item in enumerate(MIXED)]
    plan = again(job({"items": grown}), before)
    check_sums(plan, before)
    for item in grown:
        same = placed(plan, item["name"])[:3] == placed(before, item["name"])[:3]
        assert same == (item is not grown[which])
    assert placed(plan, grown[which]["name"])[3] == 600
    (entry,) = [entry for entry in plan.changes.new if entry.kind == "tray"]
    assert entry.name == grown[which]["name"]


def test_kinds_that_come_back_find_the_tray_they_shared():
    before = first(job({"items": MIXED}))
    fewer = again(job({"items": MIXED[1:]}), before)
    plan = again(job({"items": [*MIXED[1:], {**MIXED[0], "count": 20}]}), fewer)
    check_sums(plan, fewer)
    for item in MIXED[1:]:
        assert placed(plan, item["name"]) == placed(before, item["name"])


def test_equal_names_in_two_lists_are_told_apart():
    nuts = {"name": "nuts", "shape": {"kind": "standard", "id": "nut-m4"}, "count": 100, "group": "M4"}
    data = job({"items": [nuts]}, items=[{**nuts, "count": 150}])
    before = first(data)
    plan = again(data, before)
    check_unchanged(plan, before)
    lots = [(content.pointer, content.count) for drawer in plan.drawers for content in drawer.contents]
    assert sorted(lots) == sorted(
        (content.pointer, content.count) for drawer in before.drawers for content in drawer.contents
    )


def test_without_a_previous_manifest_nothing_has_changed():
    plan = first(job({"trays": TRAYS}))
    assert plan.changes is None
    assert plan_document(plan).changes is None


def test_changes_count_parts_that_stand_nowhere():
    before = first(job({"trays": TRAYS}))
    plan = first(job({"trays": TRAYS}, coupon=False))
    changes = changes_of(plan_document(plan), printed(before))
    assert {entry.kind for entry in changes.retired} == {"coupon", "plug"}


def test_a_tray_that_is_refused_is_refused_as_before():
    before = first(job({"trays": TRAYS}))
    with pytest.raises(TrayError, match="finds no room"):
        again(job({"trays": [{"name": "slabs", "cells": [7, 6], "height": 30, "quantity": 2}, *TRAYS]}), before)
    assert load(job({"trays": TRAYS})).previous is None


def _middle(plan, name):
    """The drawer that a tray stands in, and its middle in half cells, for a tray that holds nothing else."""
    marks = {part.mark: part.shape.halves for part in plan.parts if part.kind == "tray"}
    for drawer in plan.drawers:
        for placement in drawer.placements:
            if placement.name == name:
                across, back = marks[placement.mark]
                return drawer.name, (2 * placement.cell[0] + across / 2, 2 * placement.cell[1] + back / 2)
    raise AssertionError(name)


def _apart(plan, first, other):
    (home, (x, y)), (away, (u, v)) = _middle(plan, first), _middle(plan, other)
    assert home == away
    return abs(x - u) + abs(y - v)


_BLOCK = {"kind": "box", "size": [70, 70, 30]}
_FAR = {"name": "far", "shape": _BLOCK, "at": [3.0, 4.0], "access": "rarely", "storage": "rows"}


@pytest.mark.parametrize("tie", [{"near": "far"}, {"group": "blocks"}])
def test_what_is_new_stands_near_what_it_belongs_to_and_stays(tie):
    far = {**_FAR, "group": "blocks"}
    before = first(job({"width": 430, "items": [far]}))
    new = {"name": "new", "shape": _BLOCK, "storage": "rows", "access": "rarely"}
    alone = again(job({"width": 430, "items": [far, new]}), before)
    tied = again(job({"width": 430, "items": [far, {**new, **tie}]}), before)
    assert _middle(tied, "far") == _middle(before, "far")
    assert _apart(tied, "new", "far") < _apart(alone, "new", "far")
    # side by side, or one behind the other
    assert _apart(tied, "new", "far") <= 4
    check_sums(tied, before)


def test_what_stays_and_is_to_be_near_something_new_has_it_come_near():
    # it stays where another made room for it, far from the front left corner where what is new would go
    other = {"name": "other", "shape": {"kind": "box", "size": [230, 150, 30]}, "storage": "rows"}
    far = {"name": "far", "shape": _BLOCK, "storage": "rows", "access": "rarely"}
    before = first(job({"width": 430, "items": [other, far]}))
    new = {"name": "new", "shape": _BLOCK, "storage": "rows", "access": "often"}
    alone = again(job({"width": 430, "items": [far, new]}), before)
    tied = again(job({"width": 430, "items": [{**far, "near": "new"}, new]}), before)
    assert _middle(tied, "far") == _middle(before, "far")
    assert _apart(tied, "new", "far") <= 4
    assert _apart(tied, "new", "far") < _apart(alone, "new", "far")


@pytest.mark.parametrize("tie", [{"near": "far"}, {"group": "blocks"}])
def test_what_is_new_goes_into_the_drawer_of_what_it_belongs_to(tie):
    # only the second drawer is high enough for what stays
    far = {"name": "far", "shape": {"kind": "box", "size": [70, 70, 60]}, "group": "blocks", "storage": "rows"}
    new = {"name": "new", "shape": _BLOCK, "storage": "rows"}
    low, high = {"height": 45}, {"height": 90}
    before = first(job(low, high, items=[far]))
    alone = again(job(low, high, items=[far, new]), before)
    tied = again(job(low, high, items=[far, {**new, **tie}]), before)
    assert _middle(alone, "new")[0] == "bench 0"
    assert _middle(tied, "new")[0] == _middle(tied, "far")[0] == "bench 1"


@given(st.integers(0, 40), st.sampled_from([{}, {"near": "cells"}, {"group": "M4"}]))
@settings(max_examples=10, deadline=None)
def test_nothing_new_stands_on_what_it_belongs_to(count, tie):
    before = first(job({"items": ITEMS}))
    new = {"name": "more", "shape": {"kind": "box", "size": [30, 20, 15]}, "count": count + 1, **tie}
    plan = again(job({"items": [*ITEMS, new]}), before)
    (drawer,) = plan.drawers
    marks = {part.mark: part.shape.halves for part in plan.parts if part.kind == "tray"}
    seen = set()
    for placement in drawer.placements:
        if placement.mark in marks and not placement.at[2]:
            x, y = (round(2 * along) for along in placement.cell)
            across, back = marks[placement.mark]
            under = {(x + i, y + j) for i in range(across) for j in range(back)}
            assert not under & seen
            seen |= under
    check_sums(plan, before)
