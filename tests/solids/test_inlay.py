"""Lettering as a body of its own: part and letters are the part without an engraving, and share nothing.

The oracle is the boolean kernel: volumes of unions and intersections of the bodies.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.shapes import PieceShape, TrayShape
from worker.layout.planner import lay_out
from worker.solids import build
from worker.solids.inlay import bare_of, inlay_body, inlays
from worker.spec import load

FACES = ("top", "bottom", "floor", "ledge", "front")


def parts_of(**tray):
    spec = {
        "spec": "1", "name": "bench", "printer": {"bed": [180, 180, 180]},
        "drawers": [{"name": "top", "width": 130, "depth": 130, "height": 60,
                     "trays": [{"name": "bits", "cells": [2, 2], "height": 40, **tray}]}],
    }  # fmt: skip
    return {part.mark: part.shape for part in lay_out(load(spec)).parts}


def shared_and_rest(shape):
    """Return volumes, mm3: common to part and letters, and what their union differs from the sum of both."""
    letters = inlays(shape, FACES)
    bare, body = bare_of(shape, build(shape), FACES), inlay_body(letters)
    first, second = bare.manifold(), body.manifold()
    assert first.status() == second.status() == type(first.status()).NoError
    return (first ^ second).volume(), (first + second).volume() - first.volume() - second.volume()


def test_the_letters_fill_what_is_engraved():
    shape = parts_of(text={"text": "Ø 8", "face": "floor"})["T1"]
    blank = build(replace(shape, letterings=()))
    letters = inlays(shape, FACES)
    assert {inlay.face for inlay in letters} == {"floor", "bottom"}
    both = build(shape).volume + sum(inlay.mesh.volume for inlay in letters)
    assert both == pytest.approx(blank.volume, rel=1e-6)
    assert shared_and_rest(shape) == pytest.approx((0.0, 0.0), abs=1e-3)
    # the letters lie where the engraving was: just above its floor the section of the part lacks theirs
    floor = next(inlay.mesh for inlay in letters if inlay.face == "floor")
    height = float(floor.bounds[0][2]) + 0.05
    engraved = blank.manifold().slice(height) - build(shape).manifold().slice(height)
    apart = (engraved - floor.manifold().slice(height)) + (floor.manifold().slice(height) - engraved)
    assert apart.area() == pytest.approx(0.0, abs=0.02)


@settings(max_examples=4, deadline=None)
@given(
    text=st.text(st.sampled_from("AB8gÄi%é-"), min_size=1, max_size=4),
    face=st.sampled_from(("floor", "ledge", "front")),
    raised=st.booleans(),
)
def test_part_and_letters_add_up_to_the_whole(text, face, raised):
    style = "raised" if raised and face != "front" else "engraved"
    shape = parts_of(text={"text": text, "face": face, "style": style}, label_ledge=face == "ledge")["T1"]
    shared, rest = shared_and_rest(shape)
    assert (shared, rest) == pytest.approx((0.0, 0.0), abs=0.01)
    whole = build(shape).volume if style == "raised" else build(replace(shape, letterings=())).volume
    if style == "engraved":
        volume = bare_of(shape, build(shape), FACES).volume + inlay_body(inlays(shape, FACES)).volume
        assert volume == pytest.approx(whole, rel=1e-5)
    else:
        letters = [inlay for inlay in inlays(shape, FACES) if inlay.raised]
        volume = bare_of(shape, build(shape), FACES).volume + inlay_body(letters).volume
        assert volume == pytest.approx(whole, rel=1e-5)


def test_tiles_and_test_prints_have_their_marks_as_letters():
    spec = {"spec": "1", "name": "bench", "printer": {"bed": [180, 180, 180]}, "coupon": True,
            "drawers": [{"name": "top", "width": 130, "depth": 130, "height": 60}]}  # fmt: skip
    for part in lay_out(load(spec)).parts:
        assert inlays(part.shape, ()) == ()
        assert shared_and_rest(part.shape) == pytest.approx((0.0, 0.0), abs=1e-6)


def test_the_pieces_of_a_tray_have_the_letters_that_lie_on_them():
    shapes = parts_of(cells=[2.0, 2.0])
    assert isinstance(shapes["T1"], TrayShape)
    spec = {
        "spec": "1", "name": "bench", "printer": {"bed": [180, 180, 180]},
        "drawers": [{"name": "top", "width": 300, "depth": 130, "height": 60,
                     "trays": [{"name": "long", "cells": [6, 2], "height": 40,
                                "text": {"text": "long", "face": "floor"}}]}],
    }  # fmt: skip
    pieces = [part.shape for part in lay_out(load(spec)).parts if isinstance(part.shape, PieceShape)]
    assert len(pieces) == 2
    faces = [[inlay.face for inlay in inlays(piece, FACES)] for piece in pieces]
    assert sum("floor" in own for own in faces) == 1
    for piece in pieces:
        assert shared_and_rest(piece) == pytest.approx((0.0, 0.0), abs=1e-3)
        low, high = inlay_body(inlays(piece, FACES)).bounds
        size = build(piece).bounds[1]
        assert (low >= -1e-9).all()
        assert (high <= size + 1e-9).all()
    assert np.isfinite(size).all()
