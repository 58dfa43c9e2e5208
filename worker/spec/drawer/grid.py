"""The grid: the pitch of the cells, the joint between floor and trays, the seams between tiles."""

from functools import lru_cache
from typing import Annotated, Literal

from pydantic import Field

from worker.spec.drawer.joint import Joint, Levels, default_profile
from worker.spec.primitives.length import Clearance, LengthBounds, Pitch
from worker.spec.primitives.model import Noun

__all__ = ["Grid", "Seam"]

Seam = Literal["dovetail", "key", "plain"]
_Inset = Annotated[float, LengthBounds(0.0, 40.0)]
_Level = Annotated[float, LengthBounds(0.0, 40.0)]


class Grid(Noun):
    """The grid of all drawers of a job."""

    pitch: Pitch = Field(default=42.0, description="Side of a cell (common practice: 42 mm).")
    half_cells: bool = Field(
        default=False, strict=True, description="Fill the right and back with half cells, and let trays use halves."
    )
    clearance: Clearance = Field(default=0.30, description="Air between a socket and a foot, per side.")
    joint: tuple[tuple[_Inset, _Level], ...] | None = Field(
        default=None,
        max_length=32,
        description="The socket's wall from the bottom up as [inset from the cell's edge, height]; null: our own.",
    )
    seam: Seam = Field(default="dovetail", description="How two tiles meet: dovetail, key (a loose key) or plain.")
    seam_gap: Annotated[float, LengthBounds(0.0, 2.0)] = Field(default=0.2, description="Air between two tiles.")

    def to_joint(self, line_width: float) -> Joint:
        """Return the checked joint.

        Raises:
            JointError: when the profile cannot be printed or assembled.
        """
        return _joint(self.joint, self.clearance, line_width)


@lru_cache(maxsize=256)  # most specs have the same one, and ask for it often
def _joint(profile: Levels | None, clearance: float, line_width: float) -> Joint:
    if profile is None:
        profile = default_profile(clearance, line_width)
    return Joint(profile=profile, clearance=clearance, line_width=line_width)
