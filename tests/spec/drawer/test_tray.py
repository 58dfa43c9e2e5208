"""Trays of the list: what lies on half cells, and how many compartments there are."""

import pytest
from pydantic import ValidationError

from worker.spec.drawer.tray import Tray


def tray(**fields):
    return Tray.model_validate({"name": "bits", "cells": [2, 2], "height": 40, **fields})


@pytest.mark.parametrize(
    ("fields", "halves"),
    [({}, False), ({"cells": [1.5, 2]}, True), ({"at": [1, 0]}, False), ({"at": [0, 0.5]}, True)],
)
def test_a_tray_is_on_halves_by_its_size_or_its_place(fields, halves):
    assert tray(**fields).on_halves == halves


def test_dividers_in_line_with_each_other_part_the_columns_once():
    dividers = [{"axis": "x", "at": 40}, {"axis": "y", "at": 30}, {"axis": "x", "at": 20, "span": [0, 30]}]
    assert tray(dividers=dividers).grid == (3, 2)
    in_line = [{"axis": "x", "at": 40, "span": [0, 30]}, {"axis": "x", "at": 40.5, "span": [30, 0]}]
    assert tray(dividers=[{"axis": "y", "at": 30}, in_line[0]]).grid == (2, 2)
    assert tray(compartments=[3, 1], dividers=[{"axis": "y", "at": 30}]).grid == (3, 2)


@pytest.mark.parametrize(("apart", "columns"), [(1.19, 2), (1.21, 3)])
def test_dividers_that_overlap_are_in_line(apart, columns):
    """Walls of 1.2 mm whose middles are nearer than that overlap."""
    dividers = [{"axis": "x", "at": 40}, {"axis": "x", "at": 40 + apart}]
    spans = [[0, 30], [30, 0]]
    across = {"axis": "y", "at": 30}
    parted = [{**own, "span": span} for own, span in zip(dividers, spans, strict=True)]
    assert tray(dividers=[across, *parted]).grid == (columns, 2)


@pytest.mark.parametrize(("fields", "raised"), [({}, False), ({"on": ["low"]}, True), ({"z": 20}, True)])
def test_a_tray_on_others_or_at_a_height_is_raised(fields, raised):
    assert tray(**fields).raised == raised


def test_a_ledge_falls_by_its_depth_at_most():
    assert tray(label_ledge={"depth": 10, "drop": 10}).label_ledge.drop == 10.0
    with pytest.raises(ValidationError):
        tray(label_ledge={"depth": 10, "drop": 10.1})
