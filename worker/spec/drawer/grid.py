"""The grid: pitch of the cells, joint between floor and trays, seams between tiles."""

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
    """Grid shared by all drawers of a job."""

    pitch: Pitch = Field(default=42.0, description="Side length of a cell. 42 mm is common practice.")
    half_cells: bool = Field(
        default=False,
        strict=True,
        description="Fill the right and back edges with half cells, and allow trays of half cells.",
    )
    clearance: Clearance = Field(default=0.30, description="Clearance between a tray's foot and its socket, per side.")
    joint: tuple[tuple[_Inset, _Level], ...] | None = Field(
        default=None,
        max_length=32,
        description="Profile of the socket wall from the bottom up, as points [inset from the cell's edge, height]; "
        "null for the built-in profile.",
    )
    seam: Seam = Field(
        default="dovetail", description="How tiles join: dovetail, key (loose butterfly keys) or plain (butted)."
    )
    seam_gap: Annotated[float, LengthBounds(0.0, 2.0)] = Field(default=0.2, description="Gap between two tiles.")

    def to_joint(self, line_width: float) -> Joint:
        """Return the validated joint for a line width in mm.

        Raises:
            JointError: if the profile cannot be printed or assembled.
        """
        return _joint(self.joint, self.clearance, line_width)


@lru_cache(maxsize=256)  # a spec asks for its joint many times
def _joint(profile: Levels | None, clearance: float, line_width: float) -> Joint:
    if profile is None:
        profile = default_profile(clearance, line_width)
    return Joint(profile=profile, clearance=clearance, line_width=line_width)
