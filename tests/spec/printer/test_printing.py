"""How parts are printed: what differs by kind, and which numbers a nozzle allows."""

import pytest

from worker.spec import load
from worker.spec.errors import SpecError


def refused(spec):
    with pytest.raises(SpecError) as caught:
        load(spec)
    return {error.pointer: error.limit for error in caught.value.errors or (caught.value,)}


@pytest.mark.parametrize(
    ("printing", "pointer", "limit"),
    [
        ({"tray": {"line_width": 0.3}}, "/printing/tray/line_width", "0.32 to 1 mm"),
        ({"tile": {"line_width": 1.1}}, "/printing/tile/line_width", "0.32 to 1 mm"),
        ({"tray": {"layer": 0.33}}, "/printing/tray/layer", "at most 0.32 mm"),
        ({"tile": {"layer": 0.4}}, "/printing/tile/layer", "at most 0.32 mm"),
        ({"compare": [0.2, 0.36]}, "/printing/compare/1", "at most 0.32 mm"),
        ({"layer_processes": [{"layer": 0.36}]}, "/printing/layer_processes/0/layer", "at most 0.32 mm"),
        (
            {"layer_processes": [{"layer": 0.12}, {"layer": "0.12 mm", "walls": 2}]},
            "/printing/layer_processes/1/layer",
            "one for each layer height",
        ),
        ({"process": {"infill": 15}}, "/printing/process/infill", None),
        ({"tray": {"material": {"name": "wood"}}}, "/printing/tray/material/density", None),
        ({"calibration": [{"of": "time", "predicted": 100, "actual": 700}]}, "/printing/calibration/0/actual", None),
    ],
)
def test_what_a_nozzle_cannot_do_is_refused_where_it_stands(minimal, printing, pointer, limit):
    errors = refused({**minimal, "printing": printing})
    assert list(errors) == [pointer]
    assert limit is None or errors[pointer] == limit


def test_walls_and_floors_are_judged_by_the_lines_and_layers_of_trays(minimal):
    minimal["drawers"][0]["trays"] = [{"name": "bits", "cells": [1, 1], "height": 40, "wall": 0.9, "floor": 0.5}]
    assert load({**minimal, "printing": {"tile": {"line_width": 0.6, "layer": 0.3}}})
    errors = refused({**minimal, "printing": {"tray": {"line_width": 0.6, "layer": 0.3}}})
    assert errors == {
        "/drawers/0/trays/0/wall": "at least 1.2 mm (two lines)",
        "/drawers/0/trays/0/floor": "at least 0.6 mm (two layers)",
    }


@pytest.mark.parametrize("kind", ["tile", "tray"])
def test_the_joint_is_made_for_the_widest_line(minimal, kind):
    plain, wide = load(minimal), load({**minimal, "printing": {kind: {"line_width": 0.6}}})
    assert wide.joint().line_width == 0.6
    assert wide.joint().land > plain.joint().land
    assert load({**minimal, "printing": {kind: {"line_width": 0.4}}}).joint() == plain.joint()


def test_what_is_not_said_for_a_kind_is_as_for_the_job(minimal):
    spec = load({**minimal, "material": {"name": "PETG"}, "printing": {"tray": {"layer": 0.28}}})
    assert [spec.layer_of(kind) for kind in ("tile", "key", "coupon", "tray", "plug")] == [0.2, 0.2, 0.2, 0.28, 0.28]
    assert {spec.material_of(kind).name for kind in ("tile", "tray")} == {"PETG"}
    assert spec.printer_of("tile") == spec.printer
    assert spec.printer_of("plug") == spec.printer.model_copy(update={"layer": 0.28})


def test_each_kind_of_part_has_its_own_filament_or_that_of_the_job(minimal):
    spec = load({**minimal, "printing": {"tray": {"material": {"name": "PETG"}}}})
    assert [spec.material_of(kind).name for kind in ("tray", "tile", "key")] == ["PETG", "PLA", "PLA"]
    assert [material.name for material in spec.materials_of(("tile", "key", "tray"))] == ["PLA", "PETG"]
