"""Panels: their ends, and the names of what stands on them."""

import pytest
from pydantic import ValidationError

from worker.spec import load
from worker.spec.drawer.panel import Panel
from worker.spec.errors import SpecError


@pytest.mark.parametrize("ends", [{"start": 10, "end": 50}, {"start": 10}, {"end": 20}, {}])
def test_a_panel_is_40_mm_long_or_has_an_open_end(ends):
    panel = Panel.model_validate({"along": "x", "at": 100, **ends})
    assert (panel.start, panel.end) == (ends.get("start"), ends.get("end"))


def test_a_panel_shorter_than_40_mm_is_refused():
    with pytest.raises(ValidationError, match="too short"):
        Panel.model_validate({"along": "x", "at": 100, "start": 10, "end": 49.9})


def _trays(minimal, *below, panels=()):
    high = {"z": 30} if panels else {}
    trays = [{"name": name, "cells": [2, 2], "height": 30, "quantity": quantity, **high} for name, quantity in below]
    upper = {"name": "upper", "cells": [2, 2], "height": 20, "on": ["low"]}
    minimal["drawers"][0] |= {"trays": [*trays, upper], "panels": list(panels)} | ({"floor": "none"} if panels else {})
    return minimal


def test_a_tray_stands_on_whatever_has_the_name_once(minimal):
    panel = {"name": "low", "along": "x", "at": 100}
    load(_trays(minimal, ("low", 1)))
    load(_trays(minimal, ("other", 1), panels=[panel]))


@pytest.mark.parametrize(
    ("below", "panels"),
    [
        ([("low", 2)], 0),
        ([("low", 1), ("low", 1)], 0),
        ([("low", 1)], 1),  # a tray and a panel
        ([("other", 1)], 2),
        ([("other", 1)], 0),
    ],
)
def test_a_tray_on_what_is_not_there_once_is_refused(minimal, below, panels):
    walls = [{"name": "low", "along": "x", "at": 100 + 100 * number} for number in range(panels)]
    with pytest.raises(SpecError) as caught:
        load(_trays(minimal, *below, panels=walls))
    assert [error.pointer for error in caught.value.errors or (caught.value,)] == [
        f"/drawers/0/trays/{len(below)}/on/0"
    ]
