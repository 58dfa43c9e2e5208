"""The interior of a tray: its width, depth and usable height."""

from dataclasses import dataclass
from typing import Final

from worker.layout.model.shapes import Point
from worker.spec.drawer.joint import CORNER_RADIUS, Joint
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import LENGTH_EPSILON, LINES_IN_A_WALL

#: Gap in mm between the contents of a tray and the foot of a tray that rests in its rim, or a straight rim.
UNDER_RIM: Final = 0.2

#: Minimum height in mm between a divider's top and the bend where a wall meets its rim; at least half of `UNDER_RIM`
#: is left.
_BEND_DISTANCE: Final = 0.05

#: Minimum thickness of a part's bottom in mm (minimum of a public design guide).
LEAST_FLOOR: Final = 0.6

#: Minimum thickness in mm under an engraving or over a magnet: one layer more than `LEAST_FLOOR`.
LEAST_COVER: Final = 0.8

#: Width and height in mm below which an interior is useless.
LEAST_ROOM: Final = 6.0
LEAST_HEIGHT: Final = 2.0

#: Minimum space between walls in mm, for fingertips and brushes.
LEAST_SPACE: Final = 3.0

#: Height of raised letters and depth of engraved ones: two layers of 0.2 mm.
LETTER_DEPTH: Final = 0.4

#: Step in mm of the lengths that the layout chooses: the coordinate grid.
_DECIMALS: Final = 3


@dataclass(frozen=True, slots=True)
class Room:
    """Interior of a tray in the part's frame; all lengths in mm.

    ``outer`` is the outer width and depth of the tray, ``inner`` that of the interior. ``wall_top`` is the z at which
    the plain wall ends, ``ceiling`` the z at which dividers, ramp, ledge and text must end. ``lines`` is the thickness
    of two printed lines.
    """

    tray: Tray
    pointer: str
    outer: Point
    inner: Point
    wall: float
    floor_top: float
    wall_top: float
    ceiling: float
    foot_height: float
    corner: float
    lines: float

    @property
    def line_width(self) -> float:
        """Width of a printed line, in mm."""
        return self.lines / LINES_IN_A_WALL

    @property
    def height(self) -> float:
        """Height from the floor to the ceiling, in mm."""
        return self.ceiling - self.floor_top

    def refusal(
        self, message: str, *at: str | int, value: object = None, limit: str | None = None, remedy: str | None = None
    ) -> TrayError:
        """Return an error that names this tray, with a path below its pointer."""
        pointer = "/".join((self.pointer, *map(str, at)))
        return TrayError(
            f"Tray {self.tray.name!r}: {message}", pointer=pointer, value=value, limit=limit, remedy=remedy
        )


def tray_room(tray: Tray, *, joint: Joint, pitch: float, line_width: float, pointer: str) -> Room:
    """Return the interior of a tray.

    Args:
        tray: the tray.
        joint: joint of the grid.
        pitch: side of a cell, mm.
        line_width: width of a printed line, mm.
        pointer: JSON Pointer of the tray.

    Raises:
        TrayError: if walls, floor and rim leave no space, or are too thin to print.
    """
    inset = joint.body_inset
    across, back = (on_grid(cells * pitch - 2.0 * inset) for cells in tray.cells)
    foot_height = joint.foot_height
    floor_top = on_grid(foot_height + tray.floor)
    wall_top, ceiling = tray.height, tray.height - UNDER_RIM
    if tray.rim == "stacking":
        base = tray.height - joint.height
        wall_top = base - max(joint.toe - inset - tray.wall, toe_run(tray.wall, joint))
        ceiling = _clear_of(wall_top, tray.height - joint.nesting_depth - UNDER_RIM)
    room = Room(
        tray=tray,
        pointer=pointer,
        outer=(across, back),
        inner=(on_grid(across - 2.0 * tray.wall), on_grid(back - 2.0 * tray.wall)),
        wall=tray.wall,
        floor_top=floor_top,
        wall_top=on_grid(wall_top),
        ceiling=on_grid(ceiling),
        foot_height=foot_height,
        corner=max(CORNER_RADIUS - inset - tray.wall, 0.0),
        lines=LINES_IN_A_WALL * line_width,
    )
    _check(room)
    return room


def toe_run(wall: float, joint: Joint) -> float:
    """Return the depth in mm by which the toe of a stacking rim continues below the rim's socket.

    A wall thicker than the rim's toe would end in a step under the foot of the tray above: the step is lowered by what
    that foot settles, and the air under it.
    """
    step = joint.body_inset + wall - joint.toe
    return joint.settling + UNDER_RIM if step > LENGTH_EPSILON else 0.0


def _clear_of(bend: float, ceiling: float) -> float:
    """Return the ceiling, raised where it nearly meets the bend of the wall: a boolean would leave slivers there."""
    return bend + _BEND_DISTANCE if abs(ceiling - bend) < _BEND_DISTANCE else ceiling


def on_grid(length: float) -> float:
    """Return a length in mm rounded to the coordinate grid."""
    return round(length, _DECIMALS) + 0.0


def _check(room: Room) -> None:
    tray = room.tray
    if tray.wall < room.lines - LENGTH_EPSILON:
        raise room.refusal(
            "its wall is thinner than two printed lines.", "wall",
            value=tray.wall, limit=f"at least {room.lines:g} mm", remedy="Make the wall thicker or the line narrower.",
        )  # fmt: skip
    most = (min(room.outer) - LEAST_ROOM) / 2.0
    if tray.wall > most + LENGTH_EPSILON:
        raise room.refusal(
            "its walls leave no room inside.", "wall",
            value=tray.wall, limit=f"at most {most:g} mm", remedy="Make the wall thinner.",
        )  # fmt: skip
    if tray.floor < LEAST_FLOOR - LENGTH_EPSILON:
        raise room.refusal(
            "its floor is too thin to print.", "floor",
            value=tray.floor, limit=f"at least {LEAST_FLOOR:g} mm", remedy="Make the floor thicker.",
        )  # fmt: skip
    missing = LEAST_HEIGHT + room.floor_top - min(room.wall_top, room.ceiling)
    if missing > LENGTH_EPSILON:
        raise room.refusal(
            "it is too low for its foot, floor and rim.", "height",
            value=tray.height, limit=f"at least {on_grid(tray.height + missing):g} mm",
            remedy="Make it higher" + (", or its rim straight." if tray.rim == "stacking" else "."),
        )  # fmt: skip
