"""Print events: a run or a mark, and what may stand beside each."""

import pytest
from pydantic import ValidationError

from worker.spec.primitives.pydantic_errors import CARRIED
from worker.spec.requests.print_event import PrintEvent


@pytest.mark.parametrize(
    "fields", [{"run": 3}, {"mark": "T1", "count": 2}, {"run": 3, "failed": {"T1": 1}}, {"run": 3, "seconds": 900}]
)
def test_an_event_is_of_a_run_or_of_pieces_of_a_mark(fields):
    event = PrintEvent.model_validate({"outcome": "printed", **fields})
    assert (event.run, event.mark) == (fields.get("run"), fields.get("mark"))


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({}, "run"),
        ({"run": 3, "mark": "T1"}, "mark"),
        ({"run": 3, "count": 2}, "count"),
        ({"mark": "T1", "failed": {"T1": 1}}, "failed"),
        ({"run": 3, "outcome": "failed", "failed": {"T1": 1}}, "failed"),
        ({"run": 3, "event": 1}, "event"),
    ],
)
def test_what_contradicts_itself_is_refused_at_its_field(fields, field):
    with pytest.raises(ValidationError) as caught:
        PrintEvent.model_validate({"outcome": "printed", **fields})
    (error,) = caught.value.errors()
    assert error["loc"] == (field,)
    assert error["ctx"][CARRIED].limit


def test_a_withdrawal_names_an_event():
    assert PrintEvent.model_validate({"outcome": "withdrawn", "event": 4}).event == 4
    with pytest.raises(ValidationError) as caught:
        PrintEvent.model_validate({"outcome": "withdrawn"})
    assert [error["loc"] for error in caught.value.errors()] == [("event",)]
