"""Pockets of silhouettes: what a place of their own rules out."""

import pytest
from pydantic import ValidationError

from worker.spec.drawer.pocket import SilhouettePocket

_POCKET = {"shape": "silhouette", "id": "0" * 26}


@pytest.mark.parametrize("fields", [{}, {"engraved": True}, {"count": 3}, {"at": [3, 3]}])
def test_a_pocket_is_nested_or_has_a_place(fields):
    assert SilhouettePocket.model_validate(_POCKET | fields)


@pytest.mark.parametrize(("field", "value"), [("engraved", True), ("count", 3)])
def test_a_pocket_with_a_place_is_neither_engraved_nor_repeated(field, value):
    with pytest.raises(ValidationError) as caught:
        SilhouettePocket.model_validate(_POCKET | {"at": [3, 3], field: value})
    assert [error["loc"] for error in caught.value.errors()] == [(field,)]
