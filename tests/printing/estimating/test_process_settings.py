"""How each kind of part is printed, and what the user's own prints make of an estimate."""

from dataclasses import replace
from functools import cache
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.layout.planner import lay_out
from worker.printing.estimating.estimate import estimate
from worker.printing.estimating.part_estimates import compare, price_parts
from worker.printing.estimating.process import Process
from worker.printing.estimating.process_settings import (
    ENOUGH,
    TIME_UNCERTAINTY,
    VOLUME_UNCERTAINTY,
    Correction,
    layer_of,
    line_width_of,
    material_of,
    process_of,
)
from worker.printing.runs.work_plan import runs_of
from worker.solids import build
from worker.spec import Calibration, load

TRAYS = ({"name": "bits", "cells": [1, 1], "height": 25}, {"name": "nails", "cells": [2, 1], "height": 20})


def job(**fields):
    drawer = {"name": "top", "width": 130, "depth": 130, "height": 60, "trays": list(TRAYS)}
    return load({"spec": "1", "name": "bench", "printer": {"bed": [180, 180, 180]}, "drawers": [drawer], **fields})


@cache
def built():
    """Mark and mesh of each part of `job`; how parts are printed changes nothing of them here."""
    return {part.mark: build(part.shape) for part in lay_out(job()).parts}


def priced(**fields):
    spec = job(**fields)
    plan = lay_out(spec)
    return plan, price_parts(spec, plan, built())


@pytest.mark.parametrize("kind", ["tile", "key", "coupon"])
def test_tiles_keys_and_the_coupon_are_printed_alike(kind):
    spec = job(printing={"tile": {"layer": 0.28, "line_width": 0.5, "material": {"name": "PETG", "cost_per_kg": 30}}})
    process = process_of(spec, kind)
    assert (layer_of(spec, kind), line_width_of(spec, kind), material_of(spec, kind).name) == (0.28, 0.5, "PETG")
    assert (process.layer, process.first_layer, process.line_width) == (0.28, 0.28, 0.5)
    assert (process.density, process.cost_per_kg, process.max_flow) == (1.27, 30.0, Process.of("PETG").max_flow)
    assert process_of(spec, "tray") == process_of(spec, "plug") == Process.of("PLA")


def test_the_profile_of_the_user_comes_before_common_practice():
    numbers = {"walls": 2, "infill": 0.0, "outer_speed": 55, "layer_change": 0, "heat_up": 100, "max_flow": 20}
    spec = job(printing={"process": numbers}, material={"name": "petg", "density": 1.3})
    assert process_of(spec, "tray") == replace(
        Process.of("PETG"), walls=2, infill=0.0, outer_speed=55.0, layer_change=0.0, heat_up=100.0, max_flow=20.0,
        density=1.3,
    )  # fmt: skip
    assert process_of(spec, "tray", 0.12).layer == 0.12
    assert process_of(spec, "tray", 0.12).first_layer == 0.2


def ratios(*values, of="time"):
    return [Calibration(of=of, predicted=100.0, actual=100.0 * ratio) for ratio in values]


def test_without_prints_the_stated_uncertainty_holds():
    assert Correction.of([], 0.25) == Correction(1.0, 0.25)


def test_the_factor_is_the_median_of_the_ratios():
    assert Correction.of(ratios(1.1), 0.25) == Correction(1.1, 0.25)
    assert Correction.of(ratios(1.2, 0.9, 1.1), 0.25) == Correction(1.1, 0.25)
    assert Correction.of(ratios(1.0, 1.2), 0.25) == Correction(1.1, 0.25)


@given(st.lists(st.floats(0.5, 2.0), min_size=1, max_size=20))
def test_few_prints_never_make_an_estimate_surer(values):
    correction = Correction.of(ratios(*values), 0.25)
    off = max(abs(ratio / correction.factor - 1.0) for ratio in values)
    assert min(values) - 1e-3 <= correction.factor <= max(values) + 1e-3
    assert correction.uncertainty == pytest.approx(off if len(values) >= ENOUGH else max(off, 0.25), abs=1e-3)


def test_the_next_print_lies_within_the_spread_of_nine_in_four_of_five_cases():
    """Between the least and the greatest of n others in n - 1 of n + 1 cases, whatever the distribution: here 0.8."""
    random = Random(4)
    inside = 0
    for _ in range(4000):
        *nine, last = (random.lognormvariate(0.0, 0.2) for _ in range(ENOUGH + 1))
        inside += min(nine) <= last <= max(nine)
    assert inside / 4000 == pytest.approx((ENOUGH - 1) / (ENOUGH + 1), abs=0.02)


def test_an_estimate_is_told_as_measured():
    plan, estimates = priced(material={"name": "PLA", "cost_per_kg": 20, "colour": "#336699"})
    for part in plan.parts:
        entry, measured = estimates[part.mark], estimate(built()[part.mark], Process.of("PLA"))
        assert entry.grams == pytest.approx(measured.mass, abs=1e-4)
        assert entry.metres == pytest.approx(measured.length, abs=1e-4)
        assert entry.cost == pytest.approx(entry.grams * 0.02, abs=1e-4)
        assert entry.seconds == pytest.approx(measured.time, abs=0.05)
        assert entry.laying_seconds == pytest.approx(measured.laying, abs=0.05)
        assert (entry.layers, entry.colour, entry.layer, entry.line_width) == (measured.layers, "#336699", 0.2, 0.44)


def test_own_prints_correct_times_and_filament_apart():
    _, before = priced(material={"cost_per_kg": 20})
    calibration = [
        {"of": "time", "predicted": 100, "actual": 130},
        {"of": "filament", "predicted": 50, "actual": 48},
    ]
    _, after = priced(material={"cost_per_kg": 20}, printing={"calibration": calibration})
    for mark, entry in after.items():
        # both are rounded to a tenth of a second
        assert entry.seconds == pytest.approx(1.3 * before[mark].seconds, abs=0.12)
        assert entry.laying_seconds == pytest.approx(1.3 * before[mark].laying_seconds, abs=0.12)
        for name in ("grams", "metres", "cost"):
            assert getattr(entry, name) == pytest.approx(0.96 * getattr(before[mark], name), abs=2e-4)


def test_other_layers_are_priced_and_packed_anew():
    spec = job(printing={"compare": [0.16, 0.28, 0.16], "tray": {"layer": 0.24}}, material={"cost_per_kg": 20})
    plan = lay_out(spec)
    thin, thick = compare(spec, plan, built())
    assert (thin.layer, thick.layer) == (0.16, 0.28)
    assert thin.seconds > thick.seconds
    # with one layer for all there is one group less than with two
    assert (thin.runs, thick.runs) == (2, 2)
    assert thin.cost == pytest.approx(thin.grams * 0.02, abs=1e-3)
    assert thin.assumes.startswith("speeds midway")


def test_a_stated_process_for_a_layer_height_is_used_as_it_is():
    faster = {"layer": 0.16, "outer_speed": 125, "inner_speed": 187.5, "full_layer_speed": 187.5, "infill_speed": 225}
    spec = job(printing={"compare": [0.16, 0.2], "layer_processes": [faster]})
    plan = lay_out(spec)
    thin, own = compare(spec, plan, built())
    assert (thin.time_uncertainty, thin.assumes) == (0.25, "the stated process for layers of 0.16 mm")
    assert own.assumes == "the settings of the job"
    # it is the same flow as the job's, one end of what is assumed without it
    plain = job(printing={"compare": [0.16]})
    (midway,) = compare(plain, plan, built())
    same_speeds = runs_of(plain, plan, price_parts(plain, plan, built(), 0.16))[1].seconds
    assert midway.seconds == pytest.approx((thin.seconds + same_speeds) / 2.0, abs=0.1)
    low, high = midway.seconds * (1.25 - midway.time_uncertainty), midway.seconds * (0.75 + midway.time_uncertainty)
    assert (low, high) == pytest.approx((thin.seconds, same_speeds), rel=1e-3)
    assert price_parts(job(printing={"layer_processes": [faster]}), plan, built()) == price_parts(job(), plan, built())


def test_the_stated_uncertainties():
    assert (TIME_UNCERTAINTY, VOLUME_UNCERTAINTY) == (0.25, 0.08)
    spec = job()
    assert (Correction.of_time(spec).uncertainty, Correction.of_filament(spec).uncertainty) == (0.25, 0.08)
