"""The checks that the pieces of a jointed tray join and hold together, on the parts as read back."""

from collections.abc import Iterator, Mapping
from itertools import combinations, pairwise
from typing import Final

import manifold3d
import numpy as np

from worker.layout.model.plan import DrawerPlan, JointedTray, TraySeam
from worker.layout.model.shapes import Part, PieceShape
from worker.solids.mesh import Mesh
from worker.spec.manifest import Check
from worker.spec.tolerances import SHARED_VOLUME

__all__ = ["check_jointed"]

#: How far pieces are pulled apart: beyond their play by this much, mm.
_MORE: Final = 0.1
#: Share of the play by which pieces can be pulled apart without touching.
_WITHIN: Final = 0.9
#: Volume in mm3 from which pieces that are pulled apart run into each other; a lone tab in a thin floor shares 0.96.
_CONTACT: Final = 0.5
#: Heights of the sections in which the way down is checked, as shares of each band of height.
_SHARES: Final = (0.1, 0.5, 0.9)
#: Area in mm2 of a section that may have something above it: rounding.
_ABOVE: Final = 0.01
#: Distance from a floor's top, and from the bed's first layers, of what is pulled, mm.
_OFF: Final = 0.2
_RELIEF: Final = 0.5
#: How far round the place where two pieces meet they are looked at, mm: more than they are pulled.
_AROUND: Final = 2.0


def check_jointed(drawer: DrawerPlan, parts: Mapping[str, Part], meshes: Mapping[str, Mesh]) -> Iterator[Check]:
    """Yield the checks of each jointed tray of a drawer; trays of the same parts are checked once.

    `lowered`: each piece can be lowered from above onto those before it. `floor lock` and `wall lock`: pulled apart by
    a little more than the play, the floors of two pieces run into each other, and so do their walls, each alone.

    Args:
        drawer: as laid out.
        parts: by mark.
        meshes: by mark, as read back, mm.
    """
    seen: set[tuple[str, ...]] = set()
    for tray in drawer.jointed:
        marks = tuple(drawer.placements[index].mark for index in tray.pieces)
        if marks not in seen:
            seen.add(marks)
            yield from _Joined(drawer, tray, parts, meshes).checks()


class _Joined:
    """The pieces of one tray in their places."""

    def __init__(
        self, drawer: DrawerPlan, tray: JointedTray, parts: Mapping[str, Part], meshes: Mapping[str, Mesh]
    ) -> None:
        self.tray = tray
        self.subject = f"{drawer.name}: {tray.name}"
        places = [drawer.placements[index] for index in tray.pieces]
        shapes = [parts[place.mark].shape for place in places]
        self._met: dict[tuple[int, int], tuple[manifold3d.Manifold, manifold3d.Manifold] | None] = {}
        self.shapes = [shape for shape in shapes if isinstance(shape, PieceShape)]
        z = places[0].at[2]
        self.solids = [
            meshes[place.mark].manifold().translate((place.at[0], place.at[1], place.at[2] - z)) for place in places
        ]

    def checks(self) -> Iterator[Check]:
        worst = max((self._above(*pair) for pair in combinations(range(len(self.solids)), 2)), default=0.0)
        yield Check(
            name="lowered", passed=worst <= _ABOVE, value=round(worst, 4),
            limit=f"at most {_ABOVE:g} mm2 of a piece that another one before it is above", subject=self.subject,
        )  # fmt: skip
        floor, rim = self.shapes[0].tray.fill_top, self.shapes[0].tray.height
        bands = (
            ("floor lock", _RELIEF, floor, self.tray.floor_play),
            ("wall lock", floor + _OFF, rim, self.tray.wall_play),
        )
        for name, low, high, play in bands:
            seams = [seam for seam in self._seams() if name == "floor lock" or self._has_wall(seam)]
            free = sum(not self._locks(seam, (low, high), play) for seam in seams)
            yield Check(
                name=name, passed=free == 0, value=free,
                limit="0 seams with pieces that can be pulled apart, or that have no play", subject=self.subject,
            )  # fmt: skip

    def _above(self, first: int, other: int) -> float:
        """Return the greatest area, in mm2, of a section of the second piece that the first one is above."""
        near = self._near(first, other)
        if near is None:
            return 0.0
        lower, upper = near
        heights = sorted({0.0, self.shapes[0].tray.fill_top, *self._tongue_heights(), self.shapes[0].tray.height})
        worst = 0.0
        for low, high in pairwise(heights):
            for share in _SHARES:
                z = low + share * (high - low)
                over = lower.trim_by_plane((0.0, 0.0, 1.0), z).project()
                worst = max(worst, (upper.slice(z) ^ over).area())
        return worst

    def _tongue_heights(self) -> Iterator[float]:
        for shape in self.shapes:
            for splice in (shape.left, shape.front):
                for tongue in () if splice is None else splice.tongues:
                    yield from (tongue.low, tongue.top)

    def _seams(self) -> Iterator[tuple[int, int, TraySeam]]:
        """Yield the pieces before and behind each stretch of a seam."""
        for (first, before), (other, behind) in combinations(enumerate(self.shapes), 2):
            for axis, line, same in (
                ("x", before.right is not None and before.right == behind.left, before.front == behind.front),
                ("y", before.back is not None and before.back == behind.front, before.left == behind.left),
            ):
                if line and same:
                    seam = next(seam for seam in self.tray.seams if seam.axis == axis)
                    yield first, other, seam

    def _has_wall(self, seam: tuple[int, int, TraySeam]) -> bool:
        """Return whether a stretch of a seam reaches an outer wall; one between other seams crosses none."""
        first, _, line = seam
        before = self.shapes[first]
        return None in ((before.front, before.back) if line.axis == "x" else (before.left, before.right))

    def _locks(self, seam: tuple[int, int, TraySeam], band: tuple[float, float], play: float) -> bool:
        """Return whether two pieces, between two heights, are free within their play and meet beyond it."""
        first, other, line = seam
        near = self._near(first, other)
        if near is None:
            return False
        lower, upper = (_band(solid, *band) for solid in near)
        way = np.array([1.0, 0.0, 0.0] if line.axis == "x" else [0.0, 1.0, 0.0])
        free = lower ^ upper.translate(tuple(way * play * _WITHIN))
        held = lower ^ upper.translate(tuple(way * (play + _MORE)))
        return bool(free.volume() <= SHARED_VOLUME and held.volume() >= _CONTACT)

    def _near(self, first: int, other: int) -> tuple[manifold3d.Manifold, manifold3d.Manifold] | None:
        """Return what of two pieces lies where their bounding boxes meet, seen from above; None where they do not.

        They meet nowhere else: the checks of four pieces take an eighth of the time that they take on whole pieces.
        """
        if (first, other) not in self._met:
            bounds = [self.solids[index].bounding_box() for index in (first, other)]
            low = [max(box[axis] for box in bounds) - _AROUND for axis in (0, 1)]
            high = [min(box[axis + 3] for box in bounds) + _AROUND for axis in (0, 1)]
            low.append(min(box[2] for box in bounds))  # what is above counts, however high
            high.append(max(box[5] for box in bounds))
            size = [end - start for start, end in zip(low, high, strict=True)]
            meet = min(size) > 0.0
            box = manifold3d.Manifold.cube(size).translate(low) if meet else None
            self._met[first, other] = None if box is None else (self.solids[first] ^ box, self.solids[other] ^ box)
        return self._met[first, other]


def _band(solid: manifold3d.Manifold, low: float, high: float) -> manifold3d.Manifold:
    """Return what of a solid lies between two heights, mm."""
    return solid.trim_by_plane((0.0, 0.0, 1.0), low).trim_by_plane((0.0, 0.0, -1.0), -high)
