"""What a photographer says about the photos."""

from dataclasses import dataclass
from typing import Final

from worker.silhouettes.photo.parallax import Body
from worker.silhouettes.photo.sheet import SheetSize, Tint

__all__ = ["LARGEST_THICKNESS", "PhotoOptions"]

#: Largest thickness, mm: a higher thing is too near to a camera that sees the sheet sharply.
LARGEST_THICKNESS: Final = 120.0


@dataclass(frozen=True, slots=True)
class PhotoOptions:
    """What a photographer says about the photos.

    Attributes:
        thickness: height of the thing as it lies, mm.
        body: how its sides run: straight up (flat), round like a pen or a ball, or otherwise (stepped).
        bar: length of the ruler bar as measured on the print, mm; None if it was not.
        size: paper of the sheet; None to take what the photo shows.
        tint: colour of its field; None to take what the photo shows.
        margin: added on all sides of the outline that takes the thing, mm.
    """

    thickness: float
    body: Body = "stepped"
    bar: float | None = None
    size: SheetSize | None = None
    tint: Tint | None = None
    margin: float = 0.5
