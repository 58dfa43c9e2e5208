"""Names of the pictures among the files of a silhouette. This module loads nothing."""

from typing import Final

__all__ = ["OVERLAY_NAME", "RECTIFIED_NAME", "photo_name"]

#: The outline over the rectified photo, and that photo without lines.
OVERLAY_NAME: Final = "overlay.png"
RECTIFIED_NAME: Final = "rectified.png"


def photo_name(number: int) -> str:
    """Return the name of a photo that is kept; ``number`` counts from 1."""
    return f"photo-{number}.jpg"
