"""The checks of lettering that is a body of its own: good ones pass, and each fault fails the check made for it."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from worker.layout.planner import lay_out
from worker.output.checks.lettering_checks import ExpectedInlay
from worker.output.checks.part_checks import expected_of, inspect
from worker.output.meshes.stl import write_stl
from worker.output.meshes.threemf import write_3mf
from worker.solids import Mesh, build, genus
from worker.solids.inlay import bare_of, inlay_body, inlays
from worker.spec import load

FACES = ("bottom", "floor")
SPEC = {
    "spec": "1", "name": "bench", "printer": {"bed": [180, 180, 180]},
    "drawers": [{"name": "top", "width": 130, "depth": 130, "height": 60, "trays": [
        {"name": "bits", "cells": [1, 1], "height": 20, "text": {"text": "B", "face": "floor"}},
        {"name": "caps", "cells": [1, 1], "height": 20, "text": {"text": "C", "face": "floor", "style": "raised"}},
    ]}],
}  # fmt: skip


@cache
def made_parts():
    """Return, by mark, the solid of a lettered part, its two bodies, what they must be, and the printer."""
    spec = load(SPEC)
    parts = {part.mark: part for part in lay_out(spec).parts}
    result = {}
    for mark in ("T1", "T2"):
        part, letters = parts[mark], inlays(parts[mark].shape, FACES)
        solid = build(part.shape)
        bare = bare_of(part.shape, solid, FACES)
        inlay = ExpectedInlay.of(part.shape, letters, bare.volume)
        expected = replace(expected_of(part, solid, genus(part.shape)), inlay=inlay)
        result[mark] = solid, bare, inlay_body(letters), expected, spec.printer
    return result


@pytest.fixture(scope="module")
def made():
    return made_parts()


def failed(made, mark, bare=None, letters=None):
    solid, own, body, expected, printer = made[mark]
    packed = write_3mf(bare or own, name="x", part_number="x", lettering=letters or body)
    checks = inspect(write_stl(solid, "x"), packed, expected, printer).checks
    assert "bodies closed" in {check.name for check in checks}
    return {check.name for check in checks if not check.passed}


def faulty(name):
    """Return the failed checks of letters with the fault that this check is made for."""
    parts = made_parts()
    body = parts["T1"][2]
    letters = {
        "bodies closed": Mesh(body.vertices, body.triangles[1:]),
        "bodies apart": moved(body, 0.2, 0.0, 0.0),
        "bodies whole": moved(body, 0.2, 0.0, 0.0),
        "bodies volume": Mesh(body.vertices * (1.0, 1.0, 1.02), body.triangles),
        "lettering": moved(body, 0.2, 0.0, 0.0),
        "lettering inside": moved(body, 0.0, 0.0, 200.0),
    }
    return failed(parts, "T1", letters=letters[name])


def moved(mesh, *by):
    return Mesh(mesh.vertices + np.array(by), mesh.triangles)


@pytest.mark.parametrize("mark", ["T1", "T2"])
def test_letters_in_their_place_pass_every_check(made, mark):
    assert failed(made, mark) == set()


def test_letters_beside_their_place_overlap_the_part(made):
    assert failed(made, "T1", letters=moved(made["T1"][2], 0.2, 0.0, 0.0)) == {
        "bodies apart",
        "bodies whole",
        "lettering",
    }


def test_letters_in_mid_air_are_not_where_the_engraving_is(made):
    assert failed(made, "T1", letters=moved(made["T1"][2], 0.0, 0.0, 200.0)) == {"lettering", "lettering inside"}


def test_letters_of_another_depth_have_another_volume(made):
    body = made["T1"][2]
    deeper = Mesh(body.vertices * (1.0, 1.0, 1.02), body.triangles)
    assert "bodies volume" in failed(made, "T1", letters=deeper)


def test_raised_letters_are_taken_off_the_part(made):
    solid = made["T2"][0]
    assert {"bodies apart", "bodies volume", "bodies whole"} <= failed(made, "T2", bare=solid)


def test_a_file_without_the_letters_fails(made):
    solid, bare, _, expected, printer = made["T1"]
    (check,) = inspect(write_stl(solid, "x"), write_3mf(bare, name="x", part_number="x"), expected, printer).checks
    assert (check.name, check.passed, check.value) == ("files", False, 1)


def test_open_letters_fail(made):
    body = made["T1"][2]
    failures = failed(made, "T1", letters=Mesh(body.vertices, body.triangles[1:]))
    assert {"bodies closed", "closed"} <= failures
