"""Photos to silhouettes, on path-traced photos whose true outlines are known; see the README beside them."""

import io
import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import shapely
from PIL import Image, ImageDraw, ImageFilter

from worker.output.drawings.reference_sheet import write_reference_sheet
from worker.silhouettes.errors import PhotoRefused
from worker.silhouettes.photo.options import PhotoOptions
from worker.silhouettes.photo.photo_reading import read_photos

_DATA = Path(__file__).parent / "data"
_TRUTHS = {path.stem: json.loads(path.read_text()) for path in sorted(_DATA.glob("*.json"))}
_GOOD = [name for name, truth in _TRUTHS.items() if truth["reason"] is None]
_REFUSED = [name for name, truth in _TRUTHS.items() if truth["reason"] is not None]


def _photo(name):
    return (_DATA / f"{name}.jpg").read_bytes()


def _options(name, **given):
    truth = _TRUTHS[name]
    return PhotoOptions(**{"thickness": truth["thickness"], "body": truth["body"], "bar": 150.0, **given})


@lru_cache
def _reading(name):
    return read_photos([_photo(name)], _options(name))


def _distances(first, second):
    """Return distances of points every half mm of each outline from the other, mm."""
    pairs = ((first, second), (second, first))
    points = [(shapely.points(shapely.get_coordinates(a.segmentize(0.5))), b) for a, b in pairs]
    return np.concatenate([shapely.distance(each, outline.boundary) for each, outline in points])


def _reason(photos, options):
    with pytest.raises(PhotoRefused) as refused:
        read_photos(photos, options)
    assert refused.value.remedy
    return refused.value.reason


def _changed(name, change, **saving):
    with Image.open(_DATA / f"{name}.jpg") as image:
        file = io.BytesIO()
        change(image).save(file, **{"format": "JPEG", "quality": 92, "exif": image.getexif(), **saving})
    return file.getvalue()


@pytest.mark.parametrize("name", _GOOD)
def test_what_is_seen_is_near_to_the_truth(name):
    distances = _distances(_reading(name).seen[0], shapely.from_wkt(_TRUTHS[name]["seen"]))
    assert distances.mean() < 0.2
    assert np.percentile(distances, 95.0) < 0.45


@pytest.mark.parametrize("name", _GOOD)
def test_the_silhouette_takes_the_thing(name):
    above = shapely.from_wkt(_TRUTHS[name]["above"])
    outline = _reading(name).silhouette.polygon
    assert above.difference(outline).area < 1e-6
    assert outline.area < 1.25 * above.area
    assert _reading(name).silhouette.depth == _TRUTHS[name]["thickness"]


@pytest.mark.parametrize("name", _GOOD)
def test_the_likely_outline_is_within_its_uncertainty(name):
    reading = _reading(name)
    above = shapely.from_wkt(_TRUTHS[name]["above"])
    distances = _distances(reading.likely.polygon, above)
    assert np.percentile(distances, 95.0) <= reading.likely.uncertainty
    assert np.percentile(_distances(reading.silhouette.polygon, above), 95.0) <= reading.silhouette.uncertainty


@pytest.mark.parametrize("name", _GOOD)
def test_camera_and_sheet_are_recognised(name):
    truth, details = _TRUTHS[name], _reading(name).silhouette.details
    assert details["camera_height_1"] == pytest.approx(truth["height"], rel=0.03)
    assert details["camera_tilt_1"] == pytest.approx(truth["tilt"], abs=0.5)
    assert details["sheet"] == ("letter" if "letter" in name else "a4")
    assert details["tint"] == ("pink" if "letter" in name else "green")


@pytest.mark.outside
def test_a_bank_card_has_its_size():
    """ISO/IEC 7810: ID-1 is 85.60 x 53.98 mm."""
    box = shapely.minimum_rotated_rectangle(_reading("card").likely.polygon.buffer(-0.01))
    corners = shapely.get_coordinates(box)
    sides = sorted(np.linalg.norm(np.diff(corners[:3], axis=0), axis=1))
    assert sides == pytest.approx([53.98, 85.60], abs=0.45)


@pytest.mark.outside
def test_a_washer_has_its_size():
    """ISO 7089: for M20, 37 mm outside, 21 mm inside, 3 mm thick."""
    polygon = _reading("washer").likely.polygon
    (hole,) = polygon.interiors
    diameters = [2.0 * np.sqrt(shapely.Polygon(ring).area / np.pi) for ring in (polygon.exterior, hole)]
    assert diameters == pytest.approx([37.0, 21.0], abs=0.5)


def test_a_second_photo_narrows_the_outline():
    names = ["wood-block", "wood-block-opposite"]
    both = read_photos([_photo(name) for name in names], _options(names[0]))
    single = [_reading(name).silhouette.polygon.area for name in names]
    above = shapely.from_wkt(_TRUTHS["wood-block"]["above"])
    assert above.difference(both.silhouette.polygon).area < 1e-6
    assert both.silhouette.polygon.area < min(single)


def test_a_measured_bar_scales_the_outline():
    first, second = _reading("washer"), read_photos([_photo("washer")], _options("washer", bar=151.0))
    ratio = second.seen[0].area / first.seen[0].area
    assert ratio == pytest.approx((151.0 / 150.0) ** 2)


def test_a_scale_that_was_not_measured_is_mentioned():
    reading = read_photos([_photo("card")], _options("card", bar=None))
    assert any("bar" in warning for warning in reading.silhouette.warnings)
    assert not any("bar" in warning for warning in _reading("card").silhouette.warnings)


def test_the_same_photo_gives_the_same_bytes():
    again = read_photos([_photo("washer")], _options("washer"))
    assert again.overlay == _reading("washer").overlay
    assert again.silhouette.document() == _reading("washer").silhouette.document()


def test_the_overlay_shows_the_outline_and_no_metadata():
    overlay = _reading("card").overlay
    with Image.open(io.BytesIO(overlay.png)) as image:
        assert image.format == "PNG"
        assert not image.getexif()
        assert not image.info
        pixels = np.asarray(image.convert("RGB")).astype(int)
    assert max(pixels.shape) < 1200
    bold = np.argwhere((pixels[..., 0] > 180) & (pixels[..., 1] < 70))
    left, bottom, right, top = _reading("card").silhouette.polygon.bounds
    along = overlay.left + np.array([bold[:, 1].min(), bold[:, 1].max()]) / overlay.per_mm
    down = overlay.top - np.array([bold[:, 0].max(), bold[:, 0].min()]) / overlay.per_mm
    assert along == pytest.approx([left, right], abs=0.8)
    assert down == pytest.approx([bottom, top], abs=0.8)


@pytest.mark.parametrize("name", _REFUSED)
def test_a_bad_photo_is_refused_with_its_reason(name):
    assert _reason([_photo(name)], _options(name)) == _TRUTHS[name]["reason"]


@pytest.mark.parametrize("radius", [2.5, 8.0])
def test_a_blurred_photo_is_refused(radius):
    blurred = _changed("card", lambda image: image.filter(ImageFilter.GaussianBlur(radius)))
    assert _reason([blurred], _options("card")) == "blurred"


@lru_cache
def _sheet(scale):
    """Return the sheet, of so many pixels a mm."""
    page = pypdfium2.PdfDocument(write_reference_sheet("a4", "green"))[0]
    return page.render(scale=scale * 25.4 / 72.0).to_pil().convert("RGB")


def _drawn(*shapes):
    """Return the sheet seen from straight above with shapes ``(box in mm from the field's corner, colour)`` on it."""
    scale = 4.0
    image = _sheet(scale).copy()
    draw = ImageDraw.Draw(image)
    for (left, top, right, bottom), colour in shapes:
        draw.rectangle([scale * (left + 30.0), scale * (top + 37.0), scale * (right + 30.0), scale * (bottom + 37.0)],
                       fill=colour)  # fmt: skip
    table = Image.new("RGB", (image.width + 300, image.height + 200), (120, 110, 100))
    table.paste(image, (150, 100))
    file = io.BytesIO()
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 60
    exif[0x0112] = 1
    table.filter(ImageFilter.GaussianBlur(0.7)).save(file, "PNG", exif=exif, compress_level=1)
    return file.getvalue()


@pytest.mark.parametrize(
    ("shapes", "reason"),
    [
        ([], "low-contrast"),
        ([((40, 60, 90, 100), (0x79, 0xD8, 0x9B))], "low-contrast"),
        ([((20, 60, 50, 100), (30, 30, 30)), ((80, 60, 110, 100), (30, 30, 30))], "several-things"),
        ([((120, 60, 158, 100), (30, 30, 30))], "thing-across-border"),
        ([((90, 60, 170, 180), (30, 30, 30))], "thing-across-border"),
    ],
)
def test_things_that_cannot_be_told_from_what_is_around_are_refused(shapes, reason):
    assert _reason([_drawn(*shapes)], PhotoOptions(5.0, "flat", bar=150.0)) == reason


def test_a_drawn_rectangle_has_its_size():
    reading = read_photos([_drawn(((40, 60, 90, 100), (200, 60, 30)))], PhotoOptions(0.2, "flat", bar=150.0))
    # the last pixel of a drawn rectangle is part of it: 0.25 mm
    assert sorted(reading.likely.size) == pytest.approx([40.25, 50.25], abs=0.2)


#: The field's colour in shadows: 0.15 and 0.1 of its light.
_SHADE, _SHADOW = (50, 94, 65), (40, 77, 53)


def test_a_bore_in_the_shade_is_a_hole():
    plate, bore = ((30, 60, 90, 100), (150, 150, 150)), ((50, 70, 62, 82), _SHADE)
    reading = read_photos([_drawn(plate, bore)], PhotoOptions(0.2, "flat", bar=150.0))
    (hole,) = reading.seen[0].interiors
    assert shapely.Polygon(hole).area == pytest.approx(12.0**2, rel=0.08)


def test_a_hard_shadow_is_no_side():
    shadows = [((20, 20, 80, 80), _SHADOW)]  # towards the middle, where sides would be seen
    reading = read_photos(
        [_drawn(*shadows, ((20, 20, 60, 60), (200, 40, 30)))], PhotoOptions(40.0, "stepped", bar=150.0)
    )
    low_x, low_y, high_x, high_y = reading.seen[0].bounds
    assert [high_x - low_x, high_y - low_y] == pytest.approx([40.25, 40.25], abs=0.4)


def test_a_black_thing_in_a_hard_shadow_is_refused():
    shapes = [((20, 20, 80, 80), _SHADOW), ((20, 20, 60, 60), (25, 25, 25))]
    assert _reason([_drawn(*shapes)], PhotoOptions(40.0, "flat", bar=150.0)) == "low-contrast"


def test_a_photo_without_a_sheet_is_refused():
    grey = _changed("card", lambda image: Image.new("RGB", image.size, (120, 130, 110)))
    assert _reason([grey], _options("card")) == "too-few-markers"


def test_a_sheet_that_is_cut_off_is_refused():
    cut = _changed("card", lambda image: image.crop((0, 0, round(0.72 * image.width), image.height)))
    assert _reason([cut], _options("card")) == "sheet-cut-off"


def test_the_photo_may_stand_on_its_side_and_have_another_format():
    turned = _changed(
        "washer", lambda image: image.transpose(Image.Transpose.ROTATE_90), format="PNG", compress_level=1
    )
    area = read_photos([turned], _options("washer")).likely.polygon.area
    assert area == pytest.approx(_reading("washer").likely.polygon.area, rel=0.01)


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ({"bar": 145.0}, "wrong-print-scale"),
        ({"bar": float("nan")}, "wrong-print-scale"),
        ({"size": "letter"}, "wrong-sheet"),
        ({"tint": "pink"}, "wrong-sheet"),
        ({"thickness": 0.0}, "thickness"),
        ({"thickness": float("nan")}, "thickness"),
        ({"thickness": 500.0}, "thickness"),
    ],
)
def test_options_that_contradict_the_sheet_are_refused(given, reason):
    assert _reason([_photo("card")], replace(_options("card"), **given)) == reason


@pytest.mark.parametrize("count", [0, 3])
def test_one_or_two_photos_are_read(count):
    assert _reason([_photo("card")] * count, _options("card")) == "photo-count"
