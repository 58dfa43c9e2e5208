"""Layout preferences: how the search for trays weighs its aims, and how long it runs."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Number

__all__ = ["Effort", "LayoutPreferences", "Profile", "Share"]

Profile: TypeAlias = Literal["balanced", "least plastic", "fits most", "quick to reach"]
Effort: TypeAlias = Literal["quick", "normal", "thorough"]
Share: TypeAlias = Literal["group", "like", "any"]


class LayoutPreferences(Noun):
    """Preferences for the trays that are chosen for items, and the effort of the search."""

    profile: Profile = Field(default="balanced", description="What the layout favours where aims conflict.")
    effort: Effort | None = Field(
        default=None,
        description="Effort of the search: about 1, 5 or 30 seconds per drawer on one core; null: quick for a plan, "
        "normal for a job.",
    )
    spare: Annotated[Number, Field(ge=0.0, le=0.9)] = Field(
        default=0.1,
        description="Fraction of a drawer's cells to keep free for future items, unless an item would lose its place.",
    )
    share: Share = Field(
        default="like",
        description="Which items may share a tray: group (of the same group, tag or catalogue category), like (also of "
        "similar size and access, where that is worth more than keeping groups apart) or any.",
    )
