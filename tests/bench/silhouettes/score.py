"""Figures of the photo pipeline on rendered photos: ``python -m tests.bench.silhouettes.score FOLDER``."""

import json
import sys
import time
from pathlib import Path

import numpy as np
import shapely

from worker.silhouettes.errors import PhotoRefused
from worker.silhouettes.photo.options import PhotoOptions
from worker.silhouettes.photo.photo_reading import read_photos


def _distances(first, second):
    points = [shapely.points(shapely.get_coordinates(shape.segmentize(0.5))) for shape in (first, second)]
    return np.concatenate([shapely.distance(points[0], second.boundary), shapely.distance(points[1], first.boundary)])


def score(path):
    """Return the figures of one photo: name, body, and errors in mm; or why it was refused."""
    truth = json.loads(path.with_suffix(".json").read_text())
    seen, above = shapely.from_wkt(truth["seen"]), shapely.from_wkt(truth["above"])
    start = time.perf_counter()
    try:
        reading = read_photos([path.read_bytes()], PhotoOptions(truth["thickness"], truth["body"], bar=150.0))
    except PhotoRefused as refused:
        return {"name": path.stem, "refused": refused.reason}
    seconds = time.perf_counter() - start
    hidden, likely = _distances(reading.seen[0], seen), _distances(reading.likely.polygon, above)
    outline = reading.silhouette.polygon
    return {
        "name": path.stem, "body": truth["body"], "light": truth["light"], "height": truth["height"],
        "seen_mean": hidden.mean(), "seen_95": np.percentile(hidden, 95.0), "likely_95": np.percentile(likely, 95.0),
        "missing": above.difference(outline).area, "excess": outline.area / above.area - 1.0, "seconds": seconds,
    }  # fmt: skip


def main():
    rows = []
    for path in sorted(Path(sys.argv[1]).glob("*.jpg")):
        rows.append(score(path))
        print(" ".join(f"{name}={value:.3f}" if isinstance(value, float) else f"{name}={value}"
                       for name, value in rows[-1].items()), flush=True)  # fmt: skip
    good = [row for row in rows if "refused" not in row]
    flat = [row["likely_95"] for row in good if row["body"] == "flat" and row["height"] >= 560.0]
    print(f"{len(good)} of {len(rows)} read; taken: {sum(row['missing'] < 1e-6 for row in good)}")
    for name in ("seen_mean", "seen_95", "likely_95", "excess", "seconds"):
        values = [row[name] for row in good]
        print(f"{name}: median {np.median(values):.3f}, 90 % {np.percentile(values, 90):.3f}, worst {max(values):.3f}")
    print(f"likely_95 of prisms from 560 mm up: median {np.median(flat):.3f}, worst {max(flat):.3f} ({len(flat)})")


if __name__ == "__main__":
    main()
