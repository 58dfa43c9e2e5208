"""The estimate of a part's filament, cost and print time from a few sections of its mesh, without slicing.

Each band of the part (see `worker.printing.estimating.sections`) is divided where a skin above or below begins or
ends. All layers of such a slab are alike: walls along the section's edge, skins where air is near above or below, and
sparse infill elsewhere, whose lines `worker.printing.estimating.layer_lines` measures. Filament is within 1 % of a
model of every layer, time of nearly every part within 5 % of a model that walks every line (both in the tests; figures
in `.readme/decisions.md`), in milliseconds instead of seconds.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from math import ceil
from typing import Final

import manifold3d
import numpy as np

from worker.printing.estimating.filament import cost, length, mass
from worker.printing.estimating.layer_lines import Hatches, Walls
from worker.printing.estimating.process import Process
from worker.printing.estimating.sections import Band, bands
from worker.solids import Mesh
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Estimate", "estimate"]


#: Decimals of mm2 to which areas of equal regions agree.
_AREA_DECIMALS: Final = 3

#: Areas that differ by less, of regions of which one lies in the other, are those of equal regions, mm2.
_LEAST_AREA: Final = 1e-3


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
    """A range of height, mm, in which all layers are alike; ``fill`` is the number of their filling."""

    low: float
    high: float
    fill: int


@dataclass(frozen=True, slots=True)
class _Fill:
    """The filling of layers: number of their band, and the region of sparse infill, empty under and above skins."""

    band: int
    sparse: manifold3d.CrossSection


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
    slabs, fills = _slabs(whole, process, bottom + first)
    areas = [whole[fill.band].section.area() - fill.sparse.area() * (1.0 - process.infill) for fill in fills]
    first_times, times = _layer_times(whole, fills, process)
    volume, laying = 0.0, 0.0
    profile: list[tuple[float, float]] = []
    for slab in slabs:
        height = slab.high - slab.low
        volume += areas[slab.fill] * height
        slow = slab.low < bottom + first - LENGTH_EPSILON
        laying += height * (first_times[slab.fill] / first if slow else times[slab.fill] / process.layer)
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


def _slabs(whole: Sequence[Band], process: Process, first_top: float) -> tuple[list[_Slab], list[_Fill]]:
    """Return the slabs of bands, divided where the sections within the skins' thickness above or below change."""
    above, below = process.top_layers * process.layer, process.bottom_layers * process.layer
    ends = [whole[0].low, *(band.high for band in whole)]
    cuts = {first_top, *ends, *(end - above for end in ends), *(end + below for end in ends)}
    slabs: list[_Slab] = []
    fills: list[_Fill] = []
    for number, band in enumerate(whole):
        inside = sorted(cut for cut in cuts if band.low + LENGTH_EPSILON < cut < band.high - LENGTH_EPSILON)
        fill_numbers: dict[tuple[int, ...], int] = {}
        areas: dict[float, int] = {}
        covered = _Covered(band.inner, whole)
        for low, high in pairwise([band.low, *inside, band.high]):
            if high - low < LENGTH_EPSILON:
                continue
            middle = (low + high) / 2.0
            skin = middle - below < ends[0] or middle + above > ends[-1]
            near = [
                place
                for place, other in enumerate(whole)
                if other.low < middle + above and other.high > middle - below and other is not band
            ]
            key = (-1,) if skin else (near[0], near[-1]) if near else ()
            if key not in fill_numbers:
                fill = _Fill(number, manifold3d.CrossSection() if skin else covered.by(near))
                # of regions that lie in each other those of equal area are the same
                of_area = areas.setdefault(round(fill.sparse.area(), _AREA_DECIMALS), len(fills))
                fill_numbers[key] = of_area
                if of_area == len(fills):
                    fills.append(fill)
            slabs.append(_Slab(low, high, fill_numbers[key]))
    return slabs, fills


class _Covered:
    """What sections of other bands cover of the region inside the walls of one.

    Each is intersected with the region once, and what covers it whole is left out: half the time of a part with
    pockets in the shape of things.
    """

    def __init__(self, inner: manifold3d.CrossSection, whole: Sequence[Band]) -> None:
        self._inner, self._whole = inner, whole
        self._area = inner.area()
        self._by_one: dict[int, manifold3d.CrossSection | None] = {}

    def by(self, places: Sequence[int]) -> manifold3d.CrossSection:
        """Return what all the bands at these places cover."""
        if self._inner.is_empty():
            return self._inner
        partly = [region for place in places if (region := self._by(place)) is not None]
        return reduce(lambda left, other: left ^ other, partly) if partly else self._inner

    def _by(self, place: int) -> manifold3d.CrossSection | None:
        """Return what one band covers, None for the whole region."""
        if place not in self._by_one:
            region = self._inner ^ self._whole[place].section
            self._by_one[place] = None if self._area - region.area() < _LEAST_AREA else region
        return self._by_one[place]


def _full(region: manifold3d.CrossSection, sparse: manifold3d.CrossSection) -> manifold3d.CrossSection:
    """Return what is filled completely of the region inside the walls: all but the sparse infill in it."""
    if sparse.is_empty():
        return region
    return region - sparse if region.area() - sparse.area() >= _LEAST_AREA else manifold3d.CrossSection()


def _layer_times(whole: Sequence[Band], fills: Sequence[_Fill], process: Process) -> tuple[list[float], list[float]]:
    """Return the time of a layer of each filling as the first layer and as any other, s."""
    walls, of = Walls.of(whole, process), np.array([fill.band for fill in fills])
    width, count = process.line_width, len(fills)
    inner = [whole[fill.band].inner for fill in fills]
    regions = [_full(region, fill.sparse).to_polygons() for region, fill in zip(inner, fills, strict=True)]
    spacings = np.full(2 * count, width)
    if process.infill > 0.0:
        spacings[count:] /= process.infill
    regions += [fill.sparse.to_polygons() if process.infill > 0.0 else [] for fill in fills]
    hatches = Hatches.of(regions, spacings, width)
    travel = walls.travel_times(of, hatches.paths[:count] + hatches.paths[count:], process)

    def times(*, slow: bool) -> list[float]:
        speeds = [process.limited(speed, slow=slow) for speed in (process.full_layer_speed, process.infill_speed)]
        lines = hatches.times(np.repeat(speeds, count), process)
        return list(map(float, walls.times(process, slow=slow)[of] + lines[:count] + lines[count:] + travel))

    return times(slow=True), times(slow=False)
