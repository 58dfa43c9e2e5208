"""What a part takes to print, by its geometry and without slicing it: filament, money and time.

Every band of the part (see `sections`) is cut where the skins above and below begin or end; in such a slab all
layers are alike: walls along the section's edge, skins where air is near above or below, sparse infill in the rest.
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
    """Filament in mm3, g and m (1.75 mm), cost in the currency of the price or None, times in s.

    ``time`` is the print alone on its bed: ``heating + layers * layer change + laying``. Of several parts in one run
    only ``laying`` adds up. How far off all this may be is for `worker.printing.estimating.process_settings` to say.
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
    """Heights between which all layers are alike: areas in mm2."""

    low: float
    high: float
    band: Band
    sparse: float


def estimate(mesh: Mesh, process: Process) -> Estimate:
    """Estimate one part as it is printed (z up).

    Args:
        mesh: a closed solid.
        process: how it is printed.

    Walls, skins and infill are as a slicer with lines of variable width lays them: what is narrower than the walls is
    filled. Supports, brims and a least time for a layer are not counted.
    """
    whole = bands(mesh, process.walls * process.line_width)
    # what the sections in the middle of the bands miss of the solid (letterings, hollows) is spread over all of it
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
    """Cut bands where what lies within the skins' thickness above or below changes."""
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
    """Return the area in mm2 of a region that every other section holds too."""
    if inner.is_empty():
        return 0.0
    return float(reduce(lambda left, other: left ^ other, others, inner).area())


class _Lines:
    """The lines of one layer of a band and how long they take."""

    def __init__(self, band: Band, process: Process) -> None:
        """Measure the band's edges."""
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
        """Return the seconds for one layer whose infill covers ``sparse`` mm2, as a first layer or as any other."""
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
        """Return the seconds between rings and islands: from each to its neighbour, spread evenly over the box."""
        stops = self._edge.rings + self._inner_edge.rings
        if stops == 0:
            return 0.0
        apart = max(sqrt(self._spread / stops), LENGTH_EPSILON)
        return stops * (self._process.hop + _segment_time(apart, self._process.travel_speed, self._process))


def _segment_time(segment: float, speed: float, process: Process) -> float:
    """Return the seconds for a straight line that starts and ends at corner speed: a trapezoid, or a triangle."""
    corner = min(process.corner_speed, speed)
    if segment * process.acceleration >= speed**2 - corner**2:
        return segment / speed + (speed - corner) ** 2 / (speed * process.acceleration)
    peak = sqrt(corner**2 + process.acceleration * segment)
    return 2.0 * (peak - corner) / process.acceleration
