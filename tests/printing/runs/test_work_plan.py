"""Runs of a whole job: what is printed together, in which order, and in how many hours."""

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.printing.runs.demand import Need
from worker.printing.runs.work_plan import pack_needs, runs_of
from worker.spec import load
from worker.spec.manifest import EstimateEntry, Generator, LetteringBand, Manifest


def drawer(name, *trays, **fields):
    return {"name": name, "width": 175, "depth": 175, "height": 60, "trays": list(trays), **fields}


def tray(name, width=1, depth=1, **fields):
    return {"name": name, "cells": [width, depth], "height": 30, **fields}


def job(*drawers, **fields):
    return load({"spec": "1", "name": "bench", "printer": {"bed": [180, 180, 180]}, "drawers": list(drawers), **fields})


def estimated(spec, plan, *, laying=600.0, layers=50.0):
    """Return an estimate of each part, by its area: a stand-in for measured ones."""
    by_mark = {}
    for part in plan.parts:
        long = laying * part.size[0] * part.size[1] / 1764.0
        by_mark[part.mark] = EstimateEntry(
            material=spec.material_of(part.kind).name, colour=spec.material_of(part.kind).colour,
            layer=spec.layer_of(part.kind), line_width=spec.line_width_of(part.kind), grams=10.0, metres=3.0, cost=0.2,
            seconds=300.0 + layers * part.size[2] + long, laying_seconds=long, layers=int(part.size[2] / 0.2),
        )  # fmt: skip
    return by_mark


def kinds_of(plan, run):
    return {plan.part(piece.mark).kind for piece in run.pieces}


def test_the_coupon_then_the_floor_then_trays():
    spec = job(drawer("top", tray("a", 2, 2), tray("b", 2, 2), tray("c", 4, 2)), drawer("low", tray("d", 3, 3)))
    plan = lay_out(spec)
    runs, work = runs_of(spec, plan, None)
    assert kinds_of(plan, runs[0]) == {"coupon", "plug"}
    stages = ["tile" in kinds_of(plan, run) for run in runs[1:]]
    assert stages == sorted(stages, reverse=True)
    assert [run.number for run in runs] == list(range(1, len(runs) + 1))
    assert work.pieces == sum(part.quantity for part in plan.parts)
    assert work.least_runs <= work.runs == len(runs)
    assert all(run.seconds is run.grams is run.cost is None for run in runs)
    assert (work.seconds, work.time_uncertainty) == (None, None)


def test_every_piece_of_every_copy_is_in_a_run_with_its_drawer():
    spec = job(drawer("top", tray("a", 2, 2), tray("b"), copies=3), drawer("low", tray("c", quantity=4)))
    plan = lay_out(spec)
    runs, _ = runs_of(spec, plan, None)
    packed = Counter((piece.mark, piece.drawer) for run in runs for piece in run.pieces)
    expected = Counter({(part.mark, None): part.quantity for part in plan.parts if part.kind in ("coupon", "plug")})
    for laid_out in plan.drawers:
        expected.update(Counter({(place.mark, laid_out.name): 0 for place in laid_out.placements}))
        for place in laid_out.placements:
            expected[place.mark, laid_out.name] += laid_out.copies
    assert packed == expected


def test_trays_come_by_how_often_they_are_wanted():
    items = [
        {
            "name": access,
            "shape": {"kind": "box", "size": [118, 118, 25]},
            "access": access,
            "group": access,
            "label": True,
        }
        for access in ("rarely", "often", "sometimes")
    ]
    spec = job(drawer("top", items=items, width=400, depth=400), printer={"bed": [180, 180, 180]}, coupon=False)
    plan = lay_out(spec)
    (laid_out,) = plan.drawers
    item_by_mark = {laid_out.placements[stored.placement].mark: stored.item for stored in laid_out.contents}
    runs, _ = runs_of(spec, plan, None)
    order = [
        item_by_mark[piece.mark] for run in runs if "tile" not in kinds_of(plan, run) for piece in run.pieces
        if piece.mark in item_by_mark
    ]  # fmt: skip
    assert len(order) == 3
    assert order == ["often", "sometimes", "rarely"]


@pytest.mark.parametrize(
    "own",
    [
        {"layer": 0.28},
        {"line_width": 0.5},
        {"material": {"name": "PETG"}},
        {"material": {"name": "PLA", "colour": "#aabbcc"}},
    ],
)
def test_what_is_printed_otherwise_has_runs_of_its_own(own):
    spec = job(drawer("top", tray("a"), tray("b")), printing={"tray": own})
    plan = lay_out(spec)
    runs, work = runs_of(spec, plan, None)
    assert [kinds_of(plan, run) for run in runs] == [{"coupon"}, {"plug"}, {"tile"}, {"tray"}]
    own_settings = runs[3].model_dump(include={"material", "colour", "layer", "line_width"})
    assert own_settings.items() >= ({"material": own["material"]["name"], "colour": own["material"].get("colour")}
        if "material" in own else own).items()  # fmt: skip
    assert work.least_runs == 4


@settings(max_examples=12, deadline=None)
@given(st.floats(0.5, 6.0), st.floats(100.0, 1500.0), st.floats(0.0, 200.0))
def test_no_run_is_longer_than_it_may_be(hours, laying, layers):
    trays = [tray("a", 2, 1, quantity=3), tray("b", 1, 1, quantity=4, height=50)]
    spec = job(drawer("top", *trays), printing={"max_run_hours": hours})
    plan = lay_out(spec)
    estimates = estimated(spec, plan, laying=laying, layers=layers)
    runs, work = runs_of(spec, plan, estimates)
    for run in runs:
        own = [estimates[piece.mark] for piece in run.pieces]
        start = max(estimate.seconds - estimate.laying_seconds for estimate in own)
        assert run.seconds == pytest.approx(start + sum(estimate.laying_seconds for estimate in own), abs=0.06)
        assert run.seconds <= 3600.0 * hours + 0.1 or len(run.pieces) == 1
        assert (run.grams, run.metres) == (10.0 * len(own), 3.0 * len(own))
        assert run.cost == pytest.approx(0.2 * len(own))
    assert set(work.long_pieces) == {mark for mark, estimate in estimates.items() if estimate.seconds > 3600.0 * hours}
    assert work.seconds == pytest.approx(sum(run.seconds for run in runs), abs=0.1)
    assert work.least_runs <= work.runs


def test_a_price_that_is_not_known_makes_no_sum():
    spec = job(drawer("top", tray("a")))
    plan = lay_out(spec)
    estimates = estimated(spec, plan)
    estimates["T1"] = estimates["T1"].model_copy(update={"cost": None})
    runs, work = runs_of(spec, plan, estimates)
    assert work.cost is None
    assert [run.cost is None for run in runs] == ["T1" in {piece.mark for piece in run.pieces} for run in runs]


def test_the_printers_hours_are_part_of_the_cost_where_filament_has_a_price():
    """By hand: a run costs its filament and its hours; without a price of the filament no sum is known."""
    spec = job(drawer("top", tray("a")), printer={"bed": [180, 180, 180], "cost_per_hour": 1.5})
    plan = lay_out(spec)
    priced = estimated(spec, plan)
    runs, work = runs_of(spec, plan, priced)
    for run in runs:
        filament = sum(priced[piece.mark].cost for piece in run.pieces)
        assert run.cost == pytest.approx(filament + 1.5 * run.seconds / 3600.0, abs=1e-4)
    assert work.cost == pytest.approx(sum(run.cost for run in runs), abs=1e-3)
    without = {mark: estimate.model_copy(update={"cost": None}) for mark, estimate in priced.items()}
    runs, work = runs_of(spec, plan, without)
    assert [run.cost for run in runs] == [None] * len(runs)
    assert work.cost is None


def previous_of(plan):
    """Return the manifest of a layout as a later one reads it."""
    document = plan_document(plan)
    facts = {"triangles": 4, "volume": 1.0, "area": 1.0, "digest": "ab" * 32, "checks": (), "files": ()}
    return Manifest(
        generator=Generator(version="0", kernel="none"), name=document.name, spec_digest="cd" * 32,
        drawers=document.drawers, parts=tuple({**part.model_dump(), **facts} for part in document.parts), assembly=(),
        warnings=(), cautions=(), numbering=document.numbering,
    ).model_dump(mode="json")  # fmt: skip


def test_over_a_printed_layout_only_what_is_new_is_printed():
    first = lay_out(job(drawer("top", tray("a", 2, 2)), drawer("low", tray("b"))))
    again = job(
        drawer("top", tray("a", 2, 2)), drawer("low", tray("b"), tray("c", 1, 2), copies=2), previous=previous_of(first)
    )
    plan = lay_out(again)
    runs, work = runs_of(again, plan, None)
    printed = Counter((piece.mark, piece.drawer) for run in runs for piece in run.pieces)
    assert {name for _, name in printed} == {"low"}
    assert printed.total() == work.pieces == sum(change.count for change in plan.changes.new)
    assert Counter(dict.fromkeys((change.mark for change in plan.changes.new), 0)).keys() == {
        mark for mark, _ in printed
    }
    same = job(drawer("top", tray("a", 2, 2)), drawer("low", tray("b")), previous=previous_of(first))
    runs, work = runs_of(same, lay_out(same), None)
    assert (runs, work.pieces, work.runs, work.least_runs) == ((), 0, 0, 0)


def test_some_pieces_are_packed_as_all_are():
    spec = job(drawer("top", tray("a", 2, 2), tray("b")))
    plan = lay_out(spec)
    needs = [Need("T2", "top", 2), Need("T1", "top")]
    runs, work = pack_needs(spec, plan.parts, needs, {}, None)
    assert Counter(piece.mark for run in runs for piece in run.pieces) == {"T2": 2, "T1": 1}
    assert work.runs == 1


@pytest.mark.parametrize("hours", [0.9, 1.2, 2.0])
def test_changes_of_filament_count_in_the_hours_of_a_run(hours):
    lettering = {"material": {"name": "PLA", "colour": "#000000"}, "change_seconds": 900}
    spec = job(drawer("top", tray("a", quantity=12)), printing={"max_run_hours": hours, "lettering": lettering})
    plan = lay_out(spec)
    band = LetteringBand(face="bottom", low=0.0, high=0.4, letterings=1, grams=0.5, seconds_within=60.0)
    estimates = {
        mark: own.model_copy(update={"lettering": (band,)}) for mark, own in estimated(spec, plan, layers=2.0).items()
    }
    runs, work = runs_of(spec, plan, estimates)
    alone = [run for run in runs if len(run.pieces) == 1]
    # two changes of 15 minutes: a run of at most 0.9 hours has 24 minutes left for all else
    assert all(run.lettering.seconds == 1800.0 for run in runs)
    assert all(run.seconds <= 3600.0 * hours + 0.5 for run in runs if len(run.pieces) > 1)
    assert set(work.long_pieces) == {run.pieces[0].mark for run in alone if run.seconds > 3600.0 * hours + 0.5}
    assert work.least_runs <= work.runs
