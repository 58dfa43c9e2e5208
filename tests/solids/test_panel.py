"""Strips, shoes and clips: sound solids, the same as by booleans, flat on the bed, without overhangs."""

from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.solids.soundness import assert_sound
from worker.layout.model.shapes import ClipShape, ShoeShape, StripShape
from worker.layout.panels.clip import clip_mark, splice_clip
from worker.layout.panels.profile import (
    BASE,
    BASE_AIR,
    CLIP,
    CLIP_END_AIR,
    LAP_LEAD,
    TAB_HEAD,
    TAB_NECK,
    TAB_REACH,
    PanelProfile,
)
from worker.layout.panels.shoe import end_shoe, shoe_mark
from worker.layout.panels.strip import Lap, strip_mark, strip_outline
from worker.solids.kernel import build, genus
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF

PROFILE = PanelProfile(0.44, 0.3)
THICKNESS = 2.4


def strip(height=60.0, ends=(0.0, 150.0), *, spliced=(False, False), laps=(), clips=()):
    return StripShape(strip_outline(ends, height, PROFILE, spliced=spliced, laps=laps, clips=clips), THICKNESS)


def downward(mesh):
    """Return the steepest lean of an underside off the bed from upright, in degrees."""
    corners = mesh.vertices[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    off = corners[:, :, 2].min(axis=1) > 1e-6
    # an engraved mark on the bed has a level roof of a few mm, which bridges
    level = normals[:, 2] < -0.999
    down = off & ~level & (normals[:, 2] < 0.0)
    return np.degrees(np.arcsin(-normals[down, 2])).max(initial=0.0)


def slab(x0, y0, x1, y1):
    """Return a slab of the whole strip's thickness, above the relief of the first layers."""
    low = FIRST_LAYER_RELIEF
    return manifold3d.Manifold.cube((x1 - x0, y1 - y0, THICKNESS - low)).translate((x0, y0, low))


def test_a_strip_is_that_of_booleans_above_its_first_layers():
    lap = Lap(100.0, 2.6, 30.15, open_above=False)
    mesh = build(strip(spliced=(False, True), laps=[lap], clips=[150.0]))
    assert_sound(mesh, 0)
    end = 150.0 - PROFILE.air / 2.0
    whole = slab(0.0, 0.0, end, 60.0)
    tab = manifold3d.CrossSection(
        [
            [
                (end - 0.5, 30.0 - TAB_NECK),
                (end, 30.0 - TAB_NECK),
                (end + TAB_HEAD - TAB_NECK, 30.0 - TAB_HEAD),
                (end + TAB_REACH, 30.0 - TAB_HEAD),
                (end + TAB_REACH, 30.0 + TAB_HEAD),
                (end + TAB_HEAD - TAB_NECK, 30.0 + TAB_HEAD),
                (end, 30.0 + TAB_NECK),
                (end - 0.5, 30.0 + TAB_NECK),
            ]
        ]
    )
    whole += tab.extrude(THICKNESS - FIRST_LAYER_RELIEF).translate((0.0, 0.0, FIRST_LAYER_RELIEF))
    whole -= slab(150.0 - CLIP / 2.0 - CLIP_END_AIR, -1.0, 200.0, BASE + BASE_AIR)
    whole -= slab(98.7, -1.0, 101.3, 30.15)
    lead = manifold3d.CrossSection([[(98.7 - LAP_LEAD, 0.0), (101.3 + LAP_LEAD, 0.0), (101.3, 1.0), (98.7, 1.0)]])
    whole -= lead.extrude(9.0)
    solid = mesh.manifold().trim_by_plane((0.0, 0.0, 1.0), FIRST_LAYER_RELIEF)
    assert solid.volume() == pytest.approx(whole.volume(), rel=1e-6)
    assert ((solid - whole).volume(), (whole - solid).volume()) == pytest.approx((0.0, 0.0), abs=0.01)


@settings(deadline=None, max_examples=40)
@given(
    height=st.floats(25.0, 200.0),
    length=st.floats(60.0, 250.0),
    joins=st.tuples(st.booleans(), st.booleans(), st.booleans()),
    at=st.floats(0.42, 0.5),
    above=st.booleans(),
)
def test_every_strip_is_sound_and_prints_flat(height, length, joins, at, above):
    *spliced, clip = joins
    lap = Lap(length * at, 2.6, height / 2.0, open_above=above)
    clips = [end for end, joined in zip((0.0, length), spliced, strict=True) if joined and clip and length > 90.0]
    mesh = build(strip(height, (0.0, length), spliced=spliced, laps=[lap], clips=clips))
    assert_sound(mesh, 0)
    assert np.ptp(mesh.vertices[:, 2]) == pytest.approx(THICKNESS)
    assert mesh.vertices.min() == 0.0
    assert downward(mesh) <= 46.0


@settings(deadline=None, max_examples=30)
@given(
    thickness=st.floats(1.6, 6.0), height=st.floats(20.0, 120.0), wing=st.floats(20.0, 36.0),
    line=st.sampled_from([0.3, 0.44, 0.66]), both=st.booleans(),
)  # fmt: skip
def test_every_shoe_is_sound_and_holds_its_panel_with_the_air(thickness, height, wing, line, both):
    profile = PanelProfile(line, 0.3)
    shape = end_shoe(thickness, height, (wing, wing * both), profile)
    mesh = build(shape)
    assert_sound(mesh, genus(shape))
    assert downward(mesh) <= 46.0
    x = max(x for x, _ in shape.outline)
    half = profile.hub_half(thickness) + wing
    panel = manifold3d.Manifold.cube((13.0, thickness, height)).translate((x - 13.0, half - thickness / 2.0, 0.0))
    assert mesh.manifold().min_gap(panel, 1.0) == pytest.approx(profile.air, abs=2e-3)


@pytest.mark.parametrize("width", [24.0, 16.0, 6.4])
def test_every_clip_is_sound_and_holds_its_panel_with_the_air(width):
    shape = splice_clip(THICKNESS, 60.0, width, PROFILE)
    mesh = build(shape)
    assert_sound(mesh, genus(shape))
    assert downward(mesh) <= 46.0
    panel = manifold3d.Manifold.cube((THICKNESS, 60.0, 60.0)).translate(
        (width / 2.0 - THICKNESS / 2.0, -10.0, BASE + BASE_AIR)
    )
    assert mesh.manifold().min_gap(panel, 1.0) == pytest.approx(PROFILE.air, abs=2e-3)
    assert mesh.vertices[:, 2].max() == PROFILE.clip_height(60.0)


@pytest.mark.parametrize(
    ("shape", "mark"),
    [
        (strip(laps=[Lap(75.0, 2.6, 30.0, open_above=True)]), strip_mark),
        (end_shoe(THICKNESS, 60.0, (24.0, 24.0), PROFILE), shoe_mark),
        (splice_clip(THICKNESS, 60.0, 24.0, PROFILE), clip_mark),
    ],
)
def test_each_part_carries_its_mark_engraved(shape, mark):
    lettering = mark(shape, "P12", line_width=0.44)
    assert lettering is not None
    assert isinstance(shape, StripShape | ShoeShape | ClipShape)
    marked = replace(shape, letterings=(lettering,))
    mesh = build(marked)
    assert_sound(mesh, 0)
    assert mesh.volume < build(shape).volume
