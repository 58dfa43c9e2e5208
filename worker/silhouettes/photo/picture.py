"""Photos as pixels: headers are checked before anything is decoded, and only the focal length is read of EXIF."""

import io
import warnings
from dataclasses import dataclass
from math import hypot
from typing import Final, TypeAlias

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageOps

from worker.silhouettes.photo.refusals import refusal

__all__ = [
    "LARGEST_PIXELS",
    "LEAST_SIDE",
    "Picture",
    "Pixels",
    "decode",
    "encoded_light",
    "linear_light",
    "without_metadata",
]

#: `(rows, columns, 3) uint8`: sRGB.
Pixels: TypeAlias = NDArray[np.uint8]

#: Pixels of the largest photo: phones have up to 50 million, and reduce larger ones by themselves.
LARGEST_PIXELS: Final = 55_000_000
#: Least side of a photo, in pixels: the sheet then has about 3 of them a mm.
LEAST_SIDE: Final = 900
#: The longer side may be this many times the shorter one: panoramas have no single camera.
_LARGEST_RATIO: Final = 2.5
#: Photos are reduced to at most so many pixels: more add nothing to the outline, but memory.
_WORKING_PIXELS: Final = 13_000_000

#: Quality of photos that are kept, of 100 (common practice for little loss: 90 to 95).
_QUALITY: Final = 92

_FORMATS: Final = ("JPEG", "PNG", "WEBP", "HEIF")
#: EXIF: its own directory, and the focal length as of a frame of 36 x 24 mm (CIPA DC-008).
_EXIF: Final = 0x8769
_EQUIVALENT: Final = 0xA405
_FRAME: Final = hypot(36.0, 24.0)
#: Equivalent focal lengths of phones and of lenses that people would use, mm; others are mistakes.
_LENSES: Final = (10.0, 300.0)

pillow_heif.register_heif_opener(thumbnails=False)


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A decoded photo.

    Attributes:
        pixels: upright `(rows, columns, 3) uint8`, sRGB.
        focal: focal length in pixels by EXIF; None where it says nothing.
    """

    pixels: Pixels
    focal: float | None


def decode(photo: bytes) -> Picture:
    """Return a photo's pixels, reduced where it is very large.

    Raises:
        PhotoRefused: if it is none of the formats, damaged, too large, too small or too long.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of damaged EXIF, and of sizes that are checked here
            return _decode(photo)
    except Image.DecompressionBombError:
        raise refusal("photo-too-large", limit=f"{LARGEST_PIXELS} pixels") from None
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, RuntimeError) as error:
        raise refusal("not-a-photo", value=type(error).__name__, limit=", ".join(_FORMATS)) from None


def _decode(photo: bytes) -> Picture:
    with Image.open(io.BytesIO(photo), formats=_FORMATS) as image:
        width, height = image.size
        if width * height > LARGEST_PIXELS:
            raise refusal("photo-too-large", value=[width, height], limit=f"{LARGEST_PIXELS} pixels")
        if min(width, height) < LEAST_SIDE:
            raise refusal("photo-too-small", value=[width, height], limit=f"{LEAST_SIDE} pixels a side")
        if max(width, height) > _LARGEST_RATIO * min(width, height):
            raise refusal("not-a-photo", value=[width, height], limit=f"sides up to 1 : {_LARGEST_RATIO:g}")
        reduction = (_WORKING_PIXELS / (width * height)) ** 0.5
        if reduction < 1.0:
            size = (int(width * reduction), int(height * reduction))
            image.draft("RGB", size)  # a JPEG is decoded at half its size where that is enough
            upright = ImageOps.exif_transpose(image.convert("RGB").resize(size, Image.Resampling.BOX))
        else:
            upright = ImageOps.exif_transpose(image.convert("RGB"))
        equivalent = _equivalent_focal(image)  # a PNG may have it behind its pixels
    pixels = np.array(upright, dtype=np.uint8)
    diagonal = hypot(*pixels.shape[:2])
    return Picture(pixels, None if equivalent is None else equivalent / _FRAME * diagonal)


def without_metadata(pixels: Pixels) -> bytes:
    """Return a photo as JPEG with nothing but its pixels."""
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=_QUALITY)
    return file.getvalue()


def _equivalent_focal(image: Image.Image) -> float | None:
    try:
        value = float(image.getexif().get_ifd(_EXIF).get(_EQUIVALENT, 0))
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, ZeroDivisionError):
        return None
    return value if _LENSES[0] <= value <= _LENSES[1] else None


def linear_light(pixels: Pixels) -> NDArray[np.float32]:
    """Return sRGB values as linear light from 0 to 1 (IEC 61966-2-1), in the shape that they have."""
    return _LINEAR[pixels]


def encoded_light(light: NDArray[np.float32]) -> Pixels:
    """Return linear light from 0 to 1 as sRGB values, in the shape that it has."""
    encoded = np.where(light <= _KNEE / _SLOPE, _SLOPE * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055)
    return (255.0 * encoded + 0.5).astype(np.uint8)


def _linear_table() -> NDArray[np.float32]:
    encoded = np.arange(256) / 255.0
    return np.where(encoded <= _KNEE, encoded / _SLOPE, ((encoded + 0.055) / 1.055) ** 2.4).astype(np.float32)


#: sRGB is linear up to this value, with this slope (IEC 61966-2-1).
_KNEE: Final = 0.04045
_SLOPE: Final = 12.92
_LINEAR: Final = _linear_table()
