"""Pictures of drawers as an independent reader of PNG sees them."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from worker.layout.planner import lay_out
from worker.output.preview.drawer_picture import PICTURE_SIDE, draw_drawer, picture_title
from worker.solids import build
from worker.spec import load

_TRAYS = [
    {"name": "left", "cells": [1, 2], "height": 40, "at": [0, 0]},
    {"name": "right", "cells": [2, 1], "height": 30, "at": [1, 0]},
]


def _pixels(data):
    with Image.open(io.BytesIO(data)) as picture:
        assert (picture.format, picture.mode) == ("PNG", "RGB")
        return np.asarray(picture).astype(int)


@pytest.fixture(scope="module")
def drawer():
    """The first drawer of a job, and the meshes of its parts by mark."""
    spec = load(
        {
            "spec": "1",
            "name": "bench",
            "drawers": [{"name": "top", "width": 180, "depth": 140, "height": 70, "trays": _TRAYS}],
            "printer": {"bed": [256, 256, 256]},
            "coupon": False,
        }
    )
    plan = lay_out(spec)
    return plan.drawers[0], {part.mark: build(part.shape) for part in plan.parts}


def _trays(plan):
    return {place.name: place for place in plan.placements if place.cell is not None}


def test_the_same_drawer_gives_the_same_picture_of_its_size(drawer):
    data = draw_drawer(*drawer, {})
    assert draw_drawer(*drawer, {}) == data
    rows, columns, _ = _pixels(data).shape
    assert max(rows, columns) == PICTURE_SIDE
    assert columns > rows  # the drawer is wider than deep


def test_each_tray_is_seen_where_it_stands_in_its_colour(drawer):
    plan, meshes = drawer
    trays = _trays(plan)
    plain = _pixels(draw_drawer(plan, meshes, {}))
    centres = {}
    for name, tray in trays.items():
        red = _pixels(draw_drawer(plan, meshes, {tray.mark: "#FF0000"}))
        changed = np.abs(red - plain).sum(axis=2) > 30
        rows, columns = np.nonzero(changed)
        assert changed.mean() > 0.05
        assert (red[changed][:, 0] >= red[changed][:, 1]).mean() > 0.95
        centres[name] = columns.mean() / plain.shape[1], rows.mean() / plain.shape[0]
    assert centres["left"][0] < 0.3
    assert centres["right"][0] > 0.4
    assert centres["right"][1] > centres["left"][1]  # it is in front, and so further down


def test_a_tray_that_is_turned_is_seen_turned(drawer):
    plan, meshes = drawer
    tray = _trays(plan)["right"]

    def extent(turn):
        others = [place for place in plan.placements if place is not tray]
        turned = replace(plan, placements=(*others, replace(tray, turn=turn)))
        with_it, without = (
            _pixels(draw_drawer(each, meshes, {tray.mark: "#0000FF"}))
            for each in (turned, replace(plan, placements=tuple(others)))
        )
        if with_it.shape != without.shape:
            pytest.fail("The height of the picture depends on the left tray, which is higher.")
        rows, columns = np.nonzero(np.abs(with_it - without).sum(axis=2) > 30)
        return np.ptp(columns), np.ptp(rows)

    for turn, wide in ((0, True), (90, False), (180, True), (270, False)):
        across, down = extent(turn)
        assert (across > 1.3 * down) == wide, (turn, across, down)


def test_an_empty_drawer_is_a_picture_too(drawer):
    plan, _ = drawer
    pixels = _pixels(draw_drawer(replace(plan, placements=()), {}, {}))
    assert len(np.unique(pixels.reshape(-1, 3), axis=0)) == 2  # the paper and the drawer's bottom


def test_what_is_seen_is_told_in_words(drawer):
    plan, _ = drawer
    assert picture_title(plan) == "top from the front and above: 1 floor part, 2 trays"
