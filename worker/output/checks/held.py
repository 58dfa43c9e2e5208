"""The check that the tiles of a floor hold together, on the parts as read back.

Seen from above, two tiles hold together when the second, moved by a little more than the play of their tab, would run
into the first in every direction, or push a loose key into it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import cos, pi, sin
from typing import Final

import numpy as np
import shapely
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon

from worker.layout.floor.tile_groups import groups_of
from worker.layout.model.plan import DrawerPlan
from worker.layout.model.shapes import Placement
from worker.solids.mesh import Mesh
from worker.solids.recent_values import RecentValues
from worker.spec.manifest import Check

#: Directions in which tiles are moved apart.
_DIRECTIONS: Final = 16
#: How far they are moved: multiples of the gap (a key has it on both sides, a sloped flank three times), and mm more.
_GAPS: Final = 3.5
_MORE: Final = 0.3
#: Area in mm2 from which moved outlines run into each other.
_CONTACT: Final = 0.01
#: Distance in mm beyond the gap up to which a key belongs to a seam.
_BESIDE: Final = 0.1


#: Whether the latest pairs of tiles hold together, by their meshes and places: 37 ms of a job of 20 trays.
_LOCKED: Final = RecentValues[bool](4096)


@dataclass
class Outlines:
    """The outlines of parts, seen from above, halfway up."""

    meshes: Mapping[str, Mesh]
    _outlines: dict[tuple[str, int], Polygon] = field(default_factory=dict)

    def placed(self, place: Placement) -> Polygon:
        """Return the outline of a part in its place, without holes."""
        key = place.mark, place.turn
        if key not in self._outlines:
            mesh = self.meshes[place.mark]
            low, high = mesh.bounds
            rings = mesh.manifold().slice(float(low[2] + high[2]) / 2.0).to_polygons()
            whole = max((Polygon(ring) for ring in rings), key=lambda polygon: polygon.area)
            turned = rotate(whole, place.turn, origin=(0.0, 0.0))
            self._outlines[key] = translate(turned, -turned.bounds[0], -turned.bounds[1])
        return translate(self._outlines[key], place.at[0], place.at[1])

    def locked(self, first: Placement, second: Placement, keys: Sequence[Placement], gap: float) -> bool:
        """Return whether two tiles, with the keys between them, hold together in every direction."""
        alike = tuple(
            (
                self.meshes[place.mark].content,
                place.turn,
                round(place.at[0] - first.at[0], 3),
                round(place.at[1] - first.at[1], 3),
            )
            for place in (first, second, *keys)
        )
        return _LOCKED.get((alike, gap), lambda: self._all_stopped(first, second, keys, gap))

    def _all_stopped(self, first: Placement, second: Placement, keys: Sequence[Placement], gap: float) -> bool:
        here, there = self.placed(first), self.placed(second)
        stopped = _stopped(here, there, gap)
        for key in keys:
            outline = self.placed(key)
            stopped |= _stopped(here, outline, gap) & _stopped(outline, there, gap)
        return bool(stopped.all())


def _stopped(first: Polygon, second: Polygon, gap: float) -> np.ndarray:
    """Return the directions in which the second outline, moved away, runs into the first, ``(directions,) bool``."""
    reach = _GAPS * gap + _MORE
    moves = [(reach * cos(turn), reach * sin(turn)) for turn in 2.0 * pi * np.arange(_DIRECTIONS) / _DIRECTIONS]
    near = first.intersection(shapely.box(*second.bounds).buffer(2.0 * reach))
    moved = [translate(second, x, y) for x, y in moves]
    hits: np.ndarray = shapely.area(shapely.intersection(near, np.array(moved, dtype=object))) > _CONTACT
    return hits


def check_held(outlines: Outlines, drawer: DrawerPlan, keys: Sequence[Placement]) -> Check | None:
    """Return the check that no more tiles are loose than the plan says; None for a floor without seams.

    Args:
        outlines: of the plan's parts.
        drawer: the drawer as laid out.
        keys: the placements of its loose keys.
    """
    if not drawer.seams:
        return None
    placed = [outlines.placed(key) for key in keys]
    locked = []
    for seam in drawer.seams:
        first, second = drawer.placements[seam.first], drawer.placements[seam.second]
        between = [
            key
            for key, outline in zip(keys, placed, strict=True)
            if all(outline.dwithin(outlines.placed(end), seam.gap + _BESIDE) for end in (first, second))
        ]
        if outlines.locked(first, second, between, seam.gap):
            locked.append((seam.first, seam.second))
    tiles = 1 + max(seam.second for seam in drawer.seams)
    groups = groups_of(tiles, locked)
    floors = groups_of(tiles, ((seam.first, seam.second) for seam in drawer.seams))
    loose = sum(len(floor) - max(len(group) for group in groups if group[0] in floor) for floor in floors)
    most = len(drawer.floor.loose)
    return Check(
        name="held", passed=loose <= most, value=loose,
        limit=f"at most {most} tiles held only by the drawer's sides, each named in a warning", subject=drawer.name,
    )  # fmt: skip
