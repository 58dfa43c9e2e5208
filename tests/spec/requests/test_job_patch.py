"""Changes of a job: tags are trimmed, and each is listed once."""

import pytest
from pydantic import ValidationError

from worker.spec.primitives.pydantic_errors import CARRIED
from worker.spec.requests.job_patch import JobPatch


def test_tags_keep_their_order():
    assert JobPatch.model_validate({"tags": ["workshop", " kitchen "]}).tags == ("workshop", "kitchen")


def test_a_tag_is_listed_once():
    with pytest.raises(ValidationError) as caught:
        JobPatch.model_validate({"tags": ["workshop", " workshop"]})
    (error,) = caught.value.errors()
    assert error["loc"] == ("tags",)
    assert error["ctx"][CARRIED].value == ["workshop", "workshop"]
