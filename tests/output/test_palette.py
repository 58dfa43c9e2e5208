"""The palette of pictures and models against the page's style sheet."""

import re
from pathlib import Path

import api.kiosk
from worker.output.meshes.scene import FLOOR, TRAYS
from worker.output.palette import PALETTE, rgb


def page_colours():
    """The custom properties of the style sheet's first block, the light theme."""
    css = (Path(api.kiosk.__file__).parent / "page" / "style.css").read_text(encoding="utf-8")
    block = css[css.index(":root {") : css.index("}")]
    return {name: colour.upper() for name, colour in re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block)}


def test_pictures_and_models_use_the_pages_own_colours():
    page = page_colours()
    assert {name: page[name] for name in PALETTE} == PALETTE
    assert {FLOOR, TRAYS} <= set(page.values())


def test_a_colour_is_read_as_three_bytes():
    assert rgb("#0B5D4E") == (11, 93, 78)
