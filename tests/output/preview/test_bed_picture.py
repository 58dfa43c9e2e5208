import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from worker.output.meshes.run_package import BedObject
from worker.output.preview.bed_picture import SIDE, draw_bed
from worker.output.preview.png import write_png
from worker.output.preview.raster import draw_triangles, fill

BED = (200.0, 200.0)


def pixels_of(data):
    with Image.open(io.BytesIO(data)) as picture:
        assert (picture.format, picture.mode) == ("PNG", "RGB")
        return np.asarray(picture).astype(int)


def apart(first, other):
    """How much two pictures differ, pixel by pixel."""
    return np.abs(pixels_of(first) - pixels_of(other)).sum(axis=2)


@settings(max_examples=30)
@given(st.integers(1, 40), st.integers(1, 40), st.integers(0, 2**32 - 1))
def test_a_png_has_the_very_pixels(rows, columns, seed):
    pixels = np.random.default_rng(seed).integers(0, 256, (rows, columns, 3)).astype(np.uint8)
    assert np.array_equal(pixels_of(write_png(pixels)), pixels)


@pytest.mark.parametrize("shape", [(4, 4), (4, 4, 4), (0, 4, 3)])
def test_what_is_no_picture_is_refused(shape):
    with pytest.raises(ValueError, match="picture"):
        write_png(np.zeros(shape, dtype=np.uint8))


@settings(max_examples=60)
@given(st.integers(1, 12), st.integers(0, 2**32 - 1))
def test_the_nearest_triangle_is_seen(count, seed):
    """Against every pixel's middle put to every triangle by itself."""
    random = np.random.default_rng(seed)
    corners = np.dstack([random.uniform(-5.0, 25.0, (count, 3, 2)), random.uniform(0.0, 50.0, (count, 3, 1))])
    seen = draw_triangles(corners, (20, 16))
    columns, rows = np.meshgrid(np.arange(16) + 0.5, np.arange(20) + 0.5)
    depths = np.array([_depth(triangle, columns, rows) for triangle in corners])
    nearest = depths.max(axis=0)
    assert seen.depths == pytest.approx(nearest, abs=2e-3)
    assert np.array_equal(seen.triangles < 0, np.isneginf(nearest))
    chosen = np.take_along_axis(depths, np.maximum(seen.triangles, 0)[None], axis=0)[0]
    assert chosen[seen.triangles >= 0] == pytest.approx(nearest[seen.triangles >= 0], abs=2e-3)


def _depth(triangle, x, y):
    """The depth of a triangle at these places by its corners' weights; minus infinity outside."""
    flat = np.column_stack([triangle[:, :2], np.ones(3)])
    weights = np.linalg.solve(flat.T, np.stack([x.ravel(), y.ravel(), np.ones(x.size)]))
    return np.where(weights.min(axis=0) >= 0.0, triangle[:, 2] @ weights, -np.inf).reshape(x.shape)


def test_triangles_without_area_or_off_the_picture_are_left_out():
    flat = [[1.0, 1.0, 0.0], [5.0, 5.0, 0.0], [9.0, 9.0, 0.0]]
    off = [[-9.0, 1.0, 0.0], [-5.0, 5.0, 0.0], [-9.0, 9.0, 0.0]]
    assert (draw_triangles(np.array([flat, off]), (10, 10)).triangles == -1).all()
    assert (draw_triangles(np.zeros((0, 3, 3)), (10, 10)).triangles == -1).all()


@settings(max_examples=40)
@given(st.integers(3, 12), st.integers(0, 2**32 - 1))
def test_outlines_are_filled_as_polygons_are(count, seed):
    """Against shapely, on stars, which never cross themselves, with a hole the other way round."""
    random = np.random.default_rng(seed)
    angles = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False) + random.uniform(0.0, 1.0)
    spokes = random.uniform(4.0, 14.0, count)[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    outer, hole = spokes + 10.0, (spokes * 0.4 + 10.0)[::-1]
    filled = fill([outer, hole], (20, 18))
    polygon = shapely.Polygon(outer, [hole])
    columns, rows = np.meshgrid(np.arange(18) + 0.5, np.arange(20) + 0.5)
    far = shapely.distance(polygon.boundary, shapely.points(columns, rows)) > 1e-9
    assert np.array_equal(filled[far], shapely.contains_xy(polygon, columns, rows)[far])
    assert not fill([], (3, 3)).any()


def test_the_picture_is_a_square_of_its_size(box):
    assert pixels_of(draw_bed([BedObject(box(), "T1", "T1", None, (0.0, 0.0))], BED)).shape == (SIDE, SIDE, 3)
    assert pixels_of(draw_bed([], (300.0, 120.0))).shape == (SIDE, SIDE, 3)


def test_the_same_bed_gives_the_same_bytes(floor):
    run = [BedObject(floor(1, 2), "F1", "F1", "#336699", (5.0, 5.0))]
    assert draw_bed(run, BED) == draw_bed(run, BED)


def test_a_piece_is_seen_in_its_colour_where_it_stands(box):
    plate = box(80.0, 80.0, 1.0)
    left = pixels_of(draw_bed([BedObject(plate, "T1", " ", "#C02020", (5.0, 60.0))], BED))
    right = pixels_of(draw_bed([BedObject(plate, "T1", " ", "#C02020", (115.0, 60.0))], BED))
    red, other = (slice(100, 156), slice(20, 90)), (slice(100, 156), slice(166, 236))
    assert (left[red][:, :, 0] > 2 * left[red][:, :, 1]).all()
    assert (right[other][:, :, 0] > 2 * right[other][:, :, 1]).all()
    assert (left[other][:, :, 0] < 1.1 * left[other][:, :, 1]).all()  # the bed, which is nearly grey


def test_what_stands_in_front_hides_what_stands_behind(box):
    low = BedObject(box(60.0, 20.0, 2.0), "A", " ", "#2020C0", (70.0, 100.0))
    tower = BedObject(box(60.0, 20.0, 150.0), "B", " ", "#C02020", (70.0, 70.0))
    shown = pixels_of(draw_bed([tower, low], BED))
    assert np.array_equal(shown, pixels_of(draw_bed([low, tower], BED)))
    alone = pixels_of(draw_bed([tower, replace(low, at=(0.0, 0.0))], BED))
    blue = (shown[:, :, 2] > 2 * shown[:, :, 0]).sum()
    assert blue < (alone[:, :, 2] > 2 * alone[:, :, 0]).sum() / 10


def test_marks_are_written_and_tell_pieces_apart(box):
    piece = BedObject(box(60.0, 60.0, 5.0), "x", "T1", "#336699", (70.0, 70.0))
    first, second, bare = (draw_bed([replace(piece, part_number=mark)], BED) for mark in ("T1", "T24", " "))
    assert (apart(first, second) > 60).sum() > 50
    assert (apart(first, bare) > 60).sum() > 50
    assert (pixels_of(first) > 250).all(axis=2).sum() > pixels_of(bare).shape[0] // 10


def test_no_mark_covers_another(box):
    """Pieces of 2 mm side by side: the first is named, the second has no room."""
    peg = box(2.0, 2.0, 2.0)
    both = [BedObject(peg, "a", "K1", "#336699", (100.0, 100.0)), BedObject(peg, "b", "K2", "#336699", (104.0, 100.0))]
    alone = [both[0], replace(both[1], part_number=" ")]
    assert draw_bed(both, BED) == draw_bed(alone, BED)


def test_a_sign_that_the_typeface_lacks_is_left_out(box):
    piece = BedObject(box(60.0, 60.0, 5.0), "x", "\u4e00", "#336699", (70.0, 70.0))
    assert draw_bed([piece], BED) == draw_bed([replace(piece, part_number=" ")], BED)


def test_forbidden_areas_are_hatched():
    changed = apart(draw_bed([], BED), draw_bed([], BED, [(0.0, 0.0, 60.0, 60.0)])) > 0
    rows, columns = np.nonzero(changed)
    assert len(rows) > 500
    assert rows.min() > SIDE / 2
    assert columns.max() < SIDE / 2


@settings(max_examples=10)
@given(st.tuples(*[st.floats(0.5, 400.0)] * 3), st.tuples(*[st.floats(-50.0, 450.0)] * 2), st.sampled_from([0, 90]))
def test_any_piece_anywhere_is_drawn_without_complaint(box, size, at, turn):
    """Even off the bed, where the checks of the run find it."""
    data = draw_bed([BedObject(box(*size), "T1", "T1", "#ffffff", at, turn)], BED)
    assert pixels_of(data).shape == (SIDE, SIDE, 3)
