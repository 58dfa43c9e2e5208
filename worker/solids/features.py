"""The features of a tray that its shell lacks, as solids to add to the shell and solids to subtract from it.

Added solids overlap the shell and cutters reach past the face by `OVERSHOOT`, so that no two faces are flush. Sections
lie on the coordinate grid from the start, so that rounding the result moves no large face.
"""

import itertools
from collections.abc import Iterable
from typing import Final

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import GripLip, Ledge, Lettering, MagnetHoles, Pocket, Ramp, TrayShape, Wall, Well
from worker.layout.tray.grip_lips import EDGE
from worker.layout.tray.interior import UNDER_RIM
from worker.layout.tray.pockets.pocket_outline import mitred, pocket_ring
from worker.layout.tray.ramp_and_ledge import LEDGE_EDGE
from worker.solids.lettering import cross_section
from worker.solids.mesh import Builder
from worker.solids.ring import circle, on_grid
from worker.solids.shell import footprint
from worker.spec.tolerances import OVERSHOOT, QUARTER_FACETS

Solids = list[manifold3d.Manifold]

#: Facets of a magnet's recess: up to a diameter of 15 mm a facet is shorter than 1 mm.
_MAGNET_FACETS: Final = 48

#: Dividers higher than the ledge's front edge end this far in front of it, mm.
_STEP_BACK: Final = 0.4

#: How far an added solid reaches into the shell, at most, mm.
_OVERLAP: Final = 0.4


def added_solids(shape: TrayShape) -> Solids:
    """Return the solids to add to the shell, mm: dividers, posts, finger ramp, label ledge, grips, raised letterings.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    solids = _dividers(shape, shape.walls)
    if shape.ramp is not None:
        solids += _ramps(shape, shape.ramp)
    if shape.ledge is not None:
        solids.append(_ledge(shape, shape.ledge))
    solids += [_grip(shape, grip) for grip in shape.grips]
    return solids + [_lettering(shape, lettering) for lettering in shape.letterings if lettering.raised]


def cutters(shape: TrayShape) -> Solids:
    """Return the solids to subtract from the shell, mm: pockets, wells, recesses for magnets and engraved letterings.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    solids = [_pocket(pocket, shape.fill_top) for pocket in shape.pockets]
    solids += [_well(well, shape) for well in shape.wells]
    if shape.magnets is not None:
        solids += _magnets(shape.magnets)
    return solids + [_lettering(shape, lettering) for lettering in shape.letterings if not lettering.raised]


def bottom_lettering(lettering: Lettering) -> manifold3d.Manifold:
    """Return an engraved text on the bottom as a solid to subtract, mm.

    Raises:
        TrayError: when the typeface lacks a character of the lettering.
    """
    solid = cross_section(lettering).extrude(lettering.depth + OVERSHOOT).translate((0.0, 0.0, -lettering.depth))
    return solid.rotate((0.0, 180.0, 0.0)).translate((*lettering.at, 0.0))


def outer_size(shape: TrayShape) -> tuple[float, float]:
    """Return the tray's width and depth between its outer faces, mm."""
    across, back = (halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves)
    return across, back


def _overlap(shape: TrayShape) -> float:
    """Return how far added solids reach into walls and floor, mm: at most half the wall's thickness."""
    return min(_OVERLAP, shape.wall / 2.0)


def _dividers(shape: TrayShape, walls: Iterable[Wall]) -> Solids:
    """Return dividers and posts; those of one height are one solid, so that no tops are flush where they cross."""
    overlap = _overlap(shape)
    ends = [(shape.wall - overlap, side - shape.wall + overlap) for side in outer_size(shape)]
    below = shape.fill_top - overlap
    solids: Solids = []
    for top in sorted({wall.top for wall in walls} | {post.top for post in shape.posts}):
        flat = manifold3d.CrossSection()
        for post in (post for post in shape.posts if post.top == top):
            flat += _flat(np.array(post.outline))
        for wall in (wall for wall in walls if wall.top == top):
            near, far = wall.at - wall.thickness / 2.0, wall.at + wall.thickness / 2.0
            low, high = ends[1 if wall.axis == "x" else 0]
            if wall.span is not None:  # it ends at the centre of a divider, or reaches into the tray's wall
                low, high = max(low, wall.span[0] - overlap), min(high, wall.span[1] + overlap)
            across, back = ((near, far), (low, high)) if wall.axis == "x" else ((low, high), (near, far))
            corners = [(across[0], back[0]), (across[1], back[0]), (across[1], back[1]), (across[0], back[1])]
            flat += _flat(np.array(corners))
        solid = _extruded(flat, below, top)
        solids.append(solid if shape.ledge is None else solid - _space_over_ledge(shape, shape.ledge))
    return solids


def _space_over_ledge(shape: TrayShape, ledge: Ledge) -> manifold3d.Manifold:
    """Return the space above the label ledge that dividers leave free for the label, from inside the ledge up."""
    across, back = outer_size(shape)
    start = back - shape.wall - ledge.depth - _STEP_BACK
    below = ledge.top - ledge.drop - LEDGE_EDGE / 2.0
    corners = [(0.0, start), (across, start), (across, back), (0.0, back)]
    return _extruded(_flat(np.array(corners)), below, below + shape.height)


def _ramps(shape: TrayShape, ramp: Ramp) -> Solids:
    """Return the finger ramps: along the front, and behind dividers."""
    section = _ramp_section(shape, ramp)
    solids = [_extruded_across(shape, section)]
    overlap = _overlap(shape)
    for inner in ramp.inner:
        moved = section + np.array([inner.at - shape.wall, 0.0])
        solids.append(_extruded_across(shape, moved, (inner.start - overlap, inner.end + overlap)))
    return solids


def _ramp_section(shape: TrayShape, ramp: Ramp) -> NDArray[np.float64]:
    """Return the section of the ramp along the front: below a quarter circle, tangent to the floor and the front wall.

    The first and the last facet are extended through wall and floor, so that they cross them at an angle.
    """
    facets = 2 * QUARTER_FACETS
    angles = np.pi + np.arange(facets + 1) * (np.pi / 2.0 / facets)
    middle = np.array([shape.wall + ramp.radius, shape.fill_top + ramp.radius])
    arc = middle + ramp.radius * np.column_stack([np.cos(angles), np.sin(angles)])
    step = _overlap(shape) / 8.0  # the steep facet at the wall rises twenty times as far
    arc[0] += _extension(arc[1], arc[0], 0, -step)
    arc[-1] += _extension(arc[-2], arc[-1], 1, -step)
    below = np.array([[arc[0, 0], arc[-1, 1]]])
    return np.concatenate([below, arc[::-1]])


def _extension(start: NDArray[np.float64], end: NDArray[np.float64], axis: int, step: float) -> NDArray[np.float64]:
    """Return the vector ``(2,) float64`` that extends the line from ``start`` beyond ``end`` by ``step`` on an axis."""
    along: NDArray[np.float64] = end - start
    stretched: NDArray[np.float64] = along * (step / along[axis])
    return stretched


def _ledge(shape: TrayShape, ledge: Ledge) -> manifold3d.Manifold:
    """Return the label ledge: its slope and its 45-degree underside extend into the back wall."""
    back = outer_size(shape)[1] - shape.wall
    edge = back - ledge.depth
    step = UNDER_RIM / 2.0  # so that the slope, at 45 degrees at most, stays under the rim
    slope = ledge.drop / ledge.depth
    lip = ledge.top - ledge.drop
    low = lip - LEDGE_EDGE - ledge.depth
    corners = [
        (edge, lip - LEDGE_EDGE),
        (back + step, low - step),
        (back + step, ledge.top + slope * step),
        (edge, lip),
    ]
    return _extruded_across(shape, np.array(corners))


def _grip(shape: TrayShape, grip: GripLip) -> manifold3d.Manifold:
    """Return the lip of a grip: its 45-degree underside and its top extend into the wall."""
    step = UNDER_RIM / 2.0
    low = grip.top - EDGE - grip.depth
    corners = [(grip.depth, grip.top - EDGE), (grip.depth, grip.top), (-step, grip.top), (-step, low - step)]
    # from the wall inwards, up, along the wall
    solid = _flat(np.array(corners)).extrude(grip.end - grip.start)
    side = outer_size(shape)[0 if grip.axis == "x" else 1]
    inwards, face = (-1.0, side - shape.wall) if grip.far else (1.0, shape.wall)
    across, along = [inwards, 0.0, 0.0, face], [0.0, 0.0, 1.0, grip.start]
    rows = [across, along] if grip.axis == "x" else [along, across]
    return solid.transform(np.array([*rows, [0.0, 1.0, 0.0, 0.0]]))


def _extruded_across(
    shape: TrayShape, section: NDArray[np.float64], ends: tuple[float, float] | None = None
) -> manifold3d.Manifold:
    """Return the solid of a section in y and z, extruded from inside one side wall to inside the other, or ``ends``.

    It is cut to the rounded corners of the tray, as square ones would stand out of them. ``section`` is a
    counter-clockwise ring ``(n, 2) float64``, mm.
    """
    start = shape.wall - _overlap(shape)
    low, high = ends or (start - OVERSHOOT, outer_size(shape)[0] - start + OVERSHOOT)
    # the section is extruded along z; this turns x to y, y to z and z to x
    turned = np.array([[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0]])
    solid = _extruded(_flat(section), low, high).transform(turned)
    return solid ^ _extruded(_flat(footprint(shape, shape.inset + start)), 0.0, shape.height)


def _flat(section: NDArray[np.float64]) -> manifold3d.CrossSection:
    """Return the inside of a counter-clockwise ring ``(n, 2) float64``, mm."""
    return manifold3d.CrossSection([on_grid(section)])


def _extruded(flat: manifold3d.CrossSection, low: float, high: float) -> manifold3d.Manifold:
    """Return a section extruded from z ``low`` to ``high``, mm."""
    bottom, top = on_grid(np.array([low, high]))
    return flat.extrude(top - bottom).translate((0.0, 0.0, bottom))


def _magnets(magnets: MagnetHoles) -> Solids:
    """Return the recesses for magnets, each from just below z 0 up."""
    levels = [(magnets.diameter, -OVERSHOOT), (magnets.diameter, magnets.depth)]
    if magnets.taper:
        levels.append((magnets.diameter - 2.0 * magnets.taper, magnets.depth + magnets.taper))
    solids: Solids = []
    for x, y in magnets.centres:
        builder = Builder()
        rings = [builder.ring(on_grid(circle(x, y, diameter, _MAGNET_FACETS)), z) for diameter, z in levels]
        builder.cap(rings[0], up=False)
        for lower, upper in itertools.pairwise(rings):
            builder.strip(lower, upper)
        builder.cap(rings[-1], up=True)
        solids.append(builder.mesh().manifold())
    return solids


def _pocket(pocket: Pocket, top: float) -> manifold3d.Manifold:
    """Return the recess of a pocket with its notches, up to just above ``top``, with its chamfer at 45 degrees."""
    outline = np.array(pocket_ring(pocket))
    builder = Builder()
    rings = [builder.ring(outline, pocket.bottom)]
    if pocket.chamfer > 0.0:
        rings.append(builder.ring(outline, top - pocket.chamfer))
        rings.append(builder.ring(mitred(outline, pocket.chamfer + OVERSHOOT), top + OVERSHOOT))
    else:
        rings.append(builder.ring(outline, top + OVERSHOOT))
    builder.cap(rings[0], up=False)
    for lower, upper in itertools.pairwise(rings):
        builder.strip(lower, upper)
    builder.cap(rings[-1], up=True)
    return builder.mesh().manifold()


def _well(well: Well, shape: TrayShape) -> manifold3d.Manifold:
    """Return the space of a well, from the tray's floor to just above the raised floor."""
    rings = [on_grid(np.array(ring)) for ring in (well.outline, *well.holes)]
    return _extruded(
        manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd), shape.floor_top, shape.fill_top + OVERSHOOT
    )


def letters_on_wall(shape: TrayShape, lettering: Lettering) -> manifold3d.Manifold:
    """Return the letters of a text on the front or on the ledge, between its face and its depth, mm.

    Raises:
        TrayError: when the typeface lacks a character of the lettering.
    """
    return _lettering(shape, lettering, reach=0.0)


def _lettering(shape: TrayShape, lettering: Lettering, reach: float | None = None) -> manifold3d.Manifold:
    """Return a text as a solid across its face: to add when raised, to subtract when engraved.

    ``reach`` is how far it extends past the face, or below it when raised, mm.
    """
    flat = cross_section(lettering)
    past = OVERSHOOT if not lettering.raised else _overlap(shape)
    step = past if reach is None else reach
    solid = flat.extrude(lettering.depth + step)
    # The text's own frame: x along the line, y up the letters, z out of the face, 0 on the face.
    solid = solid.translate((0.0, 0.0, -step if lettering.raised else -lettering.depth))
    along, up = lettering.at
    if lettering.face == "bottom":
        return bottom_lettering(lettering)
    if lettering.face == "front":
        return solid.rotate((90.0, 0.0, 0.0)).translate((along, 0.0, up))
    if lettering.face == "ledge" and shape.ledge is not None:
        ledge = shape.ledge
        angle = float(np.degrees(np.arctan2(ledge.drop, ledge.depth)))
        edge = outer_size(shape)[1] - shape.wall - ledge.depth
        return (
            solid.translate((along, up, 0.0)).rotate((angle, 0.0, 0.0)).translate((0.0, edge, ledge.top - ledge.drop))
        )
    level = shape.floor_level(lettering) if lettering.face == "floor" else shape.height
    return solid.translate((along, up, level))
