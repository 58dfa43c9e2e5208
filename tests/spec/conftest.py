"""Specs of our own scenario, as a caller would send them."""

from copy import deepcopy

import pytest

_MINIMAL = {
    "spec": "1",
    "name": "bench left",
    "drawers": [{"name": "top", "width": 310, "depth": 425, "height": 70, "trays": []}],
    "printer": {"bed": [256, 256, 256]},
}
_FULL = {
    "spec": "1",
    "name": "bench left",
    "drawers": [
        {
            "name": "top",
            "width": ["310 mm", 311.5, "31.2 cm"],
            "depth": '16 3/4"',
            "height": "2 3/4 in",
            "corner_radius": 4,
            "obstacles": [{"name": "lock", "at": [140, 0], "size": ["30 mm", 12]}],
            "gap": 0.5,
            "align": {"x": "left", "y": "back"},
            "copies": 2,
            "items": [
                {"name": "cells", "shape": {"kind": "standard", "id": "battery-aa"}, "count": 24, "storage": "upright"},
                {"name": "knife", "shape": {"kind": "box", "size": [160, "1 in", 20]}, "near": "cells", "label": True},
                {
                    "name": "square",
                    "shape": {"kind": "polygon", "points": [[0, 0], [90, 0], [90, 15], [15, 15], [0, 60]], "height": 9},
                    "storage": "pocket",
                    "at": [3, 2.5],
                    "stack": False,
                },
            ],
            "fill": True,
            "trays": [
                {
                    "name": "chisels",
                    "cells": [2, 5.5],
                    "height": 40,
                    "at": [0, 0.5],
                    "rim": "straight",
                    "wall": 1.6,
                    "floor": 1.0,
                    "dividers": [{"axis": "x", "at": 40}, {"axis": "y", "at": 60, "height": 20}],
                    "finger_ramp": True,
                    "label_ledge": {"depth": 14, "drop": 4},
                    "magnets": {"diameter": 8, "depth": 3},
                    "text": {"text": "CHISELS", "face": "ledge", "style": "raised", "cap_height": 7},
                },
                {
                    "name": "router bits",
                    "cells": [3, 2],
                    "height": 30,
                    "quantity": 2,
                    "compartments": [3, 1],
                    "pockets": [
                        {"shape": "circle", "at": [20, 20], "diameter": 12, "depth": 8, "notch": {"width": 20}},
                        {"shape": "rectangle", "at": [40, 10], "size": [30, 20], "depth": 10, "clearance": 0.4},
                        {"shape": "polygon", "points": [[80, 10], [110, 10], [95, 40]], "depth": 6, "notch": None},
                    ],
                },
            ],
        },
        {"name": "corner", "height": 60, "outline": [[0, 0], [400, 0], [400, 200], [180, 200], [180, 380], [0, 380]]},
    ],
    "grid": {
        "pitch": 42,
        "half_cells": True,
        "clearance": 0.3,
        "joint": [[1.8, 0], [1.8, 1], [1.2, 1.6], [1.2, 3]],
        "seam": "key",
        "seam_gap": 0.2,
    },
    "printer": {
        "bed": [256, 256, 256],
        "margin": 1,
        "forbidden": [{"at": [216, 226], "size": [40, 30]}],
        "nozzle": 0.4,
        "line_width": 0.44,
        "layer": 0.2,
    },
    "material": {"name": "PETG", "density": 1.27, "cost_per_kg": 20},
    "coupon": False,
    "items": [
        {"name": "nuts", "shape": {"kind": "standard", "id": "nut-m4"}, "count": 100, "group": "M4", "mass": 0.8},
        {
            "name": "screws",
            "shape": {"kind": "standard", "id": "bolt-cap-m4", "length": "16 mm"},
            "count": 80,
            "group": "M4",
            "access": "often",
            "label": "M4 x 16",
        },
        {"name": "pens", "shape": {"kind": "cylinder", "diameter": 10, "length": 145}, "access": "rarely"},
    ],
    "strict": True,
}


@pytest.fixture
def minimal():
    return deepcopy(_MINIMAL)


@pytest.fixture
def full():
    return deepcopy(_FULL)


@pytest.fixture
def resolve():
    """Follow a JSON Pointer (RFC 6901, section 4): returns the value, or raises LookupError."""

    def follow(document, pointer):
        here = document
        if pointer and not pointer.startswith("/"):
            raise LookupError(pointer)
        for token in pointer.split("/")[1:]:
            step = token.replace("~1", "/").replace("~0", "~")
            if isinstance(here, list):
                here = here[int(step)]
            elif isinstance(here, dict):
                here = here[step]
            else:
                raise LookupError(pointer)  # noqa: TRY004 - the pointer leads nowhere
        return here

    return follow
