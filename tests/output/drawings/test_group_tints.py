"""Tints of groups: told apart by all kinds of sight, and legible under black text."""

import re
from itertools import combinations
from pathlib import Path as FilePath

import numpy as np
import pytest

from worker.layout.planner import lay_out
from worker.output.drawings.group_tints import TINTS, groups_of, tints_of
from worker.output.drawings.map import map_picture
from worker.output.drawings.sheet import Path, TextLine
from worker.spec import load

#: Full dichromacy in linear RGB, by the model of Machado, Oliveira and Fernandes, 2009 (from memory).
SIGHTS = {
    "normal": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def _linear(tint):
    """IEC 61966-2-1, sRGB."""
    values = np.array(tint)
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def _lab(linear):
    """CIE 1976 L*a*b* of linear sRGB under D65 (CIE 15)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = to_xyz @ linear / np.array([0.9505, 1.0, 1.089])
    x, y, z = (t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116 for t in (x, y, z))
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize("sight", SIGHTS)
def test_tints_and_paper_are_told_apart(sight):
    seen = [_lab(np.clip(SIGHTS[sight] @ _linear(tint), 0.0, 1.0)) for tint in (*TINTS, (1.0, 1.0, 1.0))]
    assert min(np.linalg.norm(first - other) for first, other in combinations(seen, 2)) >= 12.0


def test_black_text_is_legible_on_every_tint():
    # contrast of WCAG 2.2: 7 to 1 is its strictest level
    assert all((_linear(tint) @ [0.2126, 0.7152, 0.0722] + 0.05) / 0.05 >= 7.0 for tint in TINTS)


def test_one_group_alone_and_those_beyond_the_tints_have_none():
    assert tints_of(["a", "a"]) == {}
    names = [f"g{number}" for number in range(12)]
    assert list(tints_of(names)) == names[: len(TINTS)]


def test_trays_have_the_tint_of_their_group_and_the_legend_names_it():
    items = [
        {"name": name, "shape": {"kind": "box", "size": [30, 30, 20]}, "group": group, "count": 4}
        for name, group in (("nuts", "metal"), ("bolts", "metal"), ("tape", "paper"))
    ]
    drawer = {"name": "top", "width": 300, "depth": 200, "height": 60}
    spec = load({
        "spec": "1", "name": "a", "printer": {"bed": [180, 180, 180]}, "drawers": [drawer], "items": items,
        "layout": {"share": "group"},
    })  # fmt: skip
    plan, groups = lay_out(spec), groups_of(spec)
    assert groups == {"/items/0": "metal", "/items/1": "metal", "/items/2": "paper"}
    sheet = map_picture(plan, 0, groups=groups)
    fills = [shape.fill for shape in sheet.shapes if isinstance(shape, Path)]
    # a tray at least and the swatch
    assert all(fills.count(tint) >= 2 for tint in TINTS[:2])
    lines = [shape.text for shape in sheet.shapes if isinstance(shape, TextLine)]
    assert {line.split(": T")[0] for line in lines if line.startswith(("metal: T", "paper: T"))} == {"metal", "paper"}
    plain = [shape.fill for shape in map_picture(plan, 0).shapes if isinstance(shape, Path)]
    assert not set(plain) & set(TINTS)


def test_the_page_has_the_same_tints():
    style = FilePath("api/kiosk/page/style.css").read_text(encoding="utf-8")
    on_page = re.findall(r"^\.tint-(\d) \{ --tray: #(..)(..)(..); \}$", style, re.MULTILINE)
    assert [int(number) for number, *_ in on_page] == list(range(len(TINTS)))
    for (_, *channels), tint in zip(on_page, TINTS, strict=True):
        assert [int(channel, 16) / 255 for channel in channels] == pytest.approx(tint, abs=1 / 255)
