"""Layout preferences: how the search for trays weighs its aims, and how long it runs."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Number

__all__ = ["Effort", "LayoutPreferences", "Profile"]

Profile: TypeAlias = Literal["balanced", "least plastic", "fits most", "quick to reach"]
Effort: TypeAlias = Literal["quick", "normal", "thorough"]


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
    share: Literal["like", "any"] = Field(
        default="like",
        description="Which items may share a tray: like (of the same group; otherwise of the same tag or catalogue "
        "category; otherwise of similar size and access) or any.",
    )
