"""Seams as solids: two tiles of a floor, built and placed, then lifted in and pulled apart with manifold3d."""

import numpy as np
import pytest
import shapely

from tests.layout.floor.test_floor_builder import floor_of
from worker.layout.model.shapes import Placement
from worker.output.checks.assembly_checks import placed
from worker.solids import build

#: Steps of a lift from above in mm, and displacements of a pull.
LIFTS = (0.1, 0.5, 1.0, 2.0, 2.9)


def solids(seam, width=420.0, depth=168.0, **more):
    floor, _, _ = floor_of(shapely.box(0, 0, width, depth), seam=seam, **more)
    pieces = [*floor.pieces, *floor.keys]
    return floor, [
        placed(build(piece.shape).manifold(), Placement("F1", (*piece.at, 0.0), piece.turn)) for piece in pieces
    ]


def test_a_tab_drops_in_from_above_and_takes_hold_after_its_play():
    """Pulled apart, nothing touches up to the play; then the shoulders press on all of the undercut over the height."""
    floor, (first, second) = solids("dovetail")
    hold, height = floor.plan.hold, floor.pieces[0].shape.height
    for lift in LIFTS:
        assert (first ^ second.translate((0.0, 0.0, lift))).volume() == 0.0
    assert (first ^ second.translate((hold.play - 0.01, 0.0, 0.0))).volume() < 1e-3
    shared = [(first ^ second.translate((hold.play + step, 0.0, 0.0))).volume() for step in (0.05, 0.10)]
    area = (shared[1] - shared[0]) / 0.05
    assert area == pytest.approx(hold.tabs * 2.0 * hold.undercut * height, rel=0.02)


def test_a_key_takes_hold_in_both_tiles():
    floor, (first, second, *keys) = solids("key")
    hold, height = floor.plan.hold, floor.keys[0].shape.height
    assert len(keys) == hold.tabs == 3
    for key in keys:
        for tile, sense in ((first, -1.0), (second, 1.0)):
            for lift in LIFTS:
                assert (tile ^ key.translate((0.0, 0.0, lift))).volume() == 0.0
            shared = [
                (tile.translate((sense * (hold.play + step), 0.0, 0.0)) ^ key).volume() for step in (-0.01, 0.05, 0.10)
            ]
            assert shared[0] < 1e-3
            assert (shared[2] - shared[1]) / 0.05 == pytest.approx(2.0 * hold.undercut * height, rel=0.02)


@pytest.mark.parametrize("width", [42.0, 47.0, 60.0])
def test_tiles_one_cell_wide_hold_at_their_edges(width):
    """Two tabs with one head each, at the ends of a seam without a node: half the area of two whole ones."""
    floor, parts = solids("dovetail", width, 250.0, bed=180)
    assert len(floor.pieces) == 2
    hold, height = floor.plan.hold, floor.pieces[0].shape.height
    first, second = parts
    shared = [(first ^ second.translate((0.0, hold.play + step, 0.0))).volume() for step in (-0.01, 0.05, 0.10)]
    assert shared[0] < 1e-3
    heads = 4.0 if width > 50.0 else 2.0
    assert (shared[2] - shared[1]) / 0.05 == pytest.approx(heads * hold.undercut * height, rel=0.02)
    for angle in np.arange(16) * np.pi / 8.0:
        assert (first ^ second.translate((np.cos(angle), np.sin(angle), 0.0))).volume() > 0.05
