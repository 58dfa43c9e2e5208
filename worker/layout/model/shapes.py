"""What a part is made from: its own parameters and nothing else.

Two parts with equal shapes are one part. Everything is plain numbers in millimetres, in the part's own frame: the
bounding box starts at 0, 0, 0 and the part stands as it is printed. Rings are counter-clockwise and not closed (the
last point is not the first again), on the coordinate grid.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from worker.spec.drawer.joint import Levels
from worker.spec.drawer.tray import Tray

Point: TypeAlias = tuple[float, float]
Ring: TypeAlias = tuple[Point, ...]
Kind: TypeAlias = Literal["tile", "tray", "key", "coupon", "plug"]
Face: TypeAlias = Literal["top", "bottom", "front", "floor", "ledge"]


@dataclass(frozen=True, slots=True)
class Lettering:
    """Text in or on a face.

    ``at`` is the centre of the text in the face's own plane: ``(x, y)`` for `top`, `bottom` and `floor`, ``(x, z)`` for
    `front`, ``(x, distance up the slope)`` for `ledge`. Text on `bottom` reads right when the part is turned over.
    """

    text: str
    face: Face
    at: Point
    cap_height: float
    depth: float = 0.4
    raised: bool = False
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Socket:
    """One socket of a tile: the rectangle of its cell or half cell, before any inset. A window is not a socket."""

    x: float
    y: float
    width: float
    depth: float


@dataclass(frozen=True, slots=True)
class TileShape:
    """One printed piece of the floor: a plate of ``height`` with sockets and windows right through.

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
    """A divider as a solid: a full-length wall across the tray at ``at`` (its centre) up to z ``top``.

    Axis ``x``: the wall stands across x, so it runs front to back. ``at`` is in the part's frame.
    """

    axis: Literal["x", "y"]
    at: float
    thickness: float
    top: float


@dataclass(frozen=True, slots=True)
class Ramp:
    """A finger ramp: a concave quarter round of this radius between the floor and the front wall, full width."""

    radius: float


@dataclass(frozen=True, slots=True)
class Ledge:
    """A label ledge along the back wall, ``depth`` deep at z ``top`` at the wall, sloping down ``drop``.

    Its underside rises at 45 degrees from the back wall, so it prints without supports.
    """

    depth: float
    top: float
    drop: float


@dataclass(frozen=True, slots=True)
class Magnets:
    """One round recess from below in the middle of each foot's four corners or, in a half foot, in its middle."""

    diameter: float
    depth: float
    centres: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Pocket:
    """A recess in the raised floor: this outline, already grown by its clearance, from z ``bottom`` up, plus notches.

    The upper edge is chamfered by ``chamfer``.
    """

    outline: Ring
    bottom: float
    chamfer: float = 0.4
    notches: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True)
class TrayShape:
    """An open-top container standing on ``halves`` half cells, one foot to a cell (or to a half cell).

    The part's frame starts at the tray's outer faces: cell edges lie ``inset`` outside it. ``foot_levels`` is
    `Joint.foot_levels` with insets from the cell's edge; ``rim_levels`` is `Joint.rim_levels` or None for a straight
    rim. ``floor_top`` is the z of the floor inside; ``fill_top`` is the z up to which the room is filled when the tray
    has pockets, else equal to ``floor_top``.
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
    magnets: Magnets | None = None
    pockets: tuple[Pocket, ...] = ()
    letterings: tuple[Lettering, ...] = ()


@dataclass(frozen=True, slots=True)
class KeyShape:
    """A loose butterfly key: this outline, ``height`` tall."""

    outline: Ring
    height: float


@dataclass(frozen=True, slots=True)
class CouponShape:
    """A small plate with one half-cell socket for each clearance of the ladder, left to right, each named beside it.

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
    """One foot with a solid grip on it, to try in each socket of the coupon. Frame as a tray's."""

    cell: float
    inset: float
    foot_levels: Levels
    corner_radius: float
    height: float
    letterings: tuple[Lettering, ...] = ()


Shape: TypeAlias = TileShape | TrayShape | KeyShape | CouponShape | PlugShape


@dataclass(frozen=True, slots=True)
class Part:
    """A shape with its short name: same mark, same shape. ``quantity`` counts all drawers and copies of the job.

    ``bare`` is the `worker.layout.model.fingerprint` of the shape without its mark, ``tray`` what a tray was made from.
    """

    mark: str
    kind: Kind
    name: str
    shape: Shape
    size: tuple[float, float, float]
    quantity: int
    bare: str | None = None
    tray: Tray | None = None


@dataclass(frozen=True, slots=True)
class Placement:
    """Where one part stands in its drawer: turned by ``turn`` degrees about z, then its box moved to ``at``.

    ``at`` is the least corner of the turned part's bounding box in the drawer's frame. ``cell`` is the grid position of
    a tray, ``name`` what the caller calls the tray there (equal trays share a mark, not a name); else both are None.
    """

    mark: str
    at: tuple[float, float, float]
    turn: Literal[0, 90, 180, 270] = 0
    cell: Point | None = None
    name: str | None = None
