"""Changes of a job's name, notes and tags."""

from typing import Annotated, Any, Final, TypeAlias

from pydantic import AfterValidator, BeforeValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name
from worker.spec.primitives.pydantic_errors import refusal

__all__ = ["JobPatch", "Tag"]

_MOST_TAGS: Final = 20
_LONGEST_NOTES: Final = 4_000


def _trimmed(value: Any) -> Any:
    return value.strip() if isinstance(value, str) else value


def _each_once(tags: tuple[str, ...]) -> tuple[str, ...]:
    if len(set(tags)) != len(tags):
        error = SpecError(
            "A tag is listed twice.",
            value=list(tags), limit="each tag once", remedy="Remove the duplicate.",
        )  # fmt: skip
        raise refusal(error)
    return tags


#: A tag of a job.
Tag: TypeAlias = Annotated[Name, BeforeValidator(_trimmed), Field(max_length=40)]


class JobPatch(Noun):
    """New values of a job's own fields. A field that is absent or null stays as it is."""

    name: Name | None = Field(default=None, description="New name. The spec and the manifest keep theirs.")
    notes: Annotated[str, Field(strict=True, max_length=_LONGEST_NOTES)] | None = Field(
        default=None, description="New notes; an empty text removes them."
    )
    tags: Annotated[tuple[Tag, ...], Field(max_length=_MOST_TAGS), AfterValidator(_each_once)] | None = Field(
        default=None,
        description="New tags; an empty list removes them.",
        json_schema_extra={"uniqueItems": True},
    )
