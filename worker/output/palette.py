"""The palette: the colours of the kiosk page's light theme, for the pictures and models that the page shows.

The page's own copy is the first block of ``api/kiosk/page/style.css``; a test holds both equal, name by name.
"""

from typing import Final

__all__ = ["PALETTE", "rgb"]

#: Colours ``#RRGGBB`` (sRGB) by the name of the page's custom property, without its leading dashes.
PALETTE: Final = {
    "paper": "#F6F3EC",
    "ink": "#1C2422",
    "line": "#B9BFB8",
    "edge": "#6D7873",
    "green": "#0B5D4E",
    "on-green": "#FFFFFF",
    "red": "#A3241C",
    "tile": "#ECE7DB",
    "tray": "#CFE3DA",
}


def rgb(colour: str) -> tuple[int, int, int]:
    """Return the red, green and blue channel of a colour ``#RRGGBB``, each 0 to 255."""
    red, green, blue = bytes.fromhex(colour[1:])
    return red, green, blue
