"""What a tray is said to hold: names, counts and compartments are checked with their pointers."""

import pytest

from worker.spec import load
from worker.spec.errors import DrawerwrightError

AA = {"kind": "standard", "id": "battery-aa"}


def job(*trays, items=({"name": "cells", "shape": AA, "count": 8},), of_job=(), other=()):
    """Return the spec of a job with two drawers, trays in the first and in the other."""
    drawer = {"width": 212, "depth": 254, "height": 70}
    return {
        "spec": "1",
        "name": "bench",
        "printer": {"bed": [256, 256, 256]},
        "drawers": [
            {"name": "top", **drawer, "items": items, "trays": trays},
            {"name": "low", **drawer, "trays": other},
        ],
        "items": of_job,
    }


def tray(*hold, **fields):
    return {"name": "tray", "cells": [2, 2], "height": 30, "hold": hold, **fields}


def pointers(data):
    """Return the pointers of all that is refused."""
    with pytest.raises(DrawerwrightError) as refused:
        load(data)
    return {error.pointer for error in (refused.value.errors or (refused.value,))}


HOLD = "/drawers/0/trays/0/hold/0"


def test_an_item_of_the_drawer_comes_before_one_of_the_job():
    spec = load(job(tray({"item": "cells"}), of_job=[{"name": "cells", "shape": AA}]))
    assert spec.held_item(0, "cells")[0] == "/drawers/0/items/0"
    assert spec.held_item(1, "cells")[0] == "/items/0"
    assert spec.held_item(0, "nuts") is None


@pytest.mark.parametrize(
    ("trays", "pointer"),
    [
        ([tray({"item": "nuts"})], f"{HOLD}/item"),
        ([tray({"item": "cells", "count": 9})], f"{HOLD}/count"),
        ([tray({"item": "cells", "count": 5}), tray({"item": "cells", "count": 5})], "/drawers/0/trays/1/hold/0/count"),
        ([tray({"item": "cells"}), tray({"item": "cells"})], "/drawers/0/trays/1/hold/0/count"),
        ([tray({"item": "cells"}), tray({"item": "cells", "count": 8})], f"{HOLD}/count"),
        ([tray({"item": "cells", "compartment": [1, 0]})], f"{HOLD}/compartment/0"),
        ([tray({"item": "cells", "compartment": [1, 2]}, compartments=[2, 2])], f"{HOLD}/compartment/1"),
        ([tray({"item": "cells", "compartment": [2, 0]}, dividers=[{"axis": "x", "at": 30}])], f"{HOLD}/compartment/0"),
        ([tray({"item": "cells", "compartment": [-1, 0]})], f"{HOLD}/compartment/0"),
        ([tray({"item": "cells", "count": 0})], f"{HOLD}/count"),
        ([tray({"item": "cells", "count": 2}, quantity=2)], "/drawers/0/trays/0/quantity"),
        ([tray({"item": "cells", "count": 2}, {"item": "cells", "count": 2})], "/drawers/0/trays/0/hold/1/item"),
    ],
)
def test_what_cannot_be_held_is_refused_where_it_is_said(trays, pointer):
    assert pointers(job(*trays)) == {pointer}


def test_a_held_item_has_no_place_of_its_own():
    pinned = {"name": "cells", "shape": AA, "count": 8, "at": [0, 0]}
    assert pointers(job(tray({"item": "cells"}), items=[pinned])) == {f"{HOLD}/item"}


def test_another_drawers_item_is_not_held():
    assert pointers(job(other=[tray({"item": "cells"})])) == {"/drawers/1/trays/0/hold/0/item"}


def test_counts_of_one_item_may_be_spread_over_trays_and_drawers():
    things = {"name": "cells", "shape": AA, "count": 8}
    load(job(tray({"item": "cells", "count": 5}), other=[tray({"item": "cells"})], items=(), of_job=[things]))
