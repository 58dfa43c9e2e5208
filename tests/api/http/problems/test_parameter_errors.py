"""pydantic itself makes the faults, from the kinds of constraints that the routes' parameters have."""

from typing import Annotated, Literal

import pytest
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from api.http.problems.parameter_errors import parameter_error


class _Query(BaseModel):
    model_config = ConfigDict(extra="forbid")

    limit: int = Field(default=50, ge=1, le=100)
    hours: float = Field(default=1.0, ge=0.0, allow_inf_nan=False)
    strict: bool = False
    name: str = Field(default="x", min_length=1, max_length=3, pattern="^[a-z{}]*$")
    state: list[Annotated[Literal["queued", "failed"], Field()]] = Field(default=[], max_length=2)
    since: AwareDatetime | None = None


@pytest.mark.parametrize(
    ("query", "parameter", "message", "limit"),
    [
        ({"limit": "x"}, "limit", "The value is not a whole number.", "a whole number"),
        ({"limit": "0"}, "limit", "The value is too small.", "at least 1"),
        ({"limit": "101"}, "limit", "The value is too large.", "at most 100"),
        ({"hours": "inf"}, "hours", "The value is not a finite number.", "a finite number"),
        ({"hours": "y"}, "hours", "The value is not a number.", "a number"),
        ({"strict": "perhaps"}, "strict", "The value is neither true nor false.", "true or false"),
        ({"name": ""}, "name", "The text is too short.", "at least 1 characters"),
        ({"name": "abcd"}, "name", "The text is too long.", "at most 3 characters"),
        ({"name": "A"}, "name", "The text does not have the required form.", "a text that matches ^[a-z{}]*$"),
        ({"state": ["lost"]}, "state", "The value is not one of those allowed.", "'queued' or 'failed'"),
        ({"state": ["queued"] * 3}, "state", "The parameter has too many values.", "at most 2"),
        ({"since": "2026-03-07T18:42:00"}, "since", "The time has no time zone.", "an RFC 3339 time with an offset"),
        ({"since": "noon"}, "since", "The value is not a time.", "an RFC 3339 time with an offset"),
        ({"colour": "red"}, "colour", "The parameter is not supported.", "a documented parameter"),
    ],
)
def test_a_fault_names_parameter_limit_and_remedy(query, parameter, message, limit):
    with pytest.raises(ValidationError) as caught:
        _Query.model_validate(query)
    (fault,) = caught.value.errors()

    error = parameter_error(fault)

    assert (error.parameter, error.message, error.limit) == (parameter, message, limit)
    assert error.remedy
    assert error.value == fault["input"]


def test_a_fault_of_an_unforeseen_kind_is_reported_too():
    error = parameter_error({"type": "future_kind", "loc": ("query", "limit"), "input": "x"})

    assert (error.parameter, error.message) == ("limit", "The value is not valid.")
    assert error.limit
    assert error.remedy
