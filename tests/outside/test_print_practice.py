"""Filament and times against worked examples and trade facts of shared/reference/materials.json."""

from dataclasses import replace

import pytest

from tests.printing.estimating.parts import SPECS, part, parts
from worker.layout.planner import lay_out
from worker.printing.estimating.estimate import estimate
from worker.printing.estimating.filament import FILAMENT_AREA, cost, length, mass
from worker.printing.estimating.part_estimates import compare, price_parts
from worker.printing.estimating.process import Process
from worker.printing.estimating.process_settings import TIME_UNCERTAINTY
from worker.printing.runs.work_plan import runs_of
from worker.spec import load

pytestmark = pytest.mark.outside


def test_the_area_of_a_filament():
    # id filament-area, computed from the trade standard diameter of 1.75 mm; pi was cut to seven figures there.
    assert pytest.approx(2.405281875, rel=1e-8) == FILAMENT_AREA


@pytest.mark.parametrize(
    ("density", "per_metre", "per_kilogram", "per_33_g"),
    [
        (1.24, 2.98255, 335.2836, 11.0644),  # id pla-mass-length, computed there
        (1.27, 3.054708, 327.3635, 10.803),  # id petg-mass-length, computed there
        (1.04, 2.501493, 399.7612, 13.1921),  # id abs-mass-length, computed there
    ],
)
def test_mass_and_length(density, per_metre, per_kilogram, per_33_g):
    assert mass(1000.0 * FILAMENT_AREA, density) == pytest.approx(per_metre, rel=1e-6)
    assert length(1000.0 * 1000.0 / density) == pytest.approx(per_kilogram, rel=1e-6)
    assert length(33.0 * 1000.0 / density) == pytest.approx(per_33_g, rel=1e-5)
    assert cost(250.0, 22.0) == pytest.approx(5.5)


def test_an_open_tile_for_a_256_mm_bed():
    # id tile-256, common practice: about 33 g and about an hour.
    result = estimate(part("square", "F1"), Process.of("PLA"))
    assert result.mass == pytest.approx(33.0, rel=0.25)
    assert result.time / 3600.0 == pytest.approx(1.0, rel=0.25)


def test_trays_of_three_by_two_cells_in_petg():
    # id tray-3x2, common practice: about three hours, for a height that is not told; so two heights and a wide band.
    for mark in ("T1", "T2"):
        result = estimate(part("square", mark), Process.of("PETG"))
        assert result.time / 3600.0 == pytest.approx(3.0, rel=0.35)


def test_thinner_layers_on_the_demo():
    # id layer-change, common practice: 0.16 for 0.20 mm adds 7 to 20 % of time.
    process = Process.of("PLA")
    for kind, mark, mesh in parts("bench-drawer"):
        if kind in {"tile", "tray"}:
            longer = estimate(mesh, replace(process, layer=0.16)).time / estimate(mesh, process).time - 1.0
            assert 0.07 <= longer <= 0.20, mark


def test_thinner_layers_on_a_whole_job():
    # id layer-change, common practice: 0.16 for 0.20 mm adds 7 to 20 % of time; here as a job's manifest compares them.
    spec = load({**SPECS["square"], "printing": {"compare": [0.16, 0.2]}})
    plan = lay_out(spec)
    meshes = {mark: mesh for _, mark, mesh in parts("square")}
    thin, same = compare(spec, plan, meshes)
    longer = thin.seconds / same.seconds - 1.0
    assert 0.07 <= longer <= 0.20
    # profiles for finer layers are faster than the same speeds would be: about 7 % is common practice
    process = Process.of("PETG")
    assert longer < estimate(meshes["F1"], replace(process, layer=0.16)).time / estimate(meshes["F1"], process).time - 1
    assert (1.0 + longer) * (1.0 - thin.time_uncertainty) < 1.07 < (1.0 + longer) * (1.0 + thin.time_uncertainty)
    assert thin.time_uncertainty > same.time_uncertainty == TIME_UNCERTAINTY
    _, work = runs_of(spec, plan, price_parts(spec, plan, meshes))
    assert (same.seconds, same.grams, same.runs) == (work.seconds, work.grams, work.runs)


def test_a_tile_and_trays_as_a_manifest_tells_them():
    # ids tile-256, tray-3x2 and petg-mass-length, as above.
    spec = load(SPECS["square"])
    estimates = price_parts(spec, lay_out(spec), {mark: mesh for _, mark, mesh in parts("square")})
    assert all(
        entry.seconds / 3600.0 == pytest.approx(3.0, rel=0.35) for mark, entry in estimates.items() if mark != "F1"
    )
    assert all(entry.grams / entry.metres == pytest.approx(3.054708, rel=1e-4) for entry in estimates.values())
    in_pla = load({**SPECS["square"], "material": {"name": "PLA"}})
    tile = price_parts(in_pla, lay_out(in_pla), {mark: mesh for _, mark, mesh in parts("square")})["F1"]
    assert tile.grams == pytest.approx(33.0, rel=0.25)
    assert tile.seconds / 3600.0 == pytest.approx(1.0, rel=0.25)
    assert tile.grams / tile.metres == pytest.approx(2.98255, rel=1e-4)
