"""Lettering in a second filament: which faces a printer can colour, and what is refused."""

import pytest

from worker.spec import load
from worker.spec.errors import SpecError


def with_lettering(minimal, *, tool_changes=False, **lettering):
    printer = {**minimal["printer"], "tool_changes": tool_changes}
    fields = {"material": {"name": "PLA", "colour": "#000000"}, **lettering}
    return {**minimal, "printer": printer, "printing": {"lettering": fields}}


def refused(spec):
    with pytest.raises(SpecError) as caught:
        load(spec)
    return [error.pointer for error in caught.value.errors or (caught.value,)]


def test_a_pause_colours_top_and_bottom_and_a_changer_level_faces(minimal):
    assert load(minimal).lettering_faces == ()
    by_hand = load(with_lettering(minimal))
    assert (by_hand.lettering_faces, by_hand.body_faces) == (("top", "bottom"), ())
    changer = load(with_lettering(minimal, tool_changes=True))
    assert changer.lettering_faces == changer.body_faces == ("top", "bottom", "floor")
    chosen = load(with_lettering(minimal, tool_changes=True, faces=["ledge"]))
    assert chosen.lettering_faces == ("ledge",)


@pytest.mark.parametrize(
    ("tool_changes", "lettering", "pointer"),
    [
        (False, {"faces": ["bottom", "front"]}, "/printing/lettering/faces/1"),
        (False, {"faces": ["ledge"]}, "/printing/lettering/faces/0"),
        (True, {"faces": ["top", "top"]}, "/printing/lettering/faces/1"),
        (True, {"change_grams": -1}, "/printing/lettering/change_grams"),
        (True, {"material": {"name": "PLA"}}, "/printing/lettering/material/colour"),
    ],
)
def test_what_cannot_be_lettered_is_refused_where_it_stands(minimal, tool_changes, lettering, pointer):
    assert refused(with_lettering(minimal, tool_changes=tool_changes, **lettering)) == [pointer]


def test_the_second_filament_is_one_of_the_job(minimal):
    spec = load(with_lettering(minimal))
    assert [material.colour for material in spec.materials_of(("tile", "tray"))] == [None, "#000000"]
