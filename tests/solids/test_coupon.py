import dataclasses

import pytest

from tests.solids.plate_oracle import coupon_oracle, plug_oracle
from tests.solids.soundness import assert_same, assert_sound
from worker.layout.model.shapes import KeyShape
from worker.layout.tray.coupon import coupon_shapes, coupon_size, plug_size
from worker.layout.tray.part_mark import plug_mark
from worker.solids.coupon import build_coupon, build_plug, coupon_genus
from worker.solids.key import build_key
from worker.solids.ring import signed_area
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.tolerances import CONTAINMENT_SLACK

JOINTS = [
    Joint(default_profile(0.3, 0.44), 0.3, 0.44),
    Joint(default_profile(0.1, 0.6), 0.1, 0.6),
    Joint(((3.2, 0.0), (2.4, 1.1), (2.4, 1.6), (1.9, 2.6), (1.5, 4.0)), 0.4, 0.44),
]


@pytest.mark.parametrize("joint", JOINTS)
@pytest.mark.parametrize("pitch", [24.0, 42.0, 70.0])
def test_coupon_and_plug_are_the_booleans_of_whole_solids(joint, pitch):
    coupon, plug = coupon_shapes(joint, pitch, "C1")
    mark = plug_mark(plug, "C2", line_width=0.44)
    plug = dataclasses.replace(plug, letterings=() if mark is None else (mark,))
    for mesh, genus, expected, size in (
        (build_coupon(coupon), coupon_genus(coupon), coupon_oracle(coupon), coupon_size(coupon)),
        (build_plug(plug), 0, plug_oracle(plug), plug_size(plug)),
    ):
        assert_sound(mesh, genus)
        assert_same(mesh, expected)
        low, high = mesh.bounds
        assert low == pytest.approx([0.0, 0.0, 0.0], abs=CONTAINMENT_SLACK)
        assert high == pytest.approx(size, abs=CONTAINMENT_SLACK)


def test_the_plug_keeps_the_named_clearance_sideways_in_every_socket():
    joint = JOINTS[0]
    coupon, plug = coupon_shapes(joint, 42.0, "C1")
    plate = build_coupon(coupon).manifold()
    # Its shoulder hangs over the land: there a wider socket comes nearer to it by the slope's cosine only.
    foot = build_plug(plug).manifold().trim_by_plane((0.0, 0.0, -1.0), 0.5 - coupon.height)
    gaps = []
    for index in range(len(coupon.ladder)):
        # The plug's frame starts at its outer face, inset from the cell's edge.
        placed = foot.translate((index * coupon.cell + plug.inset, coupon.lip + plug.inset, 0.0))
        gaps.append(plate.min_gap(placed, 2.0))
    steps = [clearance for clearance, _ in coupon.ladder]
    assert gaps == pytest.approx(steps, abs=0.01)


def test_a_key_is_an_upright_prism():
    outline = ((0.0, 0.0), (2.3, 0.8), (4.6, 0.0), (4.6, 4.4), (2.3, 3.6), (0.0, 4.4))
    mesh = build_key(KeyShape(outline, 2.8))
    assert_sound(mesh, 0)
    assert len(mesh.vertices) == 12
    # Two trapezoids, each 2.3 mm high between sides of 2.8 and 4.4 mm.
    assert mesh.volume == pytest.approx(2 * 2.3 * (2.8 + 4.4) / 2 * 2.8, rel=1e-12)
    assert mesh.volume == pytest.approx(signed_area(mesh.vertices[:6, :2]) * 2.8, rel=1e-12)
