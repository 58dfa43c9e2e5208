"""Compartments and sides in words, against layouts whose places are known by hand."""

from datetime import UTC, datetime

import pytest

from tests.printing.progress.planned_manifest import manifest_of
from worker.jobs.household.models import StoredDrawer, StoredThing
from worker.jobs.household.whereabouts import sentence_of, whereabouts_of
from worker.spec import load
from worker.spec.drawer.tray import Tray
from worker.spec.manifest import ContentEntry, DrawerEntry, PartEntry, PlacementEntry
from worker.spec.requests.household import DrawerRequest, ThingRequest

_NOW = datetime(2026, 3, 7, tzinfo=UTC)


def _whereabouts(at, **tray):
    """Return where a thing of 10 x 10 mm lies at ``at``, in a tray of 102.4 x 62.4 mm at (100, 40) of the drawer."""
    made = Tray(name="pens", cells=(2, 1), height=20, **tray)
    fields = {"mark": "T1", "kind": "tray", "name": "pens", "quantity": 1, "triangles": 4, "volume": 1, "area": 1}
    part = PartEntry(**fields, size=(102.4, 62.4, 20), tray=made, digest="0" * 64, checks=(), files=())
    content = ContentEntry(
        item="pen", pointer="/items/0", count=1, capacity=1, storage="rows", shape={"kind": "box", "size": [9, 9, 9]},
        placement=0, at=(*at, 3.0), size=(10.0, 10.0, 9.0),
    )  # fmt: skip
    placement = PlacementEntry(mark="T1", at=(100.0, 40.0, 3.0), turn=0)
    entry = DrawerEntry.model_construct(name="top", size=(300.0, 200.0, 60.0), placements=(placement,))
    request = DrawerRequest(name="top", width=300, depth=200, height=60)
    drawer = StoredDrawer("d", "local", request, _NOW, _NOW, 1, None)
    return whereabouts_of(drawer, entry, {"T1": part}, content, placed=True)


@pytest.mark.parametrize(
    ("at", "tray", "words"),
    [
        ((110, 50), {}, None),
        ((104, 44), {"compartments": (4, 1)}, "first of 4 compartments from the left"),
        ((130, 44), {"compartments": (4, 1)}, "second of 4 compartments from the left"),
        ((185, 44), {"compartments": (4, 1)}, "fourth of 4 compartments from the left"),
        ((130, 80), {"compartments": (1, 2)}, "second of 2 compartments from the front"),
        ((185, 80), {"compartments": (2, 2)}, "second of 2 compartments from the left, second of 2 from the front"),
        ((120, 44), {"dividers": [{"axis": "x", "at": 50}]}, "first of 2 compartments from the left"),
        ((160, 44), {"dividers": [{"axis": "x", "at": 50}]}, "second of 2 compartments from the left"),
    ],
)
def test_a_compartment_in_words(at, tray, words):
    compartment = _whereabouts(at, **tray).compartment
    assert (None if compartment is None else compartment.words) == words


def test_a_compartment_that_takes_several_columns_is_named_by_all_of_them():
    dividers = [{"axis": "y", "at": 30}, {"axis": "x", "at": 50, "span": [0, 30]}]
    front, back = (_whereabouts(at, dividers=dividers).compartment for at in ((160, 50), (160, 85)))
    assert (front.place, front.reach, front.grid) == ((1, 0), (1, 1), (2, 2))
    assert front.words == "second of 2 compartments from the left, first of 2 from the front"
    assert (back.place, back.reach, back.grid) == ((0, 1), (2, 1), (2, 2))
    assert back.words == "second of 2 compartments from the front"


def test_two_of_three_columns_are_both_named():
    dividers = [{"axis": "y", "at": 30}, {"axis": "x", "at": 60}, {"axis": "x", "at": 30, "span": [0, 30]}]
    assert _whereabouts((120, 85), dividers=dividers).compartment.words == (
        "first and second of 3 compartments from the left, second of 2 from the front"
    )


@pytest.mark.parametrize("compartments", [(3, 2), (1, 4), (5, 1)])
def test_numbers_are_those_of_a_hold(compartments):
    """A layout puts what a tray's `hold` names into the compartment of that number."""
    across, back = compartments
    holds = [
        {"item": f"{column} {row}", "compartment": [column, row]} for column in range(across) for row in range(back)
    ]
    tray = {"name": "held", "cells": [6, 3], "height": 40, "compartments": list(compartments), "hold": holds}
    items = [{"name": hold["item"], "shape": {"kind": "box", "size": [15, 12, 8]}} for hold in holds]
    drawer = {"name": "top", "width": 300, "depth": 200, "height": 60, "trays": [tray], "items": items}
    _, manifest = manifest_of(
        load({"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [270, 200, 200]}})
    )
    (entry,) = manifest.drawers
    request = DrawerRequest(name="top", width=300, depth=200, height=60)
    stored = StoredDrawer("d", "local", request, _NOW, _NOW, 1, None)
    parts = {part.mark: part for part in manifest.parts}
    assert len(entry.contents) == across * back
    for content in entry.contents:
        compartment = whereabouts_of(stored, entry, parts, content, placed=True).compartment
        assert compartment.place == tuple(int(number) for number in content.item.split())
        assert (compartment.grid, compartment.reach) == (compartments, (1, 1))


@pytest.mark.parametrize(
    ("at", "side"),
    [((5, 5), "at the front left"), ((145, 95), "in the middle"), ((285, 185), "at the back right"),
     ((145, 5), "at the front"), ((5, 95), "at the left")],
)  # fmt: skip
def test_a_side_in_words(at, side):
    assert _whereabouts(at).side == side


def test_what_lies_below_a_tray_says_so():
    pen = {"name": "pen", "shape": {"kind": "box", "size": [60, 10, 10]}, "access": "rarely"}
    trays = [
        {"name": "low", "cells": [2, 2], "height": 30, "at": [0, 0], "hold": [{"item": "pen"}]},
        {"name": "beside", "cells": [2, 2], "height": 30, "at": [2, 0]},
        {"name": "top", "cells": [4, 2], "height": 30, "on": ["low", "beside"]},
    ]
    drawer = {"name": "top", "width": 176, "depth": 92, "height": 90, "items": [pen], "trays": trays}
    _, manifest = manifest_of(
        load({"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [200, 200, 200]}})
    )  # fmt: skip
    (entry,) = manifest.drawers
    request = DrawerRequest(name="top", width=176, depth=92, height=90)
    stored = StoredDrawer("d", "local", request, _NOW, _NOW, 1, None)
    parts = {part.mark: part for part in manifest.parts}
    (content,) = entry.contents
    place = whereabouts_of(stored, entry, parts, content, placed=True)
    top = next(placement.mark for placement in entry.placements if placement.name == "top")
    assert place.below == (top,)
    thing = StoredThing("t", "local", ThingRequest(name="pen"), _NOW, _NOW, 1)
    assert sentence_of(thing, [place], None).endswith(f", below tray {top}.")
