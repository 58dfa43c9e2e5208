"""Figures of the photo pipeline on rendered photos: ``python -m tests.bench.silhouettes.score FOLDER``."""

import json
import sys
import time
from pathlib import Path

import numpy as np
import shapely

from worker.silhouettes.errors import PhotoRefused
from worker.silhouettes.photo.options import PhotoOptions
from worker.silhouettes.photo.parallax import largest
from worker.silhouettes.photo.photo_reading import read_photos

#: Mean and 95 % of the distances from the truth, mm, and area more than the thing's.
GOALS = {"seen_mean": 0.15, "seen_95": 0.4, "edge_mean": 0.15, "edge_95": 0.4, "likely_95": 0.3, "excess": 0.12}

#: A pocket's own clearance takes this much, mm.
ALMOST = 0.1


def _distances(first, second):
    points = [shapely.points(shapely.get_coordinates(shape.segmentize(0.5))) for shape in (first, second)]
    return np.concatenate([shapely.distance(points[0], second.boundary), shapely.distance(points[1], first.boundary)])


def _outside(above, outline):
    """How far the thing reaches out of the outline, mm."""
    out = shapely.get_coordinates(above.difference(outline.buffer(1e-6)).segmentize(0.5))
    return float(shapely.distance(shapely.points(out), outline).max()) if len(out) else 0.0


def _filled(shape):
    """A shape without holes: a pocket leaves them out."""
    return shapely.Polygon(shape.exterior)


def score(path):
    """Return the figures of one photo: name, body, and errors in mm; or why it was refused."""
    truth = json.loads(path.with_suffix(".json").read_text())
    # projected meshes leave slivers
    seen, above = largest(shapely.from_wkt(truth["seen"])), largest(shapely.from_wkt(truth["above"]))
    start = time.perf_counter()
    try:
        reading = read_photos([path.read_bytes()], PhotoOptions(truth["thickness"], truth["body"], bar=150.0))
    except PhotoRefused as refused:
        return {"name": path.stem, "refused": refused.reason}
    seconds = time.perf_counter() - start
    hidden, likely = _distances(reading.seen[0], seen), _distances(reading.likely.polygon, above)
    edge = _distances(_filled(reading.seen[0]), _filled(seen))
    outline, above = _filled(reading.silhouette.polygon), _filled(above)
    return {
        "name": path.stem, "body": truth["body"], "light": truth["light"], "height": truth["height"],
        "seen_mean": hidden.mean(), "seen_95": np.percentile(hidden, 95.0), "edge_mean": edge.mean(),
        "edge_95": np.percentile(edge, 95.0), "likely_95": np.percentile(likely, 95.0),
        "outside": _outside(above, outline), "excess": outline.area / above.area - 1.0, "seconds": seconds,
    }  # fmt: skip


def main():
    rows = []
    for path in sorted(Path(sys.argv[1]).glob("*.jpg")):
        rows.append(score(path))
        print(" ".join(f"{name}={value:.3f}" if isinstance(value, float) else f"{name}={value}"
                       for name, value in rows[-1].items()), flush=True)  # fmt: skip
    good = [row for row in rows if "refused" not in row]
    print(f"{len(good)} of {len(rows)} read")
    for light in ("soft", "window", "spots", "hard"):
        _summary(f"{light} light", [row for row in good if row["light"] == light])
    _summary("all", good)
    prisms = [row["likely_95"] for row in good if row["body"] == "flat" and row["height"] >= 600.0 / 1.06]
    if prisms:
        print(f"likely_95 of {len(prisms)} prisms from afar: median {np.median(prisms):.3f}, worst {max(prisms):.3f}")


def _summary(name, rows):
    """Print the figures that the goals are about."""
    if not rows:
        return
    taken = sum(row["outside"] == 0.0 for row in rows), sum(row["outside"] <= ALMOST for row in rows)
    print(f"{name}: {len(rows)} photos; thing in the outline {taken[0]}, within {ALMOST:g} mm {taken[1]}")
    for figure in ("seen_mean", "seen_95", "edge_mean", "edge_95", "likely_95", "outside", "excess", "seconds"):
        values = [row[figure] for row in rows]
        limit = GOALS.get(figure)
        reached = f", {sum(value <= limit for value in values)} within {limit:g}" if limit else ""
        print(f"  {figure}: median {np.median(values):.3f}, 90 % {np.percentile(values, 90):.3f}, "
              f"worst {max(values):.3f}{reached}")  # fmt: skip


if __name__ == "__main__":
    main()
