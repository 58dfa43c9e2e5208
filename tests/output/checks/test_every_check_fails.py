"""Every check of the manifest has a case in which it fails."""

import ast
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest

from tests.output.checks.test_assembly_checks import failures as assembly_failures
from tests.output.checks.test_contents_check import failures as contents_failures
from tests.output.checks.test_jointed_checks import barred, jointed_job, moved, unlocked
from tests.output.checks.test_lettering_checks import faulty
from tests.output.checks.test_panel_checks import CHANGES, FLOOR_CHANGES, failures_of
from tests.output.checks.test_part_checks import failures as part_failures
from tests.output.checks.test_upper_tray_checks import CHANGES as UPPER
from tests.output.checks.test_upper_tray_checks import failures_of as upper_failures
from worker.layout.model.plan import SeamPair
from worker.layout.model.shapes import Placement
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.part_checks import Expected
from worker.output.meshes.run_package import BedObject, check_run, write_run
from worker.output.meshes.threemf import write_3mf
from worker.solids.mesh import Mesh
from worker.spec.printer.printer import Forbidden, Printer

_OUTPUT: Final = Path(__file__).parents[3] / "worker" / "output"


def _names():
    """Return the names of all checks in the code: of `Check` and `_check`, and of the rules for pairs of parts."""
    names = set()
    for path in sorted(_OUTPUT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", None) in {"Check", "_check"}:
                given = [word.value for word in node.keywords if word.arg == "name"] or node.args[:1]
                names.update(name.value for name in given if isinstance(name, ast.Constant))
            if isinstance(node, ast.For) and getattr(node.target, "id", None) == "rule":
                names.update(name.value for name in node.iter.elts)
            bands = isinstance(node, ast.Assign) and getattr(node.targets[0], "id", None) == "bands"
            if bands and isinstance(node.value, ast.Tuple):
                names.update(band.elts[0].value for band in node.value.elts)
    return names


def _unshared(mesh):
    """Return the mesh with each triangle's vertices of its own, as a file of loose triangles has it."""
    count = len(mesh.triangles)
    return Mesh(mesh.vertices[mesh.triangles].reshape(-1, 3), np.arange(3 * count, dtype=np.int32).reshape(-1, 3))


def _as_is(mesh, **changes):
    return replace(Expected(0, mesh.volume, tuple(mesh.bounds[1].tolist())), **changes)


def _thin(box):
    mesh = box(20.0, 0.5, 5.0)
    return part_failures(mesh, expected=_as_is(mesh))


def _sliver(box):
    mesh = box(10.0, 1e-4, 5.0)
    return part_failures(mesh, expected=_as_is(mesh))


def _pieces(mesh, *places):
    return [BedObject(mesh, f"T1-{number}", "T1", None, at) for number, at in enumerate(places, start=1)]


def _run(box, at=(20.0, 20.0), second=(60.0, 20.0), planned=None, printer=None):
    """Return the failed checks of a run of two boxes, read back from its file."""
    run = _pieces(box(), at, second)
    printer = printer or Printer(bed=(200.0, 100.0, 100.0), margin=5.0)
    data = write_run(run, title="x", metadata={})
    return {check.name for check in check_run(data, planned or run, printer, spacing=5.0) if not check.passed}


def _stack(box):
    parts = {"T1": ("tray", box(19.4, 19.4, 10.0))}
    places = [
        Placement("T1", (0.0, 0.0, 0.0), cell=(0.0, 0.0)),
        Placement("T1", (0.0, 0.0, 9.85), cell=(0.0, 0.0)),
    ]
    return assembly_failures(parts, places)


def _two(box, kinds, gap, **options):
    parts = {mark: (kind, box(20.0, 20.0, 3.0)) for mark, kind in zip("AB", kinds, strict=True)}
    places = [Placement("A", (0.0, 0.0, 0.0)), Placement("B", (20.0 + gap, 0.0, 0.0))]
    return assembly_failures(parts, places, **options)


def _jointed(change):
    """Return the failed checks of a tray in two pieces of which the plan or the parts are changed."""
    plan, meshes = change(*jointed_job())
    return {check.name for check in check_assembly(plan, meshes) if not check.passed}


CASES = {
    "readable": lambda box: part_failures(box(), stl=b"solid"),
    "files": lambda box: part_failures(box(), threemf=write_3mf(box(x=10.1), name="x", part_number="x")),
    "closed": lambda box: part_failures(box(), threemf=write_3mf(_unshared(box()), name="x", part_number="x")),
    "volume": lambda box: part_failures(box(), expected=_as_is(box(), volume=1001.0)),
    "size": lambda box: part_failures(box(), expected=_as_is(box(), size=(10.0, 20.0, 5.1))),
    "slivers": _sliver,
    "self-intersection": lambda box: part_failures(
        Mesh(
            np.concatenate([box().vertices, box(at=(5.0, 5.0, 2.0)).vertices]),
            np.concatenate([box().triangles, box().triangles + len(box().vertices)]).astype(np.int32),
        )
    ),
    "bed": lambda box: part_failures(box(x=221.0)),
    "components": lambda box: part_failures(box(), expected=_as_is(box(), components=2)),
    "genus": lambda box: part_failures(box(), expected=_as_is(box(), genus=1)),
    "wall": _thin,
    "apart": lambda box: _two(box, ("tile", "tile"), -1.0),
    "seam": lambda box: _two(box, ("tile", "tile"), 0.1, seams=[SeamPair(0, 1, 0.2)]),
    "joint": lambda box: _two(box, ("tile", "tray"), 0.2),
    "trays": lambda box: _two(box, ("tray", "tray"), 0.5),
    "stack": _stack,
    "key": lambda box: _two(box, ("tile", "key"), 0.1, seams=[SeamPair(0, 1, 0.2)]),
    "held": lambda box: _two(box, ("tile", "tile"), 0.2, seams=[SeamPair(0, 1, 0.2)], loose=()),
    "splice": lambda _: _jointed(lambda plan, meshes: (moved(plan), meshes)),
    "lowered": lambda _: _jointed(lambda plan, meshes: (plan, barred(plan, meshes))),
    "floor lock": lambda _: _jointed(lambda plan, meshes: (plan, unlocked(plan, meshes, -1.0, 5.6))),
    "wall lock": lambda _: _jointed(lambda plan, meshes: (plan, unlocked(plan, meshes, 5.6, 40.0))),
    **{
        name: lambda _, name=name: faulty(name)
        for name in (
            "bodies closed",
            "bodies apart",
            "bodies whole",
            "bodies volume",
            "lettering",
            "lettering inside",
        )
    },
    **{name: lambda _, name=name: failures_of(name) for name in (*CHANGES, *FLOOR_CHANGES) if name != "lowered"},
    **{name: lambda _, name=name: upper_failures(name) for name in UPPER},
    "contents": lambda _: contents_failures("lids", 100.0),
    "outline": lambda box: _two(box, ("tray", "tray"), 70.0),
    "height": lambda box: _two(box, ("tray", "tray"), 1.0, size=(100.0, 60.0, 2.9)),
    "pieces": lambda box: _run(box, planned=_pieces(box(), (20.0, 20.0))),
    "places": lambda box: _run(
        box,
        planned=_pieces(box(), (20.0, 20.0), (60.0, 21.0)),
    ),
    "spacing": lambda box: _run(box, second=(34.0, 20.0)),
    "on bed": lambda box: _run(box, at=(4.9, 20.0)),
    "forbidden": lambda box: _run(
        box, printer=Printer(bed=(200.0, 100.0, 100.0), forbidden=(Forbidden(at=(25.0, 25.0), size=(5.0, 5.0)),))
    ),
}


def test_the_cases_name_every_check_of_the_code():
    assert _names() == set(CASES)


@pytest.mark.parametrize("name", CASES)
def test_a_check_fails(name, box):
    assert name in CASES[name](box)


def test_a_3mf_of_loose_triangles_is_not_closed_though_the_stl_is(box):
    loose = write_3mf(_unshared(box()), name="x", part_number="x")

    assert part_failures(box(), threemf=loose) >= {"closed"}
    assert "closed" not in part_failures(box())


def test_a_foot_in_a_rim_rests_and_keeps_the_clearance_when_lifted_from_its_seat(box):
    # lifted by 0.30 mm times sqrt(2) a box that sinks in by 0.15 mm is 0.274 mm away
    parts = {"T1": ("tray", box(19.4, 19.4, 10.0))}
    apart = {
        z: assembly_failures(
            parts,
            [Placement("T1", (0.0, 0.0, 0.0), cell=(0.0, 0.0)), Placement("T1", (0.0, 0.0, z), cell=(0.0, 0.0))],
        )
        for z in (10.0, 9.9, 9.85)
    }

    assert apart == {10.0: set(), 9.9: {"apart"}, 9.85: {"apart", "stack"}}


#: A bed twice as wide as deep: with its axes swapped, other sizes would fit.
_LONG = Printer(bed=(200.0, 100.0, 100.0), margin=0.0, forbidden=(Forbidden(at=(120.0, 60.0), size=(80.0, 40.0)),))


@pytest.mark.parametrize(
    ("at", "expected"),
    [((120.0, 30.0), set()), ((109.9, 70.0), set()), ((115.0, 70.0), {"forbidden"}), ((185.0, 45.0), {"forbidden"})],
)
def test_a_forbidden_area_of_a_bed_that_is_not_square_keeps_its_place(box, at, expected):
    assert _run(box, at=at, second=(20.0, 20.0), printer=_LONG) == expected
