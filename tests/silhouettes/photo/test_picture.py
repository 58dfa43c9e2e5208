"""Photos are checked by their header before they are decoded."""

import io
import struct
import zlib

import numpy as np
import pillow_heif
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from worker.silhouettes.errors import PhotoRefused
from worker.silhouettes.photo.picture import LARGEST_PIXELS, LEAST_SIDE, decode, encoded_light, linear_light


def _saved(size, form="JPEG", lens=None, orientation=None, **saving):
    image = Image.linear_gradient("L").resize(size).convert("RGB")
    exif = Image.Exif()
    if lens is not None:
        exif.get_ifd(0x8769)[0xA405] = lens
    exif[0x0112] = orientation or 1
    file = io.BytesIO()
    image.save(file, form, exif=exif, **saving)
    return file.getvalue()


def _reason(data):
    with pytest.raises(PhotoRefused) as refused:
        decode(data)
    return refused.value.reason


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_each_format_is_decoded_upright_with_its_focal_length(form):
    pillow_heif.register_heif_opener()
    picture = decode(_saved((1200, 900), form, lens=26))
    assert picture.pixels.shape == (900, 1200, 3)
    # CIPA DC-008: by the diagonal of a frame of 36 x 24 mm, which is 43.27 mm
    assert picture.focal == pytest.approx(26.0 / 43.2666 * 1500.0, rel=1e-4)
    assert picture.pixels[-1].mean() > picture.pixels[0].mean() + 200


def test_a_photo_that_lies_on_its_side_is_set_upright():
    assert decode(_saved((1200, 900), orientation=6)).pixels.shape == (1200, 900, 3)


@pytest.mark.parametrize("lens", [None, 0, 5, 60000])
def test_a_focal_length_that_no_lens_has_is_none(lens):
    assert decode(_saved((1200, 900), lens=lens)).focal is None


def _png_header(width, height):
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", len(header)) + b"IHDR" + header + struct.pack(">I", zlib.crc32(b"IHDR" + header))
    return b"\x89PNG\r\n\x1a\n" + chunk + struct.pack(">I", 1 << 20) + b"IDAT"


@pytest.mark.parametrize(
    ("size", "reason"),
    [
        ((30000, 30000), "photo-too-large"),
        ((8000, LARGEST_PIXELS // 8000 + 1), "photo-too-large"),
        ((LEAST_SIDE - 1, 2000), "photo-too-small"),
        ((5000, 1000), "not-a-photo"),
    ],
)
def test_a_header_alone_decides(size, reason):
    """The file has no pixels at all: none of them was needed."""
    assert _reason(_png_header(*size)) == reason


def test_a_very_large_photo_is_reduced():
    picture = decode(_saved((6000, 4000), lens=26))
    assert picture.pixels.shape[0] * picture.pixels.shape[1] <= 13_000_000
    assert picture.focal == pytest.approx(26.0 / 43.2666 * np.hypot(*picture.pixels.shape[:2]), rel=1e-4)


@pytest.mark.parametrize("data", [b"", b"GIF89a" + bytes(40), b"%PDF-1.4", _png_header(2000, 2000), b"\xff\xd8\xff"])
def test_what_is_no_photo_is_refused(data):
    assert _reason(data) == "not-a-photo"


_WHOLE = _saved((1000, 900), quality=20, lens=26)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_damaged_files_are_decoded_or_refused(data):
    damaged = bytearray(_WHOLE[: data.draw(st.integers(0, len(_WHOLE)))])
    for _ in range(data.draw(st.integers(0, 6))):
        if damaged:
            damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    try:
        picture = decode(bytes(damaged))
    except PhotoRefused:
        return
    assert min(picture.pixels.shape[:2]) >= LEAST_SIDE


def test_linear_light_and_back():
    every = np.arange(256, dtype=np.uint8).repeat(3).reshape(1, 256, 3)
    assert (encoded_light(linear_light(every)) == every).all()
    # IEC 61966-2-1: sRGB 188 is half of white, within a step
    assert linear_light(np.array([188], dtype=np.uint8))[0] == pytest.approx(0.5, abs=0.005)
