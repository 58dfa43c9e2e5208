"""Batches: requests with many specs, each of which becomes a job."""

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Field, WithJsonSchema

from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name

__all__ = ["MOST_SPECS", "BatchRequest"]

#: Most specs in one batch.
MOST_SPECS = 500

#: Each spec is validated on its own, so that an invalid one does not fail the whole batch.
_Unread: TypeAlias = Annotated[Any, WithJsonSchema({"$ref": "#/components/schemas/Spec"})]


class BatchRequest(Noun):
    """Many specs in one request."""

    batch: Literal["1"] = Field(description="Version of this contract.")
    name: Name = Field(description="Name of the batch.")
    specs: tuple[_Unread, ...] = Field(
        min_length=1, max_length=MOST_SPECS, description="The specs; each becomes a job."
    )
    strict: bool = Field(default=False, strict=True, description="Refuse the whole batch if one spec is refused.")
    split: bool = Field(default=False, strict=True, description="Make a separate job for each drawer of a spec.")
