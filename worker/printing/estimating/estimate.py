"""The estimate of a part's filament, cost and print time from a few sections of its mesh, without slicing.

Each band of the part (see `worker.printing.estimating.sections`) is divided where a skin above or below begins or
ends. All layers of such a slab are alike: walls along the section's edge, skins where air is near above or below, and
sparse infill elsewhere. Filament is within 1 % of a model of every layer, time within 5 % of a model that walks every
line (both in the tests; of 23 parts three are farther off, see `.readme/decisions.md`), at 1 to 12 ms a part instead of
1 to 6 s.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from math import ceil, pi, sqrt
from typing import Final

import manifold3d

from worker.printing.estimating.filament import cost, length, mass
from worker.printing.estimating.process import Process
from worker.printing.estimating.sections import Band, bands
from worker.solids import Mesh
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Estimate", "estimate"]

#: Travel moves up to this length need no retraction, mm (common practice: 1.5 to 2).
_SHORT_TRAVEL: Final = 2.0

#: Travel moves for each stop: a line is not always followed by its neighbour (measured on a model of every line).
_MOVES: Final = 1.4

#: A gap between walls of less than this fraction of a line stays empty (common practice: about a quarter).
_LEAST_LINE: Final = 0.25

#: Lines that a wall on each side gives.
_PAIR: Final = 2


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
        profile: heights above the bed, mm, and the part of ``laying`` below each, s, from the lowest to the top.

    `worker.printing.estimating.process_settings` has the uncertainty of filament and time.
    """

    volume: float
    mass: float
    length: float
    cost: float | None
    time: float
    laying: float
    layers: int
    profile: tuple[tuple[float, float], ...] = ()

    def laying_below(self, height: float) -> float:
        """Return the time of extrusion and travel moves below a height, mm, in s."""
        low, before = 0.0, 0.0
        for high, after in self.profile:
            if height < high:
                return before + (after - before) * max(height - low, 0.0) / (high - low)
            low, before = high, after
        return before


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
    profile: list[tuple[float, float]] = []
    per_band: dict[float, _Lines] = {}
    for slab in _slabs(whole, process, bottom + first):
        if slab.band.low not in per_band:
            per_band[slab.band.low] = _Lines(slab.band, process)
        lines = per_band[slab.band.low]
        height = slab.high - slab.low
        area = slab.band.section.area()
        volume += (area - slab.sparse * (1.0 - process.infill)) * height
        slow = slab.low < bottom + first - LENGTH_EPSILON
        laying += lines.time(slab.sparse, slow=slow) * height / (first if slow else process.layer)
        profile.append((slab.high - bottom, laying))
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
        profile=tuple(profile),
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
        self._inside = float(band.inner.area())
        self._edge = band.edge
        self._inner_edge = band.inner_edge
        width, area = process.line_width, band.section.area()
        walls = (area - self._inside) / width
        # what is too narrow for a region inside its walls: two long sides make up its edge
        narrow_edge = max(self._edge.length - self._inner_edge.length, LENGTH_EPSILON)
        narrow = area - self._inside - self._inner_edge.length * process.walls * width
        narrow_thickness = 2.0 * narrow / narrow_edge
        lines = narrow_thickness / width
        if lines > _PAIR and lines % _PAIR < 1.0 and lines < _PAIR * process.walls:
            # what remains between the walls of both sides is one more line, if a narrower one
            whole = _PAIR * (lines // _PAIR) + (lines % _PAIR > _LEAST_LINE)
            walls += narrow_edge / 2.0 * (whole - lines)
        #: Mean thickness of the section, mm.
        thickness = 2.0 * area / max(self._edge.length, LENGTH_EPSILON)
        self._outer = min(self._edge.length, walls)
        self._walls = walls - self._outer
        # from a part's outer edge to its first hole it is not far if the part is narrow; it is from hole to hole
        near = min(self._edge.parts, self._edge.rings - self._edge.parts) if thickness < _SHORT_TRAVEL + width else 0
        self._ring_hops = max(0, self._edge.rings - near - 1)
        left, front, right, back = band.section.bounds()
        self._spread = max(0.0, right - left) * max(0.0, back - front)

    def time(self, sparse: float, *, slow: bool) -> float:
        """Return the time of a layer, s, with ``sparse`` mm2 of sparse infill; ``slow`` as the first layer."""
        process = self._process
        # corners of arcs sharpen inwards: loops have as many as both edges of the walls in the mean
        inner_corners = (self._edge.corners + self._inner_edge.corners) / 2.0
        runs = (
            (self._outer, self._edge.corners, process.outer_speed),
            (self._walls, inner_corners if self._inside > 0.0 else self._edge.corners, process.inner_speed),
        )
        seconds = 0.0
        for long, corners, speed in runs:
            segment = max(self._edge.length, LENGTH_EPSILON) / max(corners, 1.0)
            seconds += long / segment * _segment_time(segment, self._limit(speed, slow=slow), process)
        seconds += self._hatched(self._inside - sparse, process.line_width, process.full_layer_speed, slow=slow)
        if process.infill > 0.0:
            seconds += self._hatched(sparse, process.line_width / process.infill, process.infill_speed, slow=slow)
        return seconds + self._travel()

    def _limit(self, speed: float, *, slow: bool) -> float:
        return self._process.reached(min(speed, self._process.first_layer_speed) if slow else speed)

    def _hatched(self, area: float, spacing: float, speed: float, *, slow: bool) -> float:
        """Return the time of ``area`` mm2 of hatch lines ``spacing`` mm apart, s.

        The mean chord of a plane region is pi A / P (Cauchy). A short move along the region's edge leads from each line
        to the next; it has one sharp corner, the other is blunt.
        """
        chord = max(self._process.line_width, pi * self._inside / max(self._inner_edge.length, LENGTH_EPSILON))
        limit = self._limit(speed, slow=slow)
        turn = spacing - self._process.line_width  # lines of full layers end as much short of the edge as they turn
        return area / spacing / chord * _segment_time(chord + turn, limit, self._process)

    def _travel(self) -> float:
        """Return the time of travel moves, s: from each ring and each hatched region to the next.

        Rings less than `_SHORT_TRAVEL` apart need no retraction. A hole in a hatched region breaks its lines once more.
        Stops are taken to be spread evenly over the bounding box.
        """
        stops = self._ring_hops + self._inner_edge.rings
        if stops == 0:
            return 0.0
        apart = max(sqrt(self._spread / stops), LENGTH_EPSILON)
        return _MOVES * stops * (self._process.hop + _segment_time(apart, self._process.travel_speed, self._process))


def _segment_time(segment: float, speed: float, process: Process) -> float:
    """Return the time of a straight line of ``segment`` mm, s, that starts and ends at corner speed.

    The profile of speed is a trapezoid, or a triangle when ``speed``, mm/s, is not reached (constant acceleration).
    """
    corner = min(process.corner_speed, speed)
    if segment * process.acceleration >= speed**2 - corner**2:
        return segment / speed + (speed - corner) ** 2 / (speed * process.acceleration)
    peak = sqrt(corner**2 + process.acceleration * segment)
    return 2.0 * (peak - corner) / process.acceleration
