"""Cut sizes: into how many pieces a tray of a footprint is cut, and what room and plastic its posts take."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

from worker.layout.model.shapes import Point
from worker.layout.tray.interior import on_grid, tray_room
from worker.layout.tray.joints.cuts import fewest_cuts
from worker.layout.tray.joints.obstacles import Obstacles
from worker.layout.tray.joints.outlines import post_section
from worker.layout.tray.joints.profile import Profile
from worker.layout.tray.tray_builder import tray_shape
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.tray import NO_RAMP, Rim, Tray

__all__ = ["MOST_PIECES", "Cut", "CutSizes"]

#: A tray is cut into so many pieces at most where nobody asked for more (own choice: what a person joins on a table).
MOST_PIECES: Final = 4

#: Any height at which a tray can be joined, mm, and the most half cells along a side (worker.spec.primitives.names).
_HIGH: Final = 150.0
_LONGEST: Final = 80


@dataclass(frozen=True, slots=True)
class Cut:
    """How a tray is cut: into how many pieces along x and along y."""

    along: tuple[int, int]

    @property
    def pieces(self) -> int:
        """Number of pieces."""
        return self.along[0] * self.along[1]

    @property
    def seams(self) -> int:
        """Number of splices."""
        return sum(self.along) - 2

    @property
    def posts(self) -> tuple[bool, bool]:
        """Whether posts stand at both ends of x, and of y: where a splice meets the walls."""
        return self.along[1] > 1, self.along[0] > 1


@dataclass(frozen=True)
class CutSizes:
    """What sizes of trays can be cut; lengths in mm.

    ``wall`` is the thickness of their walls, ``beds`` the sizes of the bed's free rectangles.
    """

    joint: Joint
    pitch: float
    line_width: float
    half_feet: bool
    wall: float
    beds: tuple[Point, ...]

    def cut(self, halves: tuple[int, int]) -> Cut | None:
        """Return the cut of a tray of so many half cells; None where it would take more than `MOST_PIECES`."""
        cuts = [
            Cut((across, back))
            for bed in self.beds
            if (across := _pieces(self, halves[0], bed[0])) is not None
            and (back := _pieces(self, halves[1], bed[1])) is not None
        ]
        best = min(cuts, key=lambda cut: (cut.pieces, max(cut.along)), default=None)
        return best if best is not None and best.pieces <= MOST_PIECES else None

    @cached_property
    def profile(self) -> Profile:
        """The profile of its splices."""
        return Profile.of(self.joint, self.line_width)

    def depth(self, start: float) -> float:
        """Return how far posts stand into the room, mm.

        Args:
            start: distance of the room from a wall's outer face, mm.
        """
        return on_grid(max(self.profile.post - start, 0.0))

    def plastic(self, cut: Cut, high: float) -> float:
        """Return the volume that posts add to a tray, in mm3.

        Args:
            cut: of the tray.
            high: of the posts, mm.
        """
        return 2.0 * cut.seams * high * post_section(self.wall, self.profile)

    def least_height(self, rim: Rim) -> float:
        """Return the least height of a tray that is joined, mm."""
        return _least_height(self, rim)


@lru_cache(maxsize=1024)
def _pieces(sizes: CutSizes, side: int, most: float) -> int | None:
    """Return into how many pieces of a length a plain tray is cut along one axis; None where it cannot be."""
    if side > _LONGEST or side * sizes.pitch / 2.0 > MOST_PIECES * most:
        return None
    tray = Tray(name="plain", cells=(side / 2.0, 2.0), height=_HIGH, wall=sizes.wall, finger_ramp=NO_RAMP)
    shape = tray_shape(
        tray, joint=sizes.joint, pitch=sizes.pitch, line_width=sizes.line_width, half_feet=sizes.half_feet, pointer=""
    )
    cuts = fewest_cuts(Obstacles(shape, sizes.profile), "x", most)
    return None if cuts is None else len(cuts) + 1


@lru_cache(maxsize=64)
def _least_height(sizes: CutSizes, rim: Rim) -> float:
    plain = Tray(name="plain", cells=(2.0, 2.0), height=_HIGH, wall=sizes.wall, rim=rim)
    room = tray_room(plain, joint=sizes.joint, pitch=sizes.pitch, line_width=sizes.line_width, pointer="")
    return sizes.profile.least_height(_HIGH, room.ceiling, stacking=rim == "stacking")
