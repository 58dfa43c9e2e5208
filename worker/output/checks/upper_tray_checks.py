"""The checks that trays on others and on panels rest, do not tip and can be lifted out, on the parts as read back."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Final

import manifold3d
import numpy as np
from shapely.geometry import MultiPoint, Point

from worker.layout.model.plan import DrawerPlan, UpperPlan
from worker.solids.mesh import Mesh
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF
from worker.spec.manifest import Check

__all__ = ["check_upper_trays"]

#: How far a tray is lowered to see what carries it, mm.
_LOWERED: Final = 0.05
#: Least volume in mm3 that it shares with what carries it then: 0.05 mm along 10 mm of a rim's slope of 0.6 mm.
_CONTACT: Final = 0.2
#: The same with the edge of a panel's top: 22 mm of a foot's slope share 0.0098 mm3 with it, 10 mm less than a half.
_EDGE_CONTACT: Final = 0.004
#: Least distance in mm of a tray's centre of mass from the edges of what carries it.
_WITHIN: Final = 5.0
#: Shares of each band of height in which the way up is checked.
_SHARES: Final = (0.1, 0.5, 0.9)
#: Heights in mm closer than this are one band; a foot's chamfer of first layers is higher.
_BAND: Final = 0.2
#: Height in mm by which a panel may reach above the bottom of the tray on it: coordinates of files are rounded.
_LEVEL: Final = 0.001
#: Area in mm2 of a section that may have something above it: rounding.
_ABOVE: Final = 0.01


def check_upper_trays(drawer: DrawerPlan, meshes: Mapping[str, Mesh]) -> Iterator[Check]:
    """Yield the checks of each tray on others or on panels.

    `rests`: lowered a little, it would run into each tray that the plan says carries it, and into each panel within the
    cut of its first layers. `tips`: its centre of mass lies within what carries it. `lifted out`: nothing but what
    stands on it is above any part of it.

    Args:
        drawer: as laid out.
        meshes: by mark, as read back, mm.

    Raises:
        KeyError: when a mark that is placed has no mesh.
    """
    if drawer.upper:
        layers = _Layers(drawer, meshes)
        for tray in drawer.upper:
            yield from layers.checks(tray)


class _Layers:
    """The solids of a drawer with trays on others, each in its place."""

    def __init__(self, drawer: DrawerPlan, meshes: Mapping[str, Mesh]) -> None:
        self.drawer = drawer
        self.solids = [_placed(meshes[place.mark], place.at, place.turn) for place in drawer.placements]

    def checks(self, tray: UpperPlan) -> Iterator[Check]:
        own = self.drawer.pieces_of(tray.placement)
        solid = self._joined(own)
        subject = f"{self.drawer.name}: {tray.name or self.drawer.placements[tray.placement].mark}"
        lowered = solid.translate((0.0, 0.0, -_LOWERED))
        met = [lowered ^ self._joined(self.drawer.pieces_of(below)) for below in tray.on]
        free = sum(contact.volume() < _CONTACT for contact in met)
        panels = [self._joined(self.drawer.panels[index].pieces) for index in tray.panels]
        if not met and all((lowered ^ panel).volume() < _EDGE_CONTACT for panel in panels):
            free += 1
        # the edge of a panel that was on the bed is cut back
        settled = solid.translate((0.0, 0.0, -_LOWERED - FIRST_LAYER_RELIEF))
        met += (on_panels := [settled ^ panel for panel in panels])
        free += sum(contact.volume() < _EDGE_CONTACT for contact in on_panels)
        yield Check(
            name="rests", passed=free == 0 and bool(met), value=free,
            limit="0 trays and panels that are to carry it and that it does not rest on", subject=subject,
        )  # fmt: skip
        points = np.concatenate([np.asarray(contact.to_mesh64().vert_properties)[:, :2] for contact in met or [solid]])
        hull = MultiPoint(points.tolist()).convex_hull
        centre = Point(_centre(solid)[:2])
        within = hull.boundary.distance(centre) if met and hull.contains(centre) else 0.0
        yield Check(
            name="tips", passed=within >= _WITHIN, value=round(within, 2),
            limit=f"a centre of mass at least {_WITHIN:g} mm within what carries it", subject=subject,
        )  # fmt: skip
        on_top = self._on_top(tray.placement)
        worst = max(
            (
                self._above(solid, self.solids[index])
                for index in range(len(self.solids))
                if index not in own and index not in on_top
            ),
            default=0.0,
        )
        yield Check(
            name="lifted out", passed=worst <= _ABOVE, value=round(worst, 4),
            limit=f"at most {_ABOVE:g} mm2 of it below a part that does not stand on it", subject=subject,
        )  # fmt: skip

    def _joined(self, indices: Sequence[int]) -> manifold3d.Manifold:
        return manifold3d.Manifold.batch_boolean([self.solids[index] for index in indices], manifold3d.OpType.Add)

    def _on_top(self, placement: int) -> set[int]:
        """Return the placements of all trays that stand on one, or on those that do."""
        upon: set[int] = set()
        rest = [placement]
        while rest:
            below = rest.pop()
            for tray in self.drawer.upper:
                if below in tray.on:
                    upon |= set(self.drawer.pieces_of(tray.placement))
                    rest.append(tray.placement)
        return upon

    def _above(self, upper: manifold3d.Manifold, other: manifold3d.Manifold) -> float:
        """Return the greatest area, in mm2, of a section of a tray that another part is above."""
        own, beside = upper.bounding_box(), other.bounding_box()
        apart = any(beside[axis] >= own[axis + 3] or own[axis] >= beside[axis + 3] for axis in (0, 1))
        if apart or beside[5] <= own[2] + _LEVEL:
            return 0.0
        low = [beside[0], beside[1], own[2]]
        size = [beside[3] - low[0], beside[4] - low[1], own[5] - low[2]]
        near = upper ^ manifold3d.Manifold.cube(size).translate(low)
        worst = 0.0
        for start, end in pairwise(_levels(near, own[2], min(own[5], beside[5]))):
            for share in _SHARES:
                z = start + share * (end - start)
                over = other.trim_by_plane((0.0, 0.0, 1.0), z).project()
                worst = max(worst, (near.slice(z) ^ over).area())
        return worst


def _placed(mesh: Mesh, at: tuple[float, float, float], turn: int) -> manifold3d.Manifold:
    turned = mesh.manifold().rotate((0.0, 0.0, float(turn)))
    box = turned.bounding_box()
    return turned.translate(tuple(to - low for to, low in zip(at, box[:3], strict=True)))


def _levels(solid: manifold3d.Manifold, low: float, high: float) -> list[float]:
    """Return the heights at which a solid's section changes, from ``low`` to ``high``, mm."""
    levels = [low]
    for z in sorted({round(float(z), 3) for z in np.asarray(solid.to_mesh64().vert_properties)[:, 2]}):
        if levels[-1] + _BAND <= z <= high - _BAND:
            levels.append(z)
    return [*levels, high]


def _centre(solid: manifold3d.Manifold) -> tuple[float, ...]:
    """Return the centre of mass of a solid, mm: that of the tetrahedra of its triangles and the origin."""
    mesh = solid.to_mesh64()
    corners = np.asarray(mesh.vert_properties)[:, :3][np.asarray(mesh.tri_verts)]
    volumes = np.linalg.det(corners)  # six times as large: only their ratios count
    middle = (volumes[:, None] * corners.sum(axis=1) / 4.0).sum(axis=0) / volumes.sum()
    return tuple(middle.tolist())
