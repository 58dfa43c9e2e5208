"""Parts to estimate: from the examples and from two specs of our own, each built once."""

from functools import lru_cache

from api.openapi import examples
from worker.layout.planner import lay_out
from worker.solids import build
from worker.spec import load

SPECS = {
    # a whole tile for the bed, and trays of three by two cells
    "square": {
        "spec": "1",
        "name": "square",
        "coupon": False,
        "printer": {"bed": [256, 256, 256]},
        "grid": {"seam": "plain"},
        "material": {"name": "PETG"},
        "drawers": [
            {
                "name": "one",
                "width": 253,
                "depth": 253,
                "height": 80,
                "trays": [{"name": f"{height}", "cells": [3, 2], "height": height} for height in (45, 60)],
            }
        ],
    },
    # what no example has: a wide border with windows, half cells, a coarse nozzle, ledge and ramp in other sizes
    "coarse": {
        "spec": "1",
        "name": "coarse",
        "printer": {"bed": [220, 220, 220], "nozzle": 0.6, "layer": 0.3},
        "grid": {"half_cells": False, "seam": "plain"},
        "drawers": [
            {
                "name": "one",
                "width": 200,
                "depth": 164,
                "height": 70,
                "trays": [
                    {
                        "name": "ledge",
                        "cells": [2, 1],
                        "height": 55,
                        "wall": 1.8,
                        "label_ledge": {"depth": 14, "drop": 4},
                    },
                    {"name": "ramp", "cells": [1, 2], "height": 35, "wall": 1.6, "finger_ramp": {"radius": 18}},
                ],
            }
        ],
    },
}


@lru_cache(maxsize=8)
def parts(name):
    """Kind, mark and mesh of each part of a job."""
    spec = SPECS.get(name) or examples.document(name)
    return tuple((part.kind, part.mark, build(part.shape)) for part in lay_out(load(spec)).parts)


def part(name, mark):
    return next(mesh for _, own, mesh in parts(name) if own == mark)
