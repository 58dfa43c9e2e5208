import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from tests.solids.joint_geometry import AIR, TAB_PLAY, band, jointed, placed, pulled, sweep, tab_air
from tests.solids.soundness import assert_sound
from tests.solids.tray_shapes import JOINT
from worker.layout.tray.joints.jointed_tray import piece_size
from worker.solids.piece import build_piece, piece_genus
from worker.solids.tray import build_tray
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.errors import TrayError
from worker.spec.tolerances import CLEARANCE_SLACK, COORDINATE_GRID, SHARED_VOLUME, VOLUME_RATIO

BED = ((180.0, 180.0),)


def test_a_tray_longer_than_the_bed_is_cut_once():
    tray = jointed({"cells": (6, 2)}, joint=JOINT, beds=BED)
    assert len(tray.pieces) == 2
    assert all(max(piece_size(piece)) <= 180.0 for piece in tray.pieces)


def solids_of(tray):
    return [placed(piece, build_piece(piece)) for piece in tray.pieces]


def pairs_of(tray):
    """Yield the splices with the indices of the pieces before and behind them."""
    for (first, before), (other, behind) in itertools.combinations(enumerate(tray.pieces), 2):
        for out, into in (("right", "left"), ("back", "front")):
            line = getattr(before, out)
            if line is not None and line is getattr(behind, into):
                same_row = before.front is behind.front and before.back is behind.back
                same_column = before.left is behind.left and before.right is behind.right
                if same_row if out == "right" else same_column:
                    yield line, first, other


def assert_joins(tray):
    """Nothing of a tray is lost but the air of its seams, and every piece can be lowered and is held."""
    whole = build_tray(tray.shape).manifold()
    solids = solids_of(tray)
    together = sum(solid.volume() for solid in solids)
    for solid in solids:
        assert (solid - whole).volume() < VOLUME_RATIO * whole.volume()
    for (i, first), (j, other) in itertools.combinations(enumerate(solids), 2):
        assert first.min_gap(other, 1.0) >= AIR - CLEARANCE_SLACK
        heights = np.linspace(0.05, tray.shape.height - 0.05, 14)
        assert sweep(first, other, heights) < 1e-3, (i, j)
    assert 0.9 * whole.volume() < together < whole.volume()
    for line, before, behind in pairs_of(tray):
        first, other = solids[before], solids[behind]
        top = tray.shape.fill_top
        floor = [band(solid, 0.5, top) for solid in (first, other)]
        walls = [band(solid, top + 0.2, tray.shape.height) for solid in (first, other)]
        piece, ends = tray.pieces[before], ("front", "back") if line.axis == "x" else ("left", "right")
        outside = any(getattr(piece, end) is None for end in ends)  # a piece in the middle has no wall there
        for parts, play in ((floor, TAB_PLAY), (walls, AIR)) if outside else ((floor, TAB_PLAY),):
            assert (parts[0] ^ pulled(parts[1], line.axis, play - 0.02)).volume() < SHARED_VOLUME
            assert (parts[0] ^ pulled(parts[1], line.axis, play + 0.1)).volume() > 0.5  # a lone tab of a thin floor


def test_two_pieces_and_the_air_between_them_are_the_whole_tray():
    tray = jointed({"cells": (6, 2), "rim": "straight"}, joint=JOINT, beds=BED)
    (splice,) = tray.splices
    whole, (before, behind) = build_tray(tray.shape).manifold(), solids_of(tray)
    # halfway up the foot: a straight seam from one side of the foot to the other, and the tabs
    z = 2.5
    section = whole.slice(z)
    line = section ^ section.square((AIR, 200.0)).translate((splice.at - AIR / 2.0, -50.0))
    air = section.area() - before.slice(z).area() - behind.slice(z).area()
    tabs = (len(splice.behind) - 2) / 6
    assert tabs == 4
    assert air == pytest.approx(line.area() + tabs * tab_air(), abs=0.01)
    # above the floor: the line, and around each tongue the rest of its slot
    z = 20.0
    section = whole.slice(z)
    line = section ^ section.square((AIR, 200.0)).translate((splice.at - AIR / 2.0, -50.0))
    air = section.area() - before.slice(z).area() - behind.slice(z).area()
    # T: neck, lip and head 3 lines, head 2 lines wider on each side; the slot is 0.2 mm larger all round. The tongue
    # crosses the line of air, so there only what is beside its neck is air.
    neck, head = 3 * 0.44, 7 * 0.44
    slot = (neck + 2 * AIR) * neck + (head + 2 * AIR) * (neck + 2 * AIR)
    tongue = neck * (neck + AIR) + head * neck
    assert air == pytest.approx(line.area() + 2 * (slot - tongue - AIR * neck), abs=0.01)
    assert_joins(tray)


@pytest.mark.parametrize(
    ("fields", "half_feet"),
    [
        ({"cells": (6, 6)}, False),
        ({"cells": (2, 9)}, False),
        ({"cells": (6, 2), "label_ledge": True, "labels": ("M3",)}, False),
        ({"cells": (6, 2), "finger_ramp": True}, False),
        ({"cells": (6, 3), "compartments": (3, 2)}, False),
        ({"cells": (7, 2), "rim": "straight", "wall": 2.4}, False),
        ({"cells": (7, 2), "rim": "straight", "wall": 6.0}, False),
        ({"cells": (6.5, 2), "height": 16.0, "rim": "straight"}, True),
        ({"cells": (6, 2), "height": 20.0, "wall": 0.88}, False),
        ({"cells": (6, 2), "magnets": {"diameter": 6, "depth": 2, "per_cell": True}}, False),
        # the piece in the middle of the back row has no outer wall at its front, and so no tongue
        ({"cells": (9, 5)}, False),
    ],
)
def test_pieces_join(fields, half_feet):
    tray = jointed(fields, joint=JOINT, beds=BED, half_feet=half_feet)
    assert tray is not None
    for piece in tray.pieces:
        mesh = build_piece(piece)
        assert_sound(mesh, piece_genus(piece))
        assert mesh.bounds[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
        assert mesh.bounds[1] == pytest.approx(piece_size(piece), abs=COORDINATE_GRID)
    assert_joins(tray)


_dividers = st.lists(
    st.fixed_dictionaries(
        {
            "axis": st.sampled_from("xy"),
            "at": st.floats(4, 300),
            "height": st.one_of(st.none(), st.floats(3, 30)),
        }
    ),
    max_size=4,
)
_text = st.fixed_dictionaries(
    {
        "text": st.sampled_from(["M3", "nägel", "Bits & co"]),
        "face": st.sampled_from(["front", "floor", "ledge"]),
        "cap_height": st.sampled_from([None, 5.0]),
    }
)
_fields = st.fixed_dictionaries(
    {
        "cells": st.tuples(st.integers(2, 16), st.integers(2, 16)).map(lambda cells: (cells[0] / 2, cells[1] / 2)),
        "height": st.floats(20, 70),
        "rim": st.sampled_from(["stacking", "straight"]),
        "wall": st.sampled_from([0.88, 1.2, 1.7, 2.4, 5.0]),
        "floor": st.sampled_from([0.8, 1.2, 2.0]),
        "label_ledge": st.sampled_from([None, True, {"depth": 9, "drop": 6}]),
        "finger_ramp": st.sampled_from([None, None, True, {"radius": 8}]),
        "text": st.one_of(st.none(), _text),
        "magnets": st.sampled_from([None, None, {"diameter": 6, "depth": 2}]),
    },
    optional={
        "dividers": _dividers,
        "compartments": st.tuples(st.integers(1, 5), st.integers(1, 5)),
        "labels": st.lists(st.sampled_from([None, "M4", "Bits"]), max_size=2),
    },
)
_beds = st.lists(st.floats(100, 260), min_size=1, max_size=2).map(lambda sides: ((sides[0], sides[-1]),))


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(_fields, _beds, st.sampled_from([0.2, 0.3, 0.4]), st.sampled_from([0.42, 0.44, 0.62]), st.booleans())
def test_any_jointed_tray_that_the_rules_let_through_joins(fields, beds, air, line_width, half_feet):
    joint = Joint(default_profile(air, line_width), air, line_width)
    half_feet = half_feet or any(along % 1 for along in fields["cells"])
    try:
        tray = jointed(fields, joint=joint, beds=beds, line_width=line_width, half_feet=half_feet)
    except (TrayError, ValidationError):
        reject()
    if tray is None or len(tray.pieces) == 1:
        reject()
    for piece in tray.pieces:
        mesh = build_piece(piece)
        assert_sound(mesh, 0)
        size = piece_size(piece)
        assert mesh.bounds[1] == pytest.approx(size, abs=COORDINATE_GRID)
        assert any(size[0] <= bed[0] + 1e-6 and size[1] <= bed[1] + 1e-6 for bed in beds)
    assert_joins(tray)
