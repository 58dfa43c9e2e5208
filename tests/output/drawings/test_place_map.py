"""The small map of a thing's places."""

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
