"""Printability: how well one part prints, figure by figure, against limits that follow from the printer.

A figure beyond its limit fails no job: it carries a caution that says what may go wrong and what to do. Every limit
that is not the printer's own is common practice for melted filament.
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from math import inf
from typing import Final, Literal

import numpy as np
import shapely

from worker.layout.model.shapes import Lettering
from worker.output.checks.undersides import OVERHANG_MOST, Extreme, Place, measure_undersides
from worker.output.checks.wall_thickness import Widths
from worker.solids.lettering import outlines
from worker.solids.mesh import Mesh
from worker.spec.manifest import PrintabilityEntry, PrintabilityName, PrintabilityUnit
from worker.spec.printer.printer import Printer
from worker.spec.tolerances import LINES_IN_A_WALL, OVERHANG_SLACK, PRINTABILITY_SLACK, ROOF_MOST, WALL_SLACK

#: A first layer shorter than this, two lines wide, comes loose from the bed (common practice).
CONTACT_LENGTH: Final = 10.0

#: A part this many times as tall as its first layer is narrow sways under the nozzle (common practice).
SLENDERNESS_MOST: Final = 5.0

#: A gap narrower than this share of the nozzle fuses: 0.3 mm at 0.4 mm, as for what is printed in place (common
#: practice).
GAP_RATIO: Final = 0.75

#: Letters of which less is printed are hard to read.
TEXT_LEAST: Final = 0.8

_DECIMALS: Final = 4

_CAUTIONS: Final[dict[PrintabilityName, str]] = {
    "overhang": "Some overhangs are too steep to print cleanly. Print this part with supports.",
    "bridge": "A flat underside spans a wider gap than the printer can bridge. Print this part with supports or more "
    "cooling.",
    "free_edge": "The edge of an underside spans a wider gap than the printer can bridge; its first lines may sag. "
    "Print it slowly with full cooling.",
    "roof": "The roof of a recess sags over this span. Choose smaller magnets or a thicker floor, over which the roof "
    "narrows, or print this part with supports.",
    "island": "Something starts in mid-air. Print this part with supports.",
    "wall": "A wall is thinner than its minimum number of lines. Use a smaller nozzle or a thicker wall.",
    "gap": "A gap is so narrow for the nozzle that it may fuse. Use a smaller nozzle.",
    "contact": "The first layer is small and may come loose. Print this part with a brim.",
    "slenderness": "The part is tall for its base and may sway or topple. Print it slowly, with a brim.",
    "text": "The text's strokes are thinner than one line and print in part only. Use a smaller nozzle or larger text.",
}


def printability(
    mesh: Mesh, widths: Widths, printer: Printer, letterings: Sequence[Lettering] = ()
) -> tuple[PrintabilityEntry, ...]:
    """Return the printability figures of a part, each name once.

    Args:
        mesh: the part as read back.
        widths: its thinnest wall and narrowest gap in mm.
        printer: as it prints this part.
        letterings: the part's texts.
    """
    return tuple(_entries(mesh, widths, printer, letterings))


def _entries(
    mesh: Mesh, widths: Widths, printer: Printer, letterings: Sequence[Lettering]
) -> Iterator[PrintabilityEntry]:
    sides = measure_undersides(mesh, printer.line_width)
    angle = sides.overhang.value if sides.overhang.at else None
    yield _entry(
        "overhang", angle, "degrees", OVERHANG_MOST, at=sides.overhang.at, slack=OVERHANG_SLACK,
        area=round(sides.overhang_area, _DECIMALS),
    )  # fmt: skip
    spans: tuple[tuple[PrintabilityName, float, Extreme], ...] = (
        ("bridge", printer.max_bridge, sides.bridge),
        ("free_edge", printer.max_bridge, sides.free_edge),
        ("roof", min(ROOF_MOST, printer.max_bridge), sides.roof),
    )
    for name, most, extreme in spans:
        yield _entry(name, extreme.value if extreme.at else None, "mm", most, at=extreme.at)
    yield _entry("island", float(len(sides.islands)), "count", 0.0, at=sides.islands[0] if sides.islands else None)
    wall = LINES_IN_A_WALL * printer.line_width
    yield _entry("wall", _finite(widths.wall), "mm", wall, bound="at_least", slack=WALL_SLACK)
    yield _entry("gap", _finite(widths.gap), "mm", GAP_RATIO * printer.nozzle, bound="at_least")
    yield _entry("contact", sides.contact_area, "mm2", CONTACT_LENGTH * wall, bound="at_least")
    low, high = mesh.bounds
    slenderness = float(high[2] - low[2]) / sides.base_width if sides.base_width > 0.0 else None
    yield _entry("slenderness", slenderness, "ratio", SLENDERNESS_MOST)
    shares = [printed_share(lettering.text, lettering.cap_height, printer.line_width) for lettering in letterings]
    yield _entry("text", min(shares, default=None), "ratio", TEXT_LEAST, bound="at_least")


@lru_cache(maxsize=256)
def printed_share(text: str, cap_height: float, line_width: float) -> float:
    """Return the share of a text's area that a round line of this width covers without leaving the strokes.

    It is the area of the morphological opening by a disc of the line's width, over the text's own area.

    Args:
        text: without line breaks.
        cap_height: of a capital, in mm.
        line_width: in mm.

    Raises:
        TrayError: when the typeface lacks a character.
    """
    rings = outlines(text, cap_height, 0.0)
    if not rings:
        return 1.0
    # the area between rings: each is inside an odd or an even number of others
    ink = shapely.build_area(shapely.MultiLineString([np.vstack([ring, ring[:1]]) for ring in rings]))
    opened = ink.buffer(-line_width / 2.0).buffer(line_width / 2.0).intersection(ink)
    return float(opened.area / ink.area)


def _finite(width: float) -> float | None:
    return None if width == inf else width


def _entry(
    name: PrintabilityName, value: float | None, unit: PrintabilityUnit, limit: float, *,
    bound: Literal["at_most", "at_least"] = "at_most", slack: float | None = None, area: float | None = None,
    at: Place | None = None,
) -> PrintabilityEntry:  # fmt: skip
    """Return a figure with its caution if it is past its limit by more than the slack, in the figure's own unit."""
    slack = PRINTABILITY_SLACK * limit if slack is None else slack
    past = value is not None and (value > limit + slack if bound == "at_most" else value < limit - slack)
    return PrintabilityEntry(
        name=name, value=None if value is None else round(value, _DECIMALS), unit=unit, limit=round(limit, _DECIMALS),
        bound=bound, area=area, at=at, caution=_CAUTIONS[name] if past else None,
    )  # fmt: skip
