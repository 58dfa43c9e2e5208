"""The layers of a piece that lettering in a second filament lies in, and the filament for it."""

from collections.abc import Iterator
from math import floor
from typing import Final

import manifold3d

from worker.layout.model.shapes import Part
from worker.layout.tray.part_mark import MARK_DEPTH
from worker.printing.estimating.filament import mass
from worker.printing.estimating.process import Process
from worker.solids import Mesh
from worker.solids.inlay import inlays
from worker.spec import Spec
from worker.spec.manifest import LetteringBand
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["engraved_volume", "lettering_bands"]

#: Decimals of grams and heights.
_DECIMALS: Final = 4


def lettering_bands(spec: Spec, part: Part, mesh: Mesh, process: Process, factor: float) -> tuple[LetteringBand, ...]:
    """Return the layers with lettering of one piece; empty without a second filament.

    A layer has the lettering that its middle lies in, as slicing programs cut layers there. Where the print pauses, the
    first layers are in the second filament on the whole bed, so every part has a band for them.

    Args:
        spec: the job.
        part: the part.
        mesh: its mesh, as printed (z up), mm.
        process: its print settings.
        factor: the calibration of amounts of filament.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    second = spec.printing.lettering
    if second is None:
        return ()
    ranges: dict[tuple[str, float, float], list[float]] = {}
    for inlay in inlays(part.shape, spec.lettering_faces):
        low, high = (float(bound[2]) for bound in inlay.mesh.bounds)
        layers = _layers(low, high, process)
        if layers is not None:
            ranges.setdefault((inlay.face, *layers), []).append(inlay.mesh.volume)
    bodies = spec.printer.tool_changes
    if not bodies and "bottom" in spec.lettering_faces and not any(face == "bottom" for face, *_ in ranges):
        layers = _layers(0.0, MARK_DEPTH, process)
        if layers is not None:
            ranges["bottom", *layers] = []
    solid = None if bodies else mesh.manifold()

    def grams(volumes: list[float], low: float, high: float) -> float:
        volume = sum(volumes) if solid is None else _between(solid, low, high)
        return round(factor * mass(volume, second.material.density), _DECIMALS)

    return tuple(
        LetteringBand.model_validate(
            {
                "face": face,
                "low": round(low, _DECIMALS),
                "high": round(high, _DECIMALS),
                "letterings": len(volumes),
                "grams": grams(volumes, low, high),
            }
        )
        for (face, low, high), volumes in ranges.items()
    )


def engraved_volume(spec: Spec, part: Part) -> float:
    """Return the volume of the letters that fill engravings in a second filament, mm3: the part's mesh lacks it."""
    return float(sum(inlay.mesh.volume for inlay in inlays(part.shape, spec.body_faces) if not inlay.raised))


def _layers(low: float, high: float, process: Process) -> tuple[float, float] | None:
    """Return the bottom of the first and the top of the last layer whose middle lies in a range, mm; None if none."""
    inside = [ends for ends in _all_layers(high, process) if low < (ends[0] + ends[1]) / 2.0 < high]
    return (inside[0][0], inside[-1][1]) if inside else None


def _all_layers(high: float, process: Process) -> Iterator[tuple[float, float]]:
    """Yield the bottom and top of each layer up to the one in which ``high`` lies, mm."""
    yield 0.0, process.first_layer
    for number in range(floor((high - process.first_layer) / process.layer + LENGTH_EPSILON) + 1):
        low = process.first_layer + number * process.layer
        yield low, low + process.layer


def _between(solid: manifold3d.Manifold, low: float, high: float) -> float:
    """Return the volume of a solid between two heights, mm3, by its section midway: skins are printed solid."""
    return float(solid.slice((low + high) / 2.0).area() * (high - low))
