import dataclasses
import re
import subprocess
import sys

import pytest

from tests.solids.plate_shapes import JOINT, tile
from tests.solids.soundness import assert_sound
from tests.solids.tray_shapes import plain
from worker.layout.model.shapes import CouponShape, KeyShape, Lettering, PlugShape
from worker.layout.tray.coupon import coupon_shapes
from worker.solids import KERNEL, build, digest, genus, kernel

COUPON, PLUG = coupon_shapes(JOINT, 42.0, "C1")
KEY = KeyShape(((0.0, 0.0), (4.0, 0.0), (2.0, 3.0)), 2.8)
SHAPES = [tile(2, 1, border=(0.0, 9.0, 0.0, 0.0)), plain((2, 2), 20.0), KEY, COUPON, PLUG]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: type(shape).__name__)
def test_every_shape_is_built_with_the_genus_it_must_have(shape):
    assert_sound(build(shape), genus(shape))


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: type(shape).__name__)
def test_equal_shapes_have_equal_digests(shape):
    assert re.fullmatch("[0-9a-f]{64}", digest(shape))
    assert digest(shape) == digest(dataclasses.replace(shape))


def test_equal_numbers_are_equal_in_a_digest():
    assert digest(KeyShape(((0, 0), (4, 0), (2, 3)), 2.8)) == digest(KEY)
    assert digest(KeyShape(((-0.0, 0.0), (4.0, 0.0), (2.0, 3.0)), 2.8)) == digest(KEY)


def test_every_field_counts_in_a_digest():
    shape = SHAPES[0]
    text = Lettering("F1", "top", (20.0, 4.0), 3.0)
    others = [
        dataclasses.replace(shape, outline=shape.outline[1:] + shape.outline[:1]),
        dataclasses.replace(shape, windows=(((1.0, 1.0), (5.0, 1.0), (5.0, 5.0)),)),
        dataclasses.replace(shape, sockets=shape.sockets[:1]),
        dataclasses.replace(shape, levels=shape.levels[:-1]),
        dataclasses.replace(shape, corner_radius=4.999),
        dataclasses.replace(shape, height=3.001),
        dataclasses.replace(shape, letterings=(text,)),
        dataclasses.replace(shape, letterings=(dataclasses.replace(text, raised=True),)),
        dataclasses.replace(shape, letterings=(dataclasses.replace(text, text="F2"),)),
    ]
    assert len({digest(variant) for variant in [shape, *others]}) == 1 + len(others)


def test_two_kinds_with_equal_fields_have_two_digests():
    fields = [field.name for field in dataclasses.fields(PlugShape)]
    assert fields != [field.name for field in dataclasses.fields(CouponShape)]
    assert len({digest(shape) for shape in SHAPES}) == len(SHAPES)


def test_a_new_kernel_gives_new_digests(monkeypatch):
    before = digest(KEY)
    assert KERNEL.startswith("manifold3d 3.")
    monkeypatch.setattr(kernel, "KERNEL", f"{KERNEL}a")
    assert digest(KEY) != before


def test_digests_hold_over_processes_and_the_kernel_loads_no_mesh_library():
    code = (
        "import sys; from worker.solids import digest; from worker.layout.model.shapes import KeyShape;"
        "assert 'trimesh' not in sys.modules;"
        "print(digest(KeyShape(((0.0, 0.0), (4.0, 0.0), (2.0, 3.0)), 2.8)))"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == digest(KEY)
