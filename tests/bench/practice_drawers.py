"""The practice drawers: each as a spec for the search, and as trays by hand; the figures of a layout."""

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from worker.layout.model.plan import Plan
from worker.layout.model.shapes import PieceShape, TrayShape
from worker.layout.planner import lay_out
from worker.layout.storage.poses import volume
from worker.layout.tray.tray_builder import tray_size
from worker.printing.estimating.part_estimates import price_parts
from worker.printing.runs.work_plan import runs_of
from worker.solids import build
from worker.spec import Spec, load

FOLDER = Path(__file__).parent / "practice"
_CELL = 4.0  # quarters, in which free floor is counted


def names() -> list[str]:
    """Return the names of all practice drawers."""
    return sorted(path.stem for path in FOLDER.glob("*.json"))


def held_out_names() -> list[str]:
    """Return the names of the drawers without a by-hand layout, on which no rule or weight was set."""
    return sorted(path.stem for path in (FOLDER / "held_out").glob("*.json"))


def searched(name: str, bed: int, effort: str) -> Spec:
    """Return a drawer's spec for a square bed, in mm; the drawer may be one of those held out."""
    return load({**_data(name, bed), "layout": {"effort": effort}})


def by_hand(name: str, bed: int) -> Spec:
    """Return a drawer with the trays of its by-hand layout, as far as the bed takes them.

    Things that none of these trays holds are not listed.
    """
    data = _data(name, bed)
    (drawer,) = data["drawers"]
    counts = {item["name"]: item.get("count", 1) for item in drawer["items"]}
    trays = json.loads((FOLDER / "by_hand" / f"{name}.json").read_text())["trays"]
    pitch = 42.0
    trays = [tray for tray in trays if max(tray["cells"]) * pitch <= bed]
    held: dict[str, int] = {}
    for entry in (entry for tray in trays for entry in tray["hold"]):
        held[entry["item"]] = held.get(entry["item"], 0) + entry.get("count", counts[entry["item"]])
    items = [{**item, "count": held[item["name"]]} for item in drawer["items"] if item["name"] in held]
    return load({**data, "drawers": [{**drawer, "items": items, "trays": trays}]})


def _data(name: str, bed: int) -> dict[str, Any]:
    own = FOLDER / f"{name}.json"
    data: dict[str, Any] = json.loads((own if own.exists() else FOLDER / "held_out" / own.name).read_text())
    return {**data, "printer": {"bed": [bed, bed, 256]}}


@dataclass(frozen=True)
class Figures:
    """What a layout of a drawer comes to.

    ``whole`` kinds of ``kinds`` are placed with all their things, ``share`` is that of all things counted by kind,
    ``often_out`` are the kinds used often that are not whole. ``covered`` is the share of the trays' floor that things
    take, seen from above; ``jointed`` of the trays are in pieces. Grams and hours are those of the trays.
    """

    kinds: int
    whole: int
    share: float
    often_out: int
    trays: int
    jointed: int
    footprints: int
    heights: int
    cells: float
    floor: float
    covered: float
    grams: float
    hours: float
    runs: int
    reasons: tuple[str, ...]

    @staticmethod
    def of(wished: Spec, spec: Spec, plan: Plan) -> "Figures":
        """Return the figures of a plan of a spec, against what was wished for."""
        (drawer,) = plan.drawers
        items = wished.drawers[0].items
        placed: dict[str, int] = {}
        for entry in drawer.contents:
            placed[entry.item] = placed.get(entry.item, 0) + entry.count
        whole = [item for item in items if placed.get(item.name, 0) >= item.count]
        parts = {part.mark: part for part in plan.parts if part.kind == "tray"}
        standing = [place for place in drawer.placements if place.mark in parts]
        meshes = {part.mark: build(part.shape) for part in plan.parts}
        estimates = price_parts(spec, plan, meshes)
        _, work = runs_of(spec, plan, estimates)
        beyond = {index for tray in drawer.jointed for index in tray.pieces[1:]}
        whole_trays = [
            _tray_of(parts[place.mark].shape)
            for index, place in enumerate(drawer.placements)
            if place.mark in parts and index not in beyond
        ]
        inside = sum(math.prod(tray_size(shape)[:2]) for shape in whole_trays)
        return Figures(
            kinds=len(items),
            whole=len(whole),
            share=sum(min(placed.get(item.name, 0) / item.count, 1.0) for item in items) / len(items),
            often_out=sum(item.access == "often" for item in items) - sum(item.access == "often" for item in whole),
            trays=len(whole_trays),
            jointed=len(drawer.jointed),
            footprints=len({tuple(sorted(shape.halves)) for shape in whole_trays}),
            heights=len({shape.height for shape in whole_trays}),
            cells=sum(cell.width * cell.depth for cell in drawer.lattice.cells) / _CELL - drawer.free / _CELL,
            floor=sum(cell.width * cell.depth for cell in drawer.lattice.cells) / _CELL,
            covered=sum(_shadow(entry) for entry in drawer.contents) / inside if inside else 0.0,
            grams=sum(estimates[place.mark].grams for place in standing),
            hours=sum(estimates[place.mark].seconds for place in standing) / 3600.0,
            runs=work.runs,
            reasons=tuple(f"{lack.count} {lack.item}: {lack.reason}. {lack.remedy}" for lack in plan.unplaced),
        )


def _tray_of(shape: Any) -> TrayShape:
    """Return the whole tray of a part."""
    tray: TrayShape = shape.tray if isinstance(shape, PieceShape) else shape
    return tray


def _shadow(entry: Any) -> float:
    """Return the floor in mm2 that an entry's things take, seen from above: of heaps their region."""
    if entry.storage == "loose":
        return float(entry.size[0] * entry.size[1])
    high = min(entry.size[2], 3000.0)
    # things in layers cover the floor once
    return float(min(entry.size[0] * entry.size[1], volume(entry.shape) * entry.count / max(high, 0.1)))


def laid_out(name: str, bed: int, effort: str | None) -> tuple[Spec, Plan, Figures]:
    """Return a drawer laid out by the search with an effort, or by hand for None, and its figures.

    Raises:
        TrayError: if a tray of the by-hand layout cannot be made.
    """
    wished = searched(name, bed, effort or "quick")
    spec = wished if effort else by_hand(name, bed)
    plan = lay_out(spec)
    return spec, plan, Figures.of(wished, spec, plan)
