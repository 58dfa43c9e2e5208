"""The small map of a thing's places."""

import pytest
from lxml import etree

from tests.printing.progress.planned_manifest import manifest_of
from worker.output.drawings.place_map import write_place_map
from worker.spec import load

BOX = {"kind": "box", "size": [60, 10, 10]}


def test_names_do_not_lie_over_each_other_where_trays_do():
    trays = [
        {"name": "low", "cells": [2, 2], "height": 30, "at": [0, 0], "hold": [{"item": "pen"}]},
        {"name": "beside", "cells": [2, 2], "height": 30, "at": [2, 0]},
        {"name": "upper", "cells": [4, 2], "height": 30, "on": ["low", "beside"], "hold": [{"item": "ruler"}]},
    ]
    items = [{"name": name, "shape": BOX, "access": "rarely"} for name in ("pen", "ruler")]
    drawer = {"name": "top", "width": 176, "depth": 92, "height": 90, "items": items, "trays": trays}
    _, manifest = manifest_of(
        load({"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [200, 200, 200]}})
    )  # fmt: skip
    (entry,) = manifest.drawers
    parts = {part.mark: part for part in manifest.parts}
    shown = {}
    for item in ("pen", "ruler"):
        marked = [content for content in entry.contents if content.item == item]
        text = write_place_map(entry, parts, marked, item).decode()
        shown[item] = {name for name in ("low", "beside", "upper") if f">{name}<" in text}
    assert shown == {"pen": {"low", "beside"}, "ruler": {"upper"}}
    both = write_place_map(entry, parts, entry.contents, "both").decode()
    assert all(f">{name}<" in both for name in ("low", "upper"))  # where the things lie has its name in any case


def test_trays_and_contents_are_where_the_drawer_has_them():
    """Read from the picture: a tray's rectangle from the left and from the front, whatever the margin around."""
    trays = [
        {"name": "left", "cells": [2, 1], "height": 30, "at": [0, 1], "hold": [{"item": "pen"}]},
        {"name": "right", "cells": [1, 2], "height": 30, "at": [3, 0]},
    ]
    drawer = {"name": "top", "width": 190, "depth": 120, "height": 60, "items": [{"name": "pen", "shape": BOX}],
              "trays": trays}  # fmt: skip
    spec = load({"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [200, 200, 200]}})
    (entry,) = manifest_of(spec)[1].drawers
    parts = {part.mark: part for part in manifest_of(spec)[1].parts}
    root = etree.fromstring(write_place_map(entry, parts, entry.contents, "pen"))
    shapes = [
        [tuple(map(float, point.split(","))) for point in element.get("points").split()]
        for element in root.iter("{*}polygon")
    ]
    outline, *rest = shapes
    left, low = min(x for x, _ in outline), max(y for _, y in outline)
    drawn = [
        (min(x for x, _ in ring) - left, low - max(y for _, y in ring), *(
            max(point[axis] for point in ring) - min(point[axis] for point in ring) for axis in (0, 1)))
        for ring in rest
    ]  # fmt: skip
    expected = [
        (*place.at[:2], *parts[place.mark].size[:2])
        for place in entry.placements if parts[place.mark].kind == "tray"
    ] + [(*content.at[:2], *content.size[:2]) for content in entry.contents]  # fmt: skip
    assert len(drawn) == len(expected) >= 3
    assert all(any(own == pytest.approx(other, abs=0.01) for own in drawn) for other in expected)
    width, height = (float(root.get(side).removesuffix("mm")) for side in ("width", "height"))
    assert all(0.0 <= x <= width and 0.0 <= y <= height for ring in shapes for x, y in ring)
