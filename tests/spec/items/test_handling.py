"""How high a pile of things grows: each shape by its own height."""

import pytest

from worker.spec.items.handling import pile_height
from worker.spec.items.item import Item


@pytest.mark.parametrize(
    ("shape", "high"),
    [
        ({"kind": "box", "size": [60, 40, 9]}, 9.0),
        ({"kind": "cylinder", "diameter": 70, "length": 95}, 95.0),
        ({"kind": "polygon", "points": [[0, 0], [50, 0], [0, 50]], "height": 6}, 6.0),
        ({"kind": "standard", "id": "bolt-cap-m4", "length": 20}, 24.0),  # ISO 4762: a head 4 mm high
        ({"kind": "standard", "id": "nut-m4"}, 3.2),  # ISO 4032
    ],
)
def test_a_thing_on_another_adds_its_height(shape, high):
    assert pile_height(Item.model_validate({"name": "things", "shape": shape}).plain) == high
