"""Sizing rules: limits of a drawer for its trays, and the interior that a footprint and a height leave."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import ceil, cos, pi, sqrt
from typing import Final

from worker.layout.tray.interior import LEAST_FLOOR, LEAST_HEIGHT, UNDER_RIM, on_grid
from worker.layout.tray.volume_estimate import ledge_section, printed_foot_volume, shell_volume
from worker.spec.drawer.joint import CORNER_RADIUS, Joint
from worker.spec.drawer.tray import LabelLedge, Rim
from worker.spec.job import Spec
from worker.spec.tolerances import LENGTH_EPSILON, LINES_IN_A_WALL, QUARTER_FACETS

#: Air kept under the drawer's frame: a tape reads to a millimetre or so, and nothing may rub (own choice).
FRAME_AIR: Final = 2.0

#: Air between things, and between a thing and a wall: the upper end of a loose fit, 0.3 to 0.5 (fdm_rules,
#: clearance-loose: a public design guide).
AIR: Final = 0.5

#: The label ledge of a sized tray.
LEDGE: Final = LabelLedge()

#: Walls and floor of a sized tray, where the nozzle allows (fdm_rules, wall-recommended and top-bottom).
_WALL: Final = 1.2
_FLOOR: Final = 1.2
#: What a wall is thicker than two lines, so that a label may be cut into it.
_CUT: Final = 0.2
_LAYERS_IN_A_FLOOR: Final = 2

#: The lowest room worth a tray (own choice).
_LEAST_WALL: Final = 5.0

#: How far the chords of a room's corner come in: the arc has this share of its radius.
_CHORD: Final = cos(pi / (4.0 * QUARTER_FACETS))


@dataclass(frozen=True)
class DrawerLimits:
    """A drawer's grid as far as sizes go.

    ``span`` is the most half cells a tray may have across and front to back, ``height`` the drawer's free height.
    """

    joint: Joint
    pitch: float
    line_width: float
    half_cells: bool
    span: tuple[int, int]
    height: float
    wall: float = _WALL
    floor: float = _FLOOR

    def __hash__(self) -> int:
        """Return the hash, worked out once: sizes are remembered by the ground, again and again."""
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash((self.joint, self.pitch, self.line_width, self.half_cells, self.span, self.height, self.wall))

    @staticmethod
    def of(spec: Spec, span: tuple[int, int], height: float) -> "DrawerLimits":
        """Return the ground of a drawer of this job, with walls and floors that its printer can lay."""
        line = spec.line_width_of("tray")
        return DrawerLimits(
            joint=spec.joint(),
            pitch=spec.grid.pitch,
            line_width=line,
            half_cells=spec.grid.half_cells,
            span=span,
            height=height,
            wall=on_grid(max(_WALL, LINES_IN_A_WALL * line + _CUT)),
            floor=on_grid(max(_FLOOR, LEAST_FLOOR, _LAYERS_IN_A_FLOOR * spec.layer_of("tray"))),
        )

    @property
    def step(self) -> int:
        """Sizes go in steps of so many half cells."""
        return 1 if self.half_cells else 2

    @cached_property
    def floor_top(self) -> float:
        """Height of a tray's floor."""
        return on_grid(self.joint.foot_height + self.floor)

    @cached_property
    def limit(self) -> float:
        """The highest that anything may reach."""
        return on_grid(self.height - FRAME_AIR)

    @cached_property
    def lines(self) -> float:
        """Thickness of two lines."""
        return LINES_IN_A_WALL * self.line_width

    def rim_overhang(self, rim: Rim) -> float:
        """Return how far the rim hangs over the room, each side."""
        return max(self.joint.toe - self.joint.body_inset - self.wall, 0.0) if rim == "stacking" else 0.0

    def rim_height(self, rim: Rim) -> float:
        """Return how much of a tray's height is its rim."""
        return self.joint.nesting_depth if rim == "stacking" else 0.0

    def start(self, rim: Rim) -> float:
        """Return where the usable room begins in the part's frame, on both axes."""
        return self._starts[rim]

    @cached_property
    def _starts(self) -> dict[Rim, float]:
        return {
            "straight": self.wall + self.rim_overhang("straight"),
            "stacking": self.wall + self.rim_overhang("stacking"),
        }

    def usable(self, halves: int, rim: Rim) -> float:
        """Return the length of the usable room of so many half cells: what passes through the rim."""
        return halves * self.pitch / 2.0 - self._edges[rim]

    @cached_property
    def _edges(self) -> dict[Rim, float]:
        """What a tray's footprint is longer than its usable room."""
        return {rim: 2.0 * (self.joint.body_inset + start) for rim, start in self._starts.items()}

    def halves(self, length: float, rim: Rim) -> int:
        """Return how many half cells give a usable room of this length."""
        needed = (length + self._edges[rim] - LENGTH_EPSILON) / (self.pitch / 2.0)
        return max(ceil(needed / self.step), 1) * self.step

    def margin(self, radius: float) -> float:
        """Return how far a thing must keep from the usable room's sides, so that it clears the round corners by `AIR`.

        A corner ``m`` from both sides of a room whose corner has radius ``r`` is ``sqrt(2) (r - m)`` from the arc's
        middle; a round thing's middle lies its own radius further in. A rim's corners are parallel to the room's, so
        no rounder. ``radius`` is that of the thing's own corners, seen from above.
        """
        round_ = self.corner
        return max(AIR, round_ - radius - (round_ * _CHORD - AIR - radius) / sqrt(2.0) if radius < round_ else AIR)

    def beside(self, end: float) -> float:
        """Return how far a thing must keep from the sides of a room when it keeps so far from its ends.

        Its corner then clears the arc of the room's corner by `AIR` (see `margin`).
        """
        reach, inward = self.corner * _CHORD - AIR, self.corner - end
        if inward <= 0.0:
            return AIR
        return max(AIR, self.corner - sqrt(reach**2 - inward**2)) if inward < reach else max(AIR, self.corner)

    @cached_property
    def corner(self) -> float:
        """Radius of the room's corners."""
        return max(CORNER_RADIUS - self.joint.body_inset - self.wall, 0.0)

    def stand(self, walls: float, stack: float, rim: Rim) -> tuple[float, float] | None:
        """Return a tray's height and the top of all, or None when that is too high for the drawer.

        Args:
            walls: least height of walls over the floor.
            stack: height of the things over the floor.
            rim: under a stacking rim everything must end; over a straight one it may stand out.
        """
        walls = max(walls, _LEAST_WALL, LEAST_HEIGHT)
        if rim == "stacking":
            least = self.floor_top + max(walls, stack) + UNDER_RIM + max(self.rim_height(rim), self.rim_overhang(rim))
            least = max(least, self.floor_top + LEAST_HEIGHT + self.rim_overhang(rim) + self.joint.height)
        else:
            least = self.floor_top + walls + UNDER_RIM
        least = on_grid(least)
        height = min(float(ceil(least - LENGTH_EPSILON)), self.limit)  # a whole millimetre, where there is one
        top = max(height, on_grid(self.floor_top + stack))
        return (height, top) if least <= height and top <= self.limit + LENGTH_EPSILON else None

    def plastic(self, halves: tuple[int, int], height: float, rim: Rim, *, ledge: bool = False) -> float:
        """Return the volume of an empty tray's filament in mm3, in closed form, with or without a label ledge."""
        half_feet = any(along % 2 for along in halves)
        label = self.usable(halves[0], "straight") * ledge_section(LEDGE.depth, LEDGE.drop) if ledge else 0.0
        return _feet(self, halves, half_feet=half_feet) + _body(self, halves, height, rim) + label


def ledge_walls(*, ledge: bool) -> float:
    """Return the least height of walls over the floor that carry a label ledge."""
    # its slope, its edge, its 45-degree underside and a space under it (worker.layout.tray.ramp_and_ledge)
    return LEDGE.drop + 1.2 + LEDGE.depth + 3.0 if ledge else 0.0


@lru_cache(maxsize=4096)
def _feet(ground: DrawerLimits, halves: tuple[int, int], *, half_feet: bool) -> float:
    side = ground.pitch / 2.0 if half_feet else ground.pitch
    count = halves[0] * halves[1] if half_feet else halves[0] * halves[1] // 4
    return count * printed_foot_volume(ground.joint, side, ground.line_width, ground.floor)


@lru_cache(maxsize=16384)
def _body(ground: DrawerLimits, halves: tuple[int, int], height: float, rim: Rim) -> float:
    sides = halves[0] * ground.pitch / 2.0, halves[1] * ground.pitch / 2.0
    return shell_volume(ground.joint, sides, height, rim, wall=ground.wall, floor=ground.floor)
