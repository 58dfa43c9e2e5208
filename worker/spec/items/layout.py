"""The layout: what a caller prefers of the trays that are found for things."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Number

__all__ = ["Effort", "LayoutPreferences", "Profile"]

Profile: TypeAlias = Literal["balanced", "least plastic", "fits most", "quick to reach"]
Effort: TypeAlias = Literal["quick", "normal", "thorough"]


class LayoutPreferences(Noun):
    """What matters most in a layout, and how long to search for it."""

    profile: Profile = Field(default="balanced", description="What counts most where not everything can be had.")
    effort: Effort | None = Field(
        default=None,
        description="How far to search: about 1, 5 or 30 seconds a drawer on one core; null: quick for a plan, normal "
        "for a job.",
    )
    spare: Annotated[Number, Field(ge=0.0, le=0.9)] = Field(
        default=0.1, description="Share of a drawer's cells to keep free for things to come, where that costs no place."
    )
    share: Literal["like", "any"] = Field(
        default="like",
        description="Which things may share a tray: like ones (of one group; else of one tag or catalogue category; "
        "else of similar size and use), or any.",
    )
