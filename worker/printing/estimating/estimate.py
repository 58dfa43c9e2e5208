"""The estimate of a part's filament, cost and print time from a few sections of its mesh, without slicing.

Each band of the part (see `worker.printing.estimating.sections`) is divided where a skin above or below begins or
ends. All layers of such a slab are alike: walls along the section's edge, skins where air is near above or below, and
sparse infill elsewhere. Against a model of every layer this is 1 to 5 % off (prototype, 2 to 5 ms a part instead of 45
to 121 ms).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from math import ceil, pi, sqrt

import manifold3d

from worker.printing.estimating.filament import cost, length, mass
from worker.printing.estimating.process import Process
from worker.printing.estimating.sections import Band, Contours, bands
from worker.solids import Mesh
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Estimate", "estimate"]


@dataclass(frozen=True, slots=True)
class Estimate:
    """The estimate of one part.

    Attributes:
        volume: filament, mm3.
        mass: filament, g.
        length: filament 1.75 mm in diameter, m.
        cost: in the currency of the process's price per kg; None when there is no price.
        time: print time of the part alone on its bed, s: ``heat-up + layers * layer change + laying``.
        laying: time of extrusion and travel moves, s; only this adds up over the parts of a run.
        layers: number of layers.

    `worker.printing.estimating.process_settings` has the uncertainty of filament and time.
    """

    volume: float
    mass: float
    length: float
    cost: float | None
    time: float
    laying: float
    layers: int


@dataclass(frozen=True, slots=True)
class _Slab:
    """A range of height, mm, in which all layers are alike; ``sparse`` is the area of sparse infill, mm2."""

    low: float
    high: float
    band: Band
    sparse: float


def estimate(mesh: Mesh, process: Process) -> Estimate:
    """Return the estimate of one part.

    Lines are assumed to vary in width: regions narrower than the walls are filled completely. Supports, brims and a
    least time for a layer are not counted.

    Args:
        mesh: a closed solid, as printed (z up), mm.
        process: the settings of the print.
    """
    whole = bands(mesh, process.walls * process.line_width)
    # the volume that the sections miss (letterings, hollows) is spread over the whole part
    missed = mesh.volume / sum(band.section.area() * (band.high - band.low) for band in whole)
    bottom, top = whole[0].low, whole[-1].high
    first = min(process.first_layer, top - bottom)
    volume, laying = 0.0, 0.0
    per_band: dict[float, _Lines] = {}
    for slab in _slabs(whole, process, bottom + first):
        lines = per_band.setdefault(slab.band.low, _Lines(slab.band, process))
        height = slab.high - slab.low
        area = slab.band.section.area()
        volume += (area - slab.sparse * (1.0 - process.infill)) * height
        slow = slab.low < bottom + first - LENGTH_EPSILON
        laying += lines.time(slab.sparse, slow=slow) * height / (first if slow else process.layer)
    volume *= missed
    layers = 1 + max(0, ceil((top - bottom - first) / process.layer - LENGTH_EPSILON))
    grams = mass(volume, process.density)
    return Estimate(
        volume=volume,
        mass=grams,
        length=length(volume),
        cost=cost(grams, process.cost_per_kg),
        time=process.heat_up + layers * process.layer_change + laying,
        laying=laying,
        layers=layers,
    )


def _slabs(whole: Sequence[Band], process: Process, first_top: float) -> Iterator[_Slab]:
    """Yield the slabs of bands, divided where the sections within the skins' thickness above or below change."""
    above, below = process.top_layers * process.layer, process.bottom_layers * process.layer
    ends = [whole[0].low, *(band.high for band in whole)]
    cuts = {first_top, *ends, *(end - above for end in ends), *(end + below for end in ends)}
    for band in whole:
        inside = sorted(cut for cut in cuts if band.low + LENGTH_EPSILON < cut < band.high - LENGTH_EPSILON)
        levels = [band.low, *inside, band.high]
        covered: dict[tuple[int, int], float] = {}
        for low, high in pairwise(levels):
            if high - low < LENGTH_EPSILON:
                continue
            middle = (low + high) / 2.0
            if middle - below < ends[0] or middle + above > ends[-1]:
                sparse = 0.0
            else:
                near = [
                    place
                    for place, other in enumerate(whole)
                    if other.low < middle + above and other.high > middle - below and other is not band
                ]
                key = (near[0], near[-1]) if near else (0, -1)
                if key not in covered:
                    covered[key] = _covered(band.inner, [whole[place].section for place in near])
                sparse = covered[key]
            yield _Slab(low, high, band, sparse)


def _covered(inner: manifold3d.CrossSection, others: Sequence[manifold3d.CrossSection]) -> float:
    """Return the area of the intersection of a region with all other sections, mm2."""
    if inner.is_empty():
        return 0.0
    return float(reduce(lambda left, other: left ^ other, others, inner).area())


class _Lines:
    """The lines of one layer of a band, and their print time."""

    def __init__(self, band: Band, process: Process) -> None:
        """Measure the contours of a band's section and of the region inside its walls."""
        self._process = process
        self._inside = band.inner.area()
        self._edge = Contours.of(band.section)
        self._inner_edge = Contours.of(band.inner)
        walls = (band.section.area() - self._inside) / process.line_width
        self._outer = min(self._edge.length, walls)
        self._walls = walls - self._outer
        left, front, right, back = band.section.bounds()
        self._spread = max(0.0, right - left) * max(0.0, back - front)

    def time(self, sparse: float, *, slow: bool) -> float:
        """Return the time of a layer, s, with ``sparse`` mm2 of sparse infill; ``slow`` as the first layer."""
        process = self._process
        edge = max(self._edge.length, LENGTH_EPSILON) / max(self._edge.corners, 1.0)
        # the mean chord of a plane region is pi A / P (Cauchy)
        chord = max(process.line_width, pi * self._inside / max(self._inner_edge.length, LENGTH_EPSILON))
        runs = (
            (self._outer, edge, process.outer_speed),
            (self._walls, edge, process.inner_speed),
            ((self._inside - sparse) / process.line_width, chord, process.full_layer_speed),
            (sparse * process.infill / process.line_width, chord, process.infill_speed),
        )
        seconds = 0.0
        for long, segment, speed in runs:
            limit = min(speed, process.first_layer_speed) if slow else speed
            seconds += long / segment * _segment_time(segment, process.reached(limit), process)
        return seconds + self._travel()

    def _travel(self) -> float:
        """Return the time of travel moves, s: from each ring to the next, with rings spread evenly over the box."""
        stops = self._edge.rings + self._inner_edge.rings
        if stops == 0:
            return 0.0
        apart = max(sqrt(self._spread / stops), LENGTH_EPSILON)
        return stops * (self._process.hop + _segment_time(apart, self._process.travel_speed, self._process))


def _segment_time(segment: float, speed: float, process: Process) -> float:
    """Return the time of a straight line of ``segment`` mm, s, that starts and ends at corner speed.

    The profile of speed is a trapezoid, or a triangle when ``speed``, mm/s, is not reached (constant acceleration).
    """
    corner = min(process.corner_speed, speed)
    if segment * process.acceleration >= speed**2 - corner**2:
        return segment / speed + (speed - corner) ** 2 / (speed * process.acceleration)
    peak = sqrt(corner**2 + process.acceleration * segment)
    return 2.0 * (peak - corner) / process.acceleration
