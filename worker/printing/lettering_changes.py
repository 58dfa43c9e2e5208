"""Changes of filament for the lettering of a run: how many, at which heights, and what they cost.

On a printer that changes filaments by itself each layer with lettering takes one change, as the next layer begins with
the filament that the last one ended with. By hand, the print pauses: below the last layer of lettering on the bottom,
and above the first layer of lettering on the top, all lines on the bed are in the second filament.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from numpy import interp

from worker.printing.estimating.process import Process
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, PauseEntry, RunLettering
from worker.spec.printer.lettering import LetteringPrinting
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = [
    "LetteredPiece",
    "least_changes",
    "lettering_grams",
    "pause_times",
    "run_lettering",
]

#: Decimals of grams and seconds.
_DECIMALS: Final = 4

#: Seconds of a change by a printer that does it itself, and by hand, with somebody present (common practice).
_CHANGE_SECONDS: Final = 60.0
_PAUSE_SECONDS: Final = 300.0


@dataclass(frozen=True, slots=True)
class LetteredPiece:
    """A piece on a bed: its estimate, and its height, mm."""

    estimate: EstimateEntry
    height: float


def run_lettering(spec: Spec, pieces: Sequence[LetteredPiece], first_layer: float) -> RunLettering | None:
    """Return the lettering of a run in a second filament; None if it has none.

    Args:
        spec: the job.
        pieces: all pieces of the run, with the same layer height.
        first_layer: height of the first layer, mm.
    """
    second = spec.printing.lettering
    if second is None:
        return None
    if spec.printer.tool_changes:
        bands = [band for piece in pieces for band in piece.estimate.lettering if band.letterings]
        if not bands:
            return None
        layer = pieces[0].estimate.layer
        lettered = {number for band in bands for number in _numbers(band.low, band.high, first_layer, layer)}
        changes = least_changes(lettered, max(piece.estimate.layers for piece in pieces))
        return _lettering(second, sum(band.grams for band in bands), changes, "bodies")
    pauses, grams = _pauses(second, pieces, first_layer)
    return _lettering(second, grams, len(pauses), "pauses", pauses) if pauses else None


def pause_times(
    lettering: RunLettering, pieces: Sequence[LetteredPiece], process: Process, factor: float
) -> RunLettering:
    """Return the lettering with the print time until each pause, the changes before it included.

    Args:
        lettering: that of a run.
        pieces: all pieces of the run.
        process: their print settings.
        factor: the calibration of times.
    """
    change = lettering.seconds / max(lettering.changes, 1)
    timed = []
    for number, pause in enumerate(lettering.pauses):
        laying = sum(_laying_below(piece, pause.height) for piece in pieces)
        own = factor * (process.heat_up + pause.layers * process.layer_change)
        seconds = 0.0 if pause.height == 0.0 else own + laying + number * change
        timed.append(pause.model_copy(update={"seconds": round(seconds, 1)}))
    return lettering.model_copy(update={"pauses": tuple(timed)})


def _laying_below(piece: LetteredPiece, height: float) -> float:
    """Return the print time of a piece below a height, mm, in s; in proportion between the heights it is known at."""
    estimate = piece.estimate
    times_at = {0.0: 0.0, piece.height: estimate.laying_seconds}
    for band in estimate.lettering:
        times_at[band.low] = band.seconds_below
        times_at[band.high] = band.seconds_below + band.seconds_within
    heights = sorted(times_at)
    return float(interp(height, heights, [times_at[each] for each in heights]))


def lettering_grams(estimate: EstimateEntry, lettering: RunLettering | None) -> float:
    """Return the grams of one piece that are of the second filament, in a run with this lettering."""
    if lettering is None:
        return 0.0
    faces = {band.face for band in estimate.lettering}
    if lettering.method == "pauses":
        # a bottom is lettered from the start; a top by a last change to the second filament
        first, last = lettering.pauses[0], lettering.pauses[-1]
        on_top = last.height > 0.0 and (last.material, last.colour) == (lettering.material, lettering.colour)
        faces &= ({"bottom"} if first.height == 0.0 else set()) | ({"top"} if on_top else set())
    return sum(band.grams for band in estimate.lettering if band.face in faces)


def least_changes(lettered: set[int], layers: int) -> int:
    """Return the least number of changes between two filaments in a print.

    Each of ``layers`` layers needs the parts' filament, those numbered in ``lettered``, from 0, the second one, too.
    A layer with both takes one change if it begins with the filament that the layer before ended with. A stack of such
    layers ends with the filament it began with if they are an even number; else one more change leads back, unless the
    print begins or ends there.
    """
    changes = 0
    for _, group in groupby(enumerate(sorted(lettered)), key=lambda entry: entry[1] - entry[0]):
        stack = [number for _, number in group]
        free = stack[0] == 0 or stack[-1] >= layers - 1
        changes += len(stack) + (len(stack) % 2 if not free else 0)
    return changes


def _numbers(low: float, high: float, first_layer: float, layer: float) -> range:
    """Return the numbers of the layers between two heights that are ends of layers, mm."""
    return range(_count(low, first_layer, layer), _count(high, first_layer, layer))


def _count(height: float, first_layer: float, layer: float) -> int:
    """Return the number of layers up to a height, mm."""
    return 0 if height < first_layer - LENGTH_EPSILON else 1 + round((height - first_layer) / layer)


def _pauses(
    second: LetteringPrinting, pieces: Sequence[LetteredPiece], first_layer: float
) -> tuple[tuple[PauseEntry, ...], float]:
    """Return the changes by hand, and the grams of all lines in the second filament."""
    own, layer = pieces[0].estimate, pieces[0].estimate.layer
    bands = {
        face: [band for piece in pieces for band in piece.estimate.lettering if band.face == face]
        for face in ("bottom", "top")
    }
    first = max((band.high for band in bands["bottom"] if band.letterings), default=0.0)
    last = max((band.low for band in bands["top"] if band.letterings), default=0.0)
    on_top = last > first and all(
        piece.height <= last + LENGTH_EPSILON
        or any(
            band.face == "top" and band.letterings and abs(band.low - last) < layer / 2.0
            for band in piece.estimate.lettering
        )
        for piece in pieces
    )
    grams, pauses = 0.0, []
    letters, parts = (second.material.name, second.material.colour), (own.material, own.colour)
    heights = [(0.0, letters), (first, parts)] if first else []
    if first:
        grams += sum(band.grams for band in bands["bottom"])
    if on_top:
        heights.append((last, letters))
        grams += sum(band.grams for band in bands["top"])
    for height, (material, colour) in heights:
        layers = _count(height, first_layer, layer)
        pauses.append(PauseEntry(height=height, layers=layers, material=material, colour=colour))
    return tuple(pauses), grams


def _lettering(
    second: LetteringPrinting,
    grams: float,
    changes: int,
    method: str,
    pauses: tuple[PauseEntry, ...] = (),
) -> RunLettering:
    waste = changes * second.change_grams
    usual = _PAUSE_SECONDS if pauses else _CHANGE_SECONDS
    seconds = changes * (usual if second.change_seconds is None else second.change_seconds)
    return RunLettering.model_validate(
        {
            "material": second.material.name,
            "colour": second.material.colour,
            "method": method,
            "changes": changes,
            "grams": round(grams + waste / 2.0, _DECIMALS),
            "waste": round(waste, _DECIMALS),
            "seconds": round(seconds, _DECIMALS),
            "pauses": pauses,
        }
    )
