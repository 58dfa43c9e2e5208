"""Cautions follow from what is asked."""

from collections.abc import Callable

import pytest

from worker.layout.model.cautions import SERVICE, cautions
from worker.spec import DENSITIES, load


def topics(**fields: object) -> dict[str, str]:
    spec = {
        "spec": "1",
        "name": "workbench",
        "drawers": [{"name": "bench left, top", "width": 310, "depth": 425, "height": 70}],
        "printer": {"bed": [220, 220, 250]},
        **fields,
    }
    return {caution.topic: caution.text for caution in cautions(load(spec))}


BLOCK = {"kind": "box", "size": [40, 40, 40]}
EVENING = {"start": "22:00", "end": "07:30"}


def drawer(**fields: object) -> dict[str, object]:
    return {"drawers": [{"name": "bench left, top", "width": 310, "depth": 425, "height": 70, **fields}]}


def tray(**fields: object) -> dict[str, object]:
    return drawer(trays=[{"name": "screws", "cells": [1, 1], "height": 40, **fields}])


def test_every_job_warns_of_the_printer_fumes_edges_and_heat() -> None:
    always = topics(coupon=False)
    assert list(always) == ["printing", "fumes", "edges", "heat"]
    assert "unattended" in always["printing"]
    assert "maker" in always["printing"]
    assert "local rules" in always["printing"]
    assert "ventilated" in always["fumes"]


@pytest.mark.parametrize("name", sorted(DENSITIES))
def test_the_service_temperature_is_the_usual_one(name: str) -> None:
    text = topics(material={"name": name})["heat"]
    assert f"{SERVICE[name]} C" in text
    assert "common practice" in text


def test_an_unknown_material_gets_no_figure() -> None:
    assert "data sheet" in topics(material={"name": "PA12", "density": 1.01})["heat"]


@pytest.mark.parametrize(
    "schedule",
    [
        {},
        {"printing": [EVENING]},
        {"printing": [EVENING], "attended": [EVENING]},
        {"printing": [{**EVENING, "days": ["sun"], "start": "23:00"}], "attended": [EVENING]},
    ],
)
def test_hours_that_somebody_is_there_bring_no_caution(schedule: dict[str, object]) -> None:
    assert "unattended hours" not in topics(schedule=schedule)


def test_each_kind_of_part_counts_with_its_own_filament() -> None:
    lines = topics(material={"name": "PETG"}, printing={"tray": {"material": {"name": "ABS"}}})
    assert "65 C" in lines["heat"]
    assert "85 C" in lines["heat"]
    assert "ABS: gives off styrene" in lines["fumes"]


def test_styrene_is_named_for_abs_and_asa_only() -> None:
    assert "styrene" in topics(material={"name": "asa"})["fumes"]
    assert "styrene" not in topics(material={"name": "PETG"})["fumes"]


@pytest.mark.parametrize(
    ("topic", "fields"),
    [
        ("small parts", {"coupon": True}),
        ("small parts", {"coupon": False, "grid": {"seam": "key"}}),
        ("magnets", tray(magnets={"diameter": 8, "depth": 3})),
        ("tipping", drawer(height=200)),
        ("tipping", drawer(width=[700, 702])),
        ("blades", tray(name="Knives and chisels")),
        ("blades", tray(text={"text": "SCALPEL"})),
        ("batteries", tray(name="AA batteries")),
        ("food", tray(name="tea spoons")),
        ("tall trays", drawer(height=120, trays=[{"name": "rods", "cells": [1, 2], "height": 90}])),
        ("hot place", tray(name="oven cloths")),
        ("blades", {"items": [{"name": "razor blades", "shape": {"kind": "box", "size": [40, 20, 10]}}]}),
        ("batteries", drawer(items=[{"name": "spares", "shape": {"kind": "standard", "id": "battery-aa"}}])),
        ("tipping", drawer(items=[{"name": "weights", "shape": BLOCK, "count": 20, "mass": 500}])),
        ("unattended hours", {"schedule": {"attended": [{"start": "17:00", "end": "22:00"}]}}),
        (
            "unattended hours",
            {"schedule": {"printing": [{"start": "17:00", "end": "23:00"}], "attended": [EVENING]}},
        ),
        (
            "unattended hours",
            {
                "schedule": {
                    "printing": [EVENING],
                    "printers": [{"name": "one", "attended": [{**EVENING, "days": ["mon"]}]}],
                }
            },
        ),
    ],
)
def test_what_is_asked_brings_its_caution(topic: str, fields: dict[str, object]) -> None:
    assert topic in topics(**fields)


@pytest.mark.parametrize("without", [lambda: tray(name="forklift keys"), lambda: tray(name="bladed-free")])
def test_words_inside_words_bring_none(without: Callable[[], dict[str, object]]) -> None:
    assert not {"blades", "food", "magnets", "batteries", "tipping", "small parts"} & set(
        topics(coupon=False, **without())
    )


def test_high_panels_bring_their_caution() -> None:
    spec = load(
        {"spec": "1", "name": "linen", "drawers": drawer(floor="none")["drawers"], "printer": {"bed": [220, 220, 250]}}
    )
    low, high = ({caution.topic for caution in cautions(spec, height)} for height in (60.0, 110.0))
    assert high - low == {"panels"}
