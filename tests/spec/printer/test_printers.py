"""Printers that need not be alike: what is taken, what each of them is, and what is refused where."""

import pytest

from worker.spec import Spec, load
from worker.spec.errors import SpecError

_SMALL = {"name": "small", "bed": [180, 180, 180]}
_LARGE = {"name": "large", "bed": [300, 300, 300], "nozzle": 0.6}


def _job(minimal, *printers, **fields):
    return {key: value for key, value in minimal.items() if key != "printer"} | {"printers": list(printers)} | fields


def _refused(data):
    with pytest.raises(SpecError) as caught:
        load(data)
    return [error.pointer for error in caught.value.errors or (caught.value,)]


def test_the_printer_is_the_one_with_the_largest_bed(minimal):
    spec = load(_job(minimal, _SMALL, _LARGE))
    assert spec.printer.bed == (300.0, 300.0, 300.0)
    assert (spec.printer.line_width, spec.for_printer("small").printer.line_width) == pytest.approx((0.66, 0.44))
    assert spec.designs == ("large", "small")
    assert Spec.model_validate_json(spec.to_json()) == spec


def test_printers_alike_in_bed_lines_and_layers_are_one_design(minimal):
    spec = load(_job(minimal, _SMALL, _SMALL | {"name": "other", "materials": ["PETG"]}, _SMALL | {"name": "third"}))
    assert spec.designs == ("small",)
    assert spec.material.name == "PLA"


def test_kinds_of_parts_are_made_for_printers_of_their_own(minimal):
    own = load(_job(minimal, _SMALL, _LARGE)).for_printer("small", {"tray": "large", "tile": "small"})
    assert (own.printer.name, own.made_for_kinds) == ("small", {"tray": "large"})
    assert (own.printer_of("tray").name, own.printer_of("tile").name) == ("large", "small")
    assert (own.line_width_of("tray"), own.line_width_of("tile")) == pytest.approx((0.66, 0.44))
    assert own.joint() == own.grid.to_joint(0.66)
    assert own != own.for_printer("small")
    assert own.for_printer("small").made_for_kinds == {}
    assert own.to_json() == own.for_printer("small").to_json()


def test_a_part_for_another_bed_keeps_the_lines_and_layers_of_its_kind(minimal):
    own = load(_job(minimal, _SMALL, _LARGE | {"layer": 0.3})).for_printer("large")
    printer = own.printer_of("tray", "small")
    assert (printer.name, printer.bed) == ("small", own.for_printer("small").printer.bed)
    assert (printer.line_width, printer.layer) == pytest.approx((0.66, 0.3))
    assert own.printer_of("tray", None) == own.printer_of("tray")


def test_walls_too_thin_for_the_lines_of_one_printer_are_made_for_another(minimal):
    trays = [{"name": "a", "cells": [1, 1], "height": 20, "wall": 1.0}]
    drawers = [minimal["drawers"][0] | {"trays": trays}]
    assert load(_job(minimal, _SMALL, _LARGE, drawers=drawers)).designs == ("small",)
    assert _refused(_job(minimal, _LARGE, drawers=drawers)) == ["/drawers/0/trays/0/wall"]


def test_parts_are_the_same_on_all_printers(minimal):
    changer = _LARGE | {"tool_changes": True, "max_bridge": 30}
    spec = load(_job(minimal, _SMALL, changer))
    assert (spec.printer.tool_changes, spec.printer.max_bridge) == (False, 15.0)
    assert load(_job(minimal, changer)).printer.tool_changes


def test_the_calendar_has_all_printers_those_not_listed_without_hours_of_their_own(minimal):
    hours = [{"start": "08:00", "end": "12:00"}]
    schedule = {"printers": [{"name": "large", "printing": hours}]}
    calendar = load(_job(minimal, _SMALL, _LARGE, schedule=schedule)).calendar
    assert [own.name for own in calendar.printers] == ["large", "small"]
    assert [own.printing is None for own in calendar.printers] == [False, True]
    assert [own.name for own in load(_job(minimal, _SMALL, _LARGE, schedule={})).calendar.printers] == [
        "small",
        "large",
    ]
    assert load(_job(minimal, _SMALL)).calendar is None


@pytest.mark.parametrize(
    ("printers", "fields", "pointers"),
    [
        ([_SMALL, _SMALL], {}, ["/printers/1/name"]),
        ([_SMALL], {"printer": {"bed": [180, 180, 180]}}, ["/printer"]),
        ([], {}, ["/printer"]),
        ([_SMALL], {"schedule": {"printers": [{"name": "attic"}]}}, ["/schedule/printers/0/name"]),
        ([_SMALL | {"materials": ["PETG", "ASA"]}], {}, ["/material"]),
        ([_SMALL | {"materials": ["PLA"]}], {"material": {"name": "ASA"}}, ["/material/name"]),
        ([_SMALL | {"materials": ["pla"]}], {"printing": {"tray": {"material": {"name": "TPU"}}}},
         ["/printing/tray/material/name"]),
        ([_SMALL, _LARGE], {"printing": {"tile": {"layer": 0.5}}}, ["/printing/tile/layer"]),
        ([_SMALL, _LARGE], {"printing": {"compare": [0.4]}}, ["/printing/compare/0"]),
        ([_SMALL | {"bed": [10, 180, 180]}, _LARGE], {}, ["/printers/0/bed/0"]),
    ],
)  # fmt: skip
def test_what_no_printer_can_do_is_refused_where_it_is_said(minimal, printers, fields, pointers):
    assert _refused(_job(minimal, *printers, **fields)) == pointers


def test_a_material_or_layer_that_one_of_the_printers_takes_is_fine(minimal):
    spec = load(_job(minimal, _SMALL | {"materials": ["PETG"]}, _LARGE, printing={"tile": {"layer": 0.4}}))
    assert spec.layer_of("tile") == 0.4


def test_a_bed_that_is_not_square_is_used_without_its_margin(minimal):
    printer = load({**minimal, "printer": {"bed": [250, 210, 60], "margin": 10}}).printer
    assert printer.usable == (230.0, 190.0, 60.0)


@pytest.mark.parametrize("bed", [[250, 210, 300], [210, 250, 60]])
def test_a_margin_takes_a_quarter_of_the_bed_at_most(minimal, bed):
    """The bed's height does not count."""
    assert load({**minimal, "printer": {"bed": bed, "margin": 50}})
    with pytest.raises(SpecError) as caught:
        load({**minimal, "printer": {"bed": bed, "margin": 53}})
    assert (caught.value.pointer, caught.value.limit) == ("/printer/margin", "at most 52.5 mm")


def test_a_material_that_no_printer_takes_is_refused_with_those_that_are_taken(minimal):
    printers = [{**_SMALL, "materials": ["PLA"]}, {**_LARGE, "materials": ["PETG", "PLA"]}]
    with pytest.raises(SpecError) as caught:
        load(_job(minimal, *printers, material={"name": "ABS"}))
    assert caught.value.limit == "PLA, PETG"


def test_the_largest_bed_is_that_of_most_area(minimal):
    long, square = {"name": "long", "bed": [300, 100, 200]}, {"name": "square", "bed": [200, 200, 200]}
    for printers in ([long, square], [square, long]):
        assert load(_job(minimal, *printers)).printer.bed == (200.0, 200.0, 200.0)


@pytest.mark.parametrize("nozzle", [0.2, 0.4, 0.6, 0.8])
def test_a_layer_is_at_most_four_fifths_of_the_nozzle(minimal, nozzle):
    """Common practice: a thicker layer does not bond."""
    most = nozzle * 4 / 5
    for height, pointers in ((most, []), (most + 1e-3, ["/printer/layer"])):
        data = minimal | {"printer": {"bed": [256, 256, 256], "nozzle": nozzle, "layer": height}}
        assert (_refused(data) if pointers else load(data).printer.layer) == (pointers or height)
