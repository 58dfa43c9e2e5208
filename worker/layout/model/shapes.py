"""Shapes: the parameters that a part is made from.

Two parts with equal shapes are the same part. All lengths are in mm, in the part's own frame: its bounding box starts
at 0, 0, 0 and it stands in print orientation. Rings are counter-clockwise, not closed (the first point is not
repeated), and lie on the coordinate grid.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from worker.spec.drawer.joint import Levels
from worker.spec.drawer.tray import Tray

Point: TypeAlias = tuple[float, float]
Ring: TypeAlias = tuple[Point, ...]
Kind: TypeAlias = Literal["tile", "tray", "key", "coupon", "plug", "panel", "shoe", "clip"]
Face: TypeAlias = Literal["top", "bottom", "front", "floor", "ledge"]


@dataclass(frozen=True, slots=True)
class Lettering:
    """Text in or on a face.

    ``at`` is the centre of the text in the face's own plane: ``(x, y)`` for `top`, `bottom` and `floor`, ``(x, z)`` for
    `front`, ``(x, distance up the slope)`` for `ledge`. Text on `bottom` reads right when the part is turned over.
    ``level`` is the z of a `floor` that is the bottom of a pocket; None for that of the tray.
    """

    text: str
    face: Face
    at: Point
    cap_height: float
    depth: float = 0.4
    raised: bool = False
    turn: float = 0.0
    level: float | None = None


@dataclass(frozen=True, slots=True)
class Socket:
    """Socket of a tile: the rectangle of its cell or half cell, without inset."""

    x: float
    y: float
    width: float
    depth: float


@dataclass(frozen=True, slots=True)
class TileShape:
    """Tile: a plate of ``height`` with sockets and windows that go right through.

    ``outline`` carries the seam's tabs and recesses. ``levels`` is `Joint.socket_levels`.
    """

    outline: Ring
    windows: tuple[Ring, ...]
    sockets: tuple[Socket, ...]
    levels: Levels
    corner_radius: float
    height: float
    letterings: tuple[Lettering, ...] = ()


@dataclass(frozen=True, slots=True)
class Wall:
    """Divider: a wall with its centre at ``at``, up to z ``top``.

    Axis ``x``: the wall is perpendicular to x, so it runs front to back. ``at`` is in the part's frame, and so is
    ``span``: where the wall begins and ends along its length, on the tray's inner face or at the centre of a crossing
    divider; None: from wall to wall.
    """

    axis: Literal["x", "y"]
    at: float
    thickness: float
    top: float
    span: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class InnerRamp:
    """Finger ramp behind a divider: the y of the divider's rear face, and where the ramp begins and ends along x."""

    at: float
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class Ramp:
    """Finger ramp: a concave quarter round of this radius between floor and front wall, over the full width.

    ``inner`` are further ramps of the same radius, behind dividers.
    """

    radius: float
    inner: tuple[InnerRamp, ...] = ()


@dataclass(frozen=True, slots=True)
class Ledge:
    """A label ledge along the back wall, ``depth`` deep at z ``top`` at the wall, sloping down ``drop``.

    Its underside rises at 45 degrees from the back wall, so it prints without supports.
    """

    depth: float
    top: float
    drop: float


@dataclass(frozen=True, slots=True)
class GripLip:
    """A lip inside a wall, to lift a tray out by: from ``start`` to ``end`` along it, ``depth`` deep at z ``top``.

    Axis ``x``: it is on the left wall, or on the right one if ``far``; ``y``: on the front or the back wall. Its
    underside rises at 45 degrees from the wall, so it prints without supports.
    """

    axis: Literal["x", "y"]
    far: bool
    start: float
    end: float
    depth: float
    top: float


@dataclass(frozen=True, slots=True)
class MagnetHoles:
    """Round recesses for magnets in the underside of a tray, all of one diameter and depth.

    Above the magnet a recess narrows at 45 degrees over ``taper`` mm, so that less of its roof is level.
    """

    diameter: float
    depth: float
    centres: tuple[Point, ...]
    taper: float = 0.0


@dataclass(frozen=True, slots=True)
class Pocket:
    """Pocket in a raised floor, from z ``bottom`` up: the item's outline grown by its clearance, and finger notches.

    The upper edge has a chamfer of ``chamfer`` mm. ``neighbours`` are the outlines of further items that share the
    notches: one slot across all of them.
    """

    outline: Ring
    bottom: float
    chamfer: float = 0.4
    notches: tuple[Ring, ...] = ()
    neighbours: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True)
class Well:
    """Space between the walls of pockets, from the tray's floor up: its outline, and the pockets that stand in it."""

    outline: Ring
    holes: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True)
class Post:
    """Thickening of a tray's wall where a splice crosses it: an outline from the floor up to z ``top``."""

    outline: Ring
    top: float


@dataclass(frozen=True, slots=True)
class TrayShape:
    """Tray: an open-top container on ``halves`` half cells along x and y, with one foot per cell or half cell.

    The part's frame starts at the tray's outer faces: cell edges lie ``inset`` outside it. ``foot_levels`` is
    `Joint.foot_levels` with insets from the cell's edge; ``rim_levels`` is `Joint.rim_levels` or None for a straight
    rim. ``floor_top`` is the z of the floor inside; ``fill_top`` is the z up to which a tray with pockets is filled,
    less its ``wells``, and equal to ``floor_top`` otherwise. ``posts`` are those of a jointed tray.
    """

    halves: tuple[int, int]
    half_feet: bool
    pitch: float
    inset: float
    foot_levels: Levels
    rim_levels: Levels | None
    corner_radius: float
    height: float
    wall: float
    floor_top: float
    fill_top: float
    walls: tuple[Wall, ...] = ()
    ramp: Ramp | None = None
    ledge: Ledge | None = None
    magnets: MagnetHoles | None = None
    pockets: tuple[Pocket, ...] = ()
    letterings: tuple[Lettering, ...] = ()
    wells: tuple[Well, ...] = ()
    posts: tuple[Post, ...] = ()
    grips: tuple[GripLip, ...] = ()

    def floor_level(self, lettering: Lettering) -> float:
        """Return the z of the face of a `floor` lettering, mm: the tray's, or the bottom of a pocket."""
        return self.fill_top if lettering.level is None else lettering.level


@dataclass(frozen=True, slots=True)
class Tongue:
    """T-shaped tongue of one piece in a slot of the other, inside a wall; outlines are seen from above.

    The tongue's underside begins at z ``low`` at its root and rises at 45 degrees, so it prints without supports; the
    slot's blind end lies ``drop`` below it and carries it. The tongue ends at z ``top``, the slot is open at the top.
    """

    outline: Ring
    slot: Ring
    low: float
    drop: float
    top: float


@dataclass(frozen=True, slots=True)
class Splice:
    """Joint of the pieces of a jointed tray along a line across it, in the tray's frame.

    Axis ``x``: the line is perpendicular to x. The piece behind the line (greater x or y) is lowered onto the one
    before it. ``before`` and ``behind`` are the edges of the two pieces from the bottom up to z ``top``, with the tabs,
    from one side of the tray to the other; above, the edges are straight lines, ``air`` apart with ``at`` in the
    middle.
    """

    axis: Literal["x", "y"]
    at: float
    air: float
    before: Ring
    behind: Ring
    top: float
    tongues: tuple[Tongue, ...]


@dataclass(frozen=True, slots=True)
class PieceShape:
    """Piece of a jointed tray: the part of ``tray`` between up to four splices.

    It is lowered onto its neighbours to the left and in front. ``corner`` is where the piece's own frame begins in the
    tray's; ``letterings`` are in the piece's own frame and come on top of the tray's.
    """

    tray: TrayShape
    corner: Point
    left: Splice | None = None
    right: Splice | None = None
    front: Splice | None = None
    back: Splice | None = None
    letterings: tuple[Lettering, ...] = ()


@dataclass(frozen=True, slots=True)
class KeyShape:
    """Loose butterfly key: an outline extruded by ``height``."""

    outline: Ring
    height: float


@dataclass(frozen=True, slots=True)
class CouponShape:
    """Coupon: a small plate with one socket for each clearance, from left to right, each labelled.

    ``ladder`` is ``((clearance, levels), ...)``; each cell is ``cell`` square, with ``lip`` mm of plate in front.
    """

    cell: float
    lip: float
    ladder: tuple[tuple[float, Levels], ...]
    corner_radius: float
    height: float
    letterings: tuple[Lettering, ...] = ()


@dataclass(frozen=True, slots=True)
class PlugShape:
    """Plug: one foot with a solid grip, to try in each socket of the coupon. Its frame is that of a tray."""

    cell: float
    inset: float
    foot_levels: Levels
    corner_radius: float
    height: float
    letterings: tuple[Lettering, ...] = ()


@dataclass(frozen=True, slots=True)
class StripShape:
    """Strip: a piece of a panel, printed flat. x runs along the panel, y up the panel, and z is its thickness.

    ``outline`` carries the tabs and recesses of splices, the slots of half laps and the notches over clips; ``height``
    is that of the print, the panel's thickness.
    """

    outline: Ring
    height: float
    letterings: tuple[Lettering, ...] = ()


@dataclass(frozen=True, slots=True)
class ShoeShape:
    """End shoe: an upright prism with a hub, two cheeks for a panel's end, and two wings.

    The wings press on the drawer's side; x points away from that side, y runs along it. ``bottom`` is the outline on
    the bed, with as many points as ``outline``: its slot is wider by the first layers' relief.
    """

    outline: Ring
    bottom: Ring
    height: float
    letterings: tuple[Lettering, ...] = ()


@dataclass(frozen=True, slots=True)
class ClipShape:
    """Clip: a base with two upright cheeks that hold a panel from below. x runs across the panel, y along it.

    ``levels`` are the rings of the base from the bottom up, ``(inset, z)`` of the rectangle ``size`` with
    ``corner_radius``; ``cheeks`` where each cheek begins and ends along x, from the top of the base up to z ``height``;
    ``lead`` is the chamfer at the mouth between them.
    """

    size: Point
    corner_radius: float
    levels: Levels
    cheeks: tuple[tuple[float, float], tuple[float, float]]
    span: tuple[float, float]
    height: float
    lead: float
    letterings: tuple[Lettering, ...] = ()


Shape: TypeAlias = (
    TileShape | TrayShape | PieceShape | KeyShape | CouponShape | PlugShape | StripShape | ShoeShape | ClipShape
)


@dataclass(frozen=True, slots=True)
class Part:
    """Part: a shape with its mark. ``quantity`` is the total for all drawers of the job and their copies.

    ``bare`` is the `worker.layout.model.fingerprint` of the shape without its mark, ``tray`` what a tray was made from.
    ``made_for`` is the printer whose bed it is made for, where it is not that of its kind.
    """

    mark: str
    kind: Kind
    name: str
    shape: Shape
    size: tuple[float, float, float]
    quantity: int
    bare: str | None = None
    tray: Tray | None = None
    made_for: str | None = None


@dataclass(frozen=True, slots=True)
class Placement:
    """Position of a part in its drawer: rotated by ``turn`` degrees about z, then moved to ``at``.

    An ``upright`` part is stood on its front edge first: its y becomes z, and its top faces the front. ``at`` is the
    minimum corner of the rotated bounding box in the drawer's frame, in mm. For a tray, ``cell`` is its
    grid position and ``name`` its own name, as identical trays share a mark; for other parts both are None.
    """

    mark: str
    at: tuple[float, float, float]
    turn: Literal[0, 90, 180, 270] = 0
    cell: Point | None = None
    name: str | None = None
    upright: bool = False
