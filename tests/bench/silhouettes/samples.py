"""The photos that the tests keep: ``python -m tests.bench.silhouettes.samples FOLDER``. Needs `mitsuba`."""

import json
import sys
from dataclasses import replace
from pathlib import Path

from tests.bench.silhouettes.render import develop, render, truth
from tests.bench.silhouettes.things import THINGS
from tests.bench.silhouettes.views import View

_PIXELS = (1600, 1200)
_BASE = View(
    seed=9001, place=(12.0, -20.0, 25.0), distance=640.0, tilt=9.0, azimuth=140.0, aim=(3.0, -4.0), roll=91.0,
    lens=52.0, light="soft", pixels=_PIXELS,
)  # fmt: skip

#: By name: thing, view, tint, rise of the sheet's edges in mm, and the reason for which the photo must be refused.
SAMPLES = {
    "card": ("card", replace(_BASE, seed=9002, place=(0.0, 0.0, 0.0), light="window"), "green", 0.0, None),
    "washer": ("washer M20", replace(_BASE, seed=9003), "green", 0.0, None),
    "pen": ("pen", replace(_BASE, seed=9004, place=(-10.0, 5.0, 80.0), light="spots"), "green", 0.0, None),
    "wood-block": ("wood block", replace(_BASE, seed=9005, azimuth=0.0), "green", 0.0, None),
    "wood-block-opposite": ("wood block", replace(_BASE, seed=9006, azimuth=180.0, tilt=12.0), "green", 0.0, None),
    "leaf-letter": ("leaf", replace(_BASE, seed=9007, size="letter", light="window"), "pink", 0.0, None),
    "curled": ("card", replace(_BASE, seed=9009), "green", 6.0, "sheet-curled"),
    "tilted": ("card", replace(_BASE, seed=9010, tilt=33.0), "green", 0.0, "too-tilted"),
    "low": ("washer M20", replace(_BASE, seed=9011, distance=268.0, tilt=5.0, lens=22.0), "green", 0.0, "camera-too-low"),  # noqa: E501
    "across": ("knife", replace(_BASE, seed=9012, place=(70.0, -30.0, 15.0)), "green", 0.0, "thing-across-border"),
}  # fmt: skip


def main():
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    things = {thing.name: thing for thing in THINGS}
    for name, (thing, view, tint, bent, reason) in SAMPLES.items():
        if (folder / f"{name}.jpg").exists():
            continue
        linear, camera = render(things[thing], view, tint, bent=bent)
        (folder / f"{name}.json").write_text(
            json.dumps(truth(things[thing], view, camera) | {"reason": reason}, indent=1)
        )
        (folder / f"{name}.jpg").write_bytes(develop(linear, view, quality=85))


if __name__ == "__main__":
    main()
