"""What is suggested for a field that is not known."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.spec import Spec
from worker.spec.errors import SpecError
from worker.spec.reading.field_places import remedy_for
from worker.spec.reading.loader import load


@pytest.mark.parametrize(
    ("path", "remedy"),
    [
        (["bed"], "Did you mean /printer/bed or /printers/*/bed?"),
        (["bde"], "Remove it."),
        (["nozzle"], "Did you mean /printer/nozzle or /printers/*/nozzle?"),
        (["nozle"], "Did you mean /printer/nozzle or /printers/*/nozzle?"),
        (["printr"], 'Did you mean "printer"?'),
        (["drawers", 0, "hight"], 'Did you mean "height"?'),
        (["drawers", 3, "trays", 1, "cell"], 'Did you mean "cells"?'),
        (["printer", "timezone"], "Did you mean /schedule/timezone?"),
        (["zzz"], "Remove it."),
    ],
)
def test_the_remedy_names_a_similar_field_or_the_place_of_this_one(path, remedy):
    assert remedy_for(Spec, path) == remedy


@given(st.text("abcdefghijklmnopqrstuvwxyz_", min_size=1, max_size=12))
def test_a_suggested_field_is_accepted_where_it_is_suggested(name):
    remedy = remedy_for(Spec, [name])
    if remedy.startswith('Did you mean "'):
        assert remedy.split('"')[1] in Spec.model_fields
    elif remedy != "Remove it.":
        assert all(
            place.startswith("/") for place in remedy[len("Did you mean ") : -1].replace(" or ", ", ").split(", ")
        )


def test_a_bed_beside_the_printer_is_shown_its_place():
    spec = {"spec": "1", "name": "a", "printer": {"bed": [200, 200, 200]}, "drawers": [
        {"name": "a", "width": 90, "depth": 90, "height": 50}], "bed": [180, 180, 180]}  # fmt: skip
    with pytest.raises(SpecError) as caught:
        load(spec)
    assert caught.value.remedy == "Did you mean /printer/bed or /printers/*/bed?"
