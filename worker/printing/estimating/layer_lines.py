"""The lines of layers and their print time: walls, hatch lines of full layers and infill, moves between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from worker.printing.estimating.chords import Chords
from worker.printing.estimating.mesh_sections import Rings
from worker.printing.estimating.process import Process
from worker.printing.estimating.sections import Band, Contours
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Hatches", "Walls"]

#: Travel moves up to this length need no retraction, mm (common practice: 1.5 to 2).
_SHORT_TRAVEL: Final = 2.0

#: A gap between walls of less than this remains empty, mm (common practice: about a quarter of a line).
_LEAST_GAP: Final = 0.1

#: Edges whose directions differ by less are taken for parallel, rad: those of a wall's bends, too.
_PARALLEL: Final = 0.35

#: Hatch lines shorter than this many spacings are left out.
_LEAST_LINE: Final = 0.25

#: From one hatch line the path leads on to the next up to this distance, in spacings.
_LONGEST_TURN: Final = 3.0

#: Moves with a retraction for each hole of a section that is farther than `_SHORT_TRAVEL` from the next edge; for each
#: path of hatch lines; for each gap line; and for each inner region of a section with gaps, round which loops break up.
#: Fitted to a model of every line of 60 parts: some of these paths begin where another ends.
_HOLE_HOPS, _HATCH_HOPS, _GAP_HOPS, _INNER_HOPS = 0.6, 0.9, 0.6, 1.5


@dataclass(frozen=True, slots=True)
class Hatches:
    """The hatch lines of regions, each in one layer, in the mean of both directions.

    A line ends half a line's width short of an edge, measured across the edge: slivers narrower than a line have none.
    Along the edge a turn leads to the next line, unless edge and line are nearly parallel.

    Attributes:
        paths: number of paths without a break in each region, ``(regions,) float64``.
        chords: of the regions.
        lengths: of the line along each chord with the turn after it, ``(n,) float64``, mm.
        weights: how many lines of the layer each stands for, ``(n,) float64``.
    """

    paths: NDArray[np.float64]
    chords: Chords
    lengths: NDArray[np.float64]
    weights: NDArray[np.float64]

    @classmethod
    def of(cls, regions: Sequence[Rings], spacings: NDArray[np.float64], width: float) -> Self:
        """Return the lines of regions.

        Args:
            regions: as rings ``(n, 2) float64``, mm: of holes, too.
            spacings: of the lines of each region, ``(regions,) float64``, mm.
            width: of a line, mm.
        """
        chords = Chords.of(regions, spacings)
        slants = np.hypot(1.0, np.stack([chords.starts, chords.ends]))
        lengths = chords.lengths - slants.sum(axis=0) * width / 2.0
        spacing = spacings[chords.owners]
        weights = np.where(lengths > _LEAST_LINE * spacing, (chords.apart / spacings)[chords.owners] / 2.0, 0.0)
        turned = slants <= _LONGEST_TURN
        turns = np.where(turned, slants, 0.0).mean(axis=0)
        breaks = chords.total(weights * (1.0 - turned.mean(axis=0)))
        rings = np.array([len(rings) for rings in regions])
        hatched = chords.total(weights) > 0.0
        return cls(np.where(hatched, rings + breaks, 0.0), chords, np.maximum(lengths, 0.0) + spacing * turns, weights)

    def times(self, speeds: NDArray[np.float64], process: Process) -> NDArray[np.float64]:
        """Return the time of each region's lines at speeds ``(regions,) float64``, mm/s, as ``(regions,) float64``, s.

        A line has one sharp corner, the other is blunt.
        """
        return self.chords.total(self.weights * _segment_times(self.lengths, speeds[self.chords.owners], process))


@dataclass(frozen=True, slots=True)
class Walls:
    """The loops of a layer of each band, and the gap lines that fill what remains between those of a wall's two sides.

    All arrays are ``(bands,) float64``.

    Attributes:
        outer: length of the loops along the section's edge, mm.
        inner: length of all others, mm.
        segments: mean length between corners of the edge, mm.
        inner_segments: the same inside.
        hops: number of moves with a retraction between them.
        spreads: area of the section's bounding box, mm2.
    """

    outer: NDArray[np.float64]
    inner: NDArray[np.float64]
    segments: NDArray[np.float64]
    inner_segments: NDArray[np.float64]
    hops: NDArray[np.float64]
    spreads: NDArray[np.float64]

    @classmethod
    def of(cls, bands: Sequence[Band], process: Process) -> Self:
        """Return the walls of bands."""
        width = process.line_width
        excess, pieces = _gap_lines(bands, process)
        areas = np.array([band.section.area() for band in bands])
        inside = np.array([band.inner.area() for band in bands])
        edge, inner_edge = (
            _of_contours([band.edge for band in bands]),
            _of_contours([band.inner_edge for band in bands]),
        )
        lines = (areas - inside) / width + excess
        outer = np.minimum(edge.lengths, lines)
        lengths = np.maximum(edge.lengths, LENGTH_EPSILON)
        # corners of arcs sharpen inwards: loops have as many as both edges of the walls in the mean
        inner_corners = np.where(inside > 0.0, (edge.corners + inner_edge.corners) / 2.0, edge.corners)
        far = np.clip((2.0 * areas / lengths - width) / _SHORT_TRAVEL, 0.0, 1.0)
        hops = edge.parts - 1.0 + _HOLE_HOPS * far * (edge.rings - edge.parts)
        broken = (pieces > 0) & (inner_edge.rings > 0)
        hops += np.where(broken, _GAP_HOPS * pieces + _INNER_HOPS * inner_edge.rings, 0.0)
        left, front, right, back = np.array([band.section.bounds() for band in bands]).T
        return cls(
            outer, lines - outer, lengths / np.maximum(edge.corners, 1.0), lengths / np.maximum(inner_corners, 1.0),
            hops, np.maximum(right - left, 0.0) * np.maximum(back - front, 0.0),
        )  # fmt: skip

    def times(self, process: Process, *, slow: bool) -> NDArray[np.float64]:
        """Return the time of the lines of each band, s; ``slow`` as in the first layer."""
        outer, inner = (process.limited(speed, slow=slow) for speed in (process.outer_speed, process.inner_speed))
        return (
            self.outer / self.segments * _segment_times(self.segments, outer, process)
            + self.inner / self.inner_segments * _segment_times(self.inner_segments, inner, process)
        )  # fmt: skip

    def travel_times(
        self, of: NDArray[np.int64], hatch_paths: NDArray[np.float64], process: Process
    ) -> NDArray[np.float64]:
        """Return the time of the travel moves of layers, ``(layers,) float64``, s.

        Stops are taken to be spread evenly over the bounding box.

        Args:
            of: number of the band of each layer, ``(layers,) int64``.
            hatch_paths: number of paths of hatch lines in each layer, ``(layers,) float64``.
            process: the settings of the print.
        """
        hops = self.hops[of] + _HATCH_HOPS * hatch_paths
        apart = np.sqrt(self.spreads[of] / (hops + 1.0))
        return hops * (process.hop + _segment_times(apart, process.travel_speed, process))


def _gap_lines(bands: Sequence[Band], process: Process) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return how much longer gap lines are than their volume in full lines, mm, and how many there are, in each band.

    A chord between parallel edges crosses a wall, whose thickness leaves room for pairs of loops and a gap. The gap is
    one line, if a narrower one; none if it is too narrow.
    """
    width = process.line_width
    chords = Chords.of([band.section.to_polygons() for band in bands], np.full(len(bands), width))
    starts, ends = np.arctan(chords.starts), np.arctan(chords.ends)
    slants = 1.0 / np.cos((starts + ends) / 2.0)
    pairs, gaps = np.divmod(chords.lengths / slants + LENGTH_EPSILON, 2.0 * width)
    crossed = (np.abs(starts - ends) < _PARALLEL) & (pairs > 0.0) & (pairs < process.walls)
    crossed &= gaps < width + 2.0 * LENGTH_EPSILON
    filled = crossed & (gaps > _LEAST_GAP)
    lengths = slants * chords.apart[chords.owners] / 2.0
    return chords.total(lengths * (filled - crossed * gaps / width)), chords.pieces(
        filled, 2.0 * chords.apart + 4.0 * width
    )


@dataclass(frozen=True, slots=True)
class _ContourArrays:
    lengths: NDArray[np.float64]
    rings: NDArray[np.float64]
    parts: NDArray[np.float64]
    corners: NDArray[np.float64]


def _of_contours(contours: Sequence[Contours]) -> _ContourArrays:
    return _ContourArrays(*np.array([(edge.length, edge.rings, edge.parts, edge.corners) for edge in contours]).T)


def _segment_times(
    lengths: NDArray[np.float64], speeds: NDArray[np.float64] | float, process: Process
) -> NDArray[np.float64]:
    """Return the times of straight lines of ``lengths``, mm, that start and end at corner speed, s.

    The profile of speed is a trapezoid, or a triangle when ``speeds``, mm/s, are not reached (constant acceleration).
    """
    corners = np.minimum(process.corner_speed, speeds)
    peaks = np.minimum(np.sqrt(corners**2 + process.acceleration * lengths), speeds)
    ramps = (peaks**2 - corners**2) / process.acceleration
    times: NDArray[np.float64] = 2.0 * (peaks - corners) / process.acceleration + (lengths - ramps) / peaks
    return times
