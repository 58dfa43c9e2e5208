"""Things of a household as items of a spec."""

import pytest
from pydantic import ValidationError

from worker.spec import Item
from worker.spec.requests.household import ThingRequest

_BOX = {"kind": "box", "size": [40, 20, 10]}


@pytest.mark.parametrize("tags", [[], ["tools"], ["tools", "red"]])
def test_a_thing_is_an_item_of_its_first_tag(tags):
    thing = ThingRequest.model_validate({"name": "pen", "shape": _BOX, "tags": tags, "note": "blue"})
    item = thing.as_item()
    assert item.get("tag") == (tags[0] if tags else None)
    assert Item.model_validate({**item, "count": 1}).name == "pen"


@pytest.mark.parametrize("fields", [{}, {"shape": None}])
def test_a_thing_without_a_shape_is_an_item_without_one(fields):
    assert "shape" not in ThingRequest.model_validate({"name": "pen", **fields}).as_item()
    assert "shape" in ThingRequest.model_validate({"name": "pen", "shape": _BOX}).as_item()


def test_a_word_is_no_answer_to_whether_it_is_stacked():
    assert ThingRequest.model_validate({"name": "pen", "stack": True}).stack is True
    with pytest.raises(ValidationError):
        ThingRequest.model_validate({"name": "pen", "stack": "yes"})
