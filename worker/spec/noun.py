"""The base of every model of the contract."""

from pydantic import BaseModel, ConfigDict


class Noun(BaseModel):
    """A frozen model that refuses unknown fields."""

    model_config = ConfigDict(extra="forbid", frozen=True)
