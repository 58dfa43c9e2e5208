"""The map of a drawer as SVG and PDF: its floor and its trays to scale, and the legend."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from worker.layout.model.plan import Plan
from worker.output.drawings.drawer_view import FOOT, HEAD, SIDE, View, draw_view
from worker.output.drawings.font import LINE
from worker.output.drawings.legend import legend
from worker.output.drawings.mapped_drawer import MappedDrawer
from worker.output.drawings.sheet import LEAST, Sheet, to_pdf, to_svg
from worker.output.filament_changes import drawer_pauses
from worker.spec.manifest import RunEntry

__all__ = ["PAPER", "ROOM", "SCALES", "map_pages", "map_picture", "write_map_pdf", "write_map_svg"]

#: Reductions: 1:1, 1:2, 1:5, 1:10, 1:20 and 1:50 of ISO 5455, with 1:2.5, 1:4 and 1:15 of GOST 2.302-68 between them
#: (both from memory): ISO 5455 allows steps between its own where they are needed, and names none.
SCALES: Final = (1.0, 2.0, 2.5, 4.0, 5.0, 10.0, 15.0, 20.0, 50.0)

#: ISO 216 A4, and the area of 190 x 259 mm that is drawn on, which fits on Letter, too; mm.
PAPER: Final = (210.0, 297.0)
ROOM: Final = (190.0, 259.0)
_MARGIN: Final = 10.0
#: Type size of page numbers, mm.
_FOLIO: Final = 2.0
#: Width of a drawer, mm, up to which the text of its SVG has the nominal size; larger drawers have larger text.
_UNIT: Final = 180.0

_NO_GROUPS: Final[Mapping[str, str]] = MappingProxyType({})


def _views(mapped: MappedDrawer) -> tuple[View, ...]:
    """Return the views of a drawer: the floor, if it has one, and each layer of trays."""
    layers = range(max(len(mapped.layers), 1))
    return ("floor", *layers) if mapped.cells else tuple(layers)


def write_map_svg(
    plan: Plan, index: int, runs: Sequence[RunEntry] = (), groups: Mapping[str, str] = _NO_GROUPS
) -> bytes:
    """Return the map of the drawer as SVG at full size: floor and layers of trays in a row, the legend below.

    The legend has the pauses of those of the ``runs`` that print pieces of the drawer; trays have the tints of the
    ``groups`` of items, see `worker.output.drawings.group_tints.groups_of`.
    """
    return to_svg(map_picture(plan, index, runs, groups))


def write_map_pdf(
    plan: Plan, index: int, runs: Sequence[RunEntry] = (), groups: Mapping[str, str] = _NO_GROUPS
) -> bytes:
    """Return the map of the drawer with this index as a PDF: floor, layers of trays, legend.

    The paper is A4; the drawn area also fits on Letter, printed at 100 %.
    """
    return to_pdf(map_pages(plan, index, runs, groups))


def map_picture(plan: Plan, index: int, runs: Sequence[RunEntry] = (), groups: Mapping[str, str] = _NO_GROUPS) -> Sheet:
    """Return the map of the drawer with this index as one sheet at full size."""
    mapped = MappedDrawer(plan, index, groups)
    wide, deep = mapped.extent
    unit = max(wide / _UNIT, deep / (1.5 * _UNIT), 1.0)
    side = max(wide, 90.0 * unit) + 2.0 * SIDE * unit
    margin = 6.0 * unit
    views = _views(mapped)
    sheet = Sheet(
        len(views) * side, deep + (HEAD + FOOT) * unit + margin, f"Map of {mapped.drawer.name}", _description(mapped)
    )
    for place, view in enumerate(views):
        draw_view(sheet, mapped, (place * side, margin, side), view, scale=1.0, unit=unit)
    top = sheet.height + margin
    (page,) = legend(mapped, sheet.width - 2.0 * margin, None, unit, tuple(drawer_pauses(runs, mapped.drawer.name)))
    sheet.shapes += page.moved(margin, top)
    sheet.height = top + page.height + margin
    return sheet


def map_pages(
    plan: Plan, index: int, runs: Sequence[RunEntry] = (), groups: Mapping[str, str] = _NO_GROUPS
) -> list[Sheet]:
    """Return the map of the drawer with this index as pages, portrait or landscape, at the largest scale that fits."""
    mapped = MappedDrawer(plan, index, groups)
    wide, deep = mapped.extent
    scale, turned = next(
        (scale, turned)
        for scale in SCALES
        for turned in (False, True)
        if wide / scale + 2 * SIDE <= ROOM[turned] and deep / scale + HEAD + FOOT <= ROOM[not turned]
    )
    paper = PAPER[::-1] if turned else PAPER
    sheets = []
    for view in _views(mapped):
        sheet = Sheet(*paper, f"Map of {mapped.drawer.name}", _description(mapped))
        frame = ((paper[0] - ROOM[turned]) / 2.0, _MARGIN, ROOM[turned])
        draw_view(sheet, mapped, frame, view, scale=scale, unit=1.0)
        sheets.append(sheet)
    for page in legend(mapped, ROOM[0], ROOM[1], 1.0, tuple(drawer_pauses(runs, mapped.drawer.name))):
        sheet = Sheet(*PAPER, f"Map of {mapped.drawer.name}", _description(mapped))
        sheet.shapes += page.moved(_MARGIN, _MARGIN)
        sheets.append(sheet)
    for number, sheet in enumerate(sheets, start=1):
        room = ROOM[sheet.width > sheet.height]
        folio = f"{plan.name}, map of {mapped.drawer.name}, page {number} of {len(sheets)}"
        foot = _MARGIN + ROOM[sheet.width <= sheet.height] - _FOLIO * LINE
        sheet.write(folio, ((sheet.width - room) / 2.0, foot, room), _FOLIO, align="right", least=LEAST)
    return sheets


def _description(mapped: MappedDrawer) -> str:
    drawer = mapped.drawer
    wide, deep, high = drawer.size
    return (
        f"Drawer {wide:g} mm wide, {deep:g} mm deep and {high:g} mm high, seen from above, its front at the bottom: "
        f"{_shown(mapped)}. {len(drawer.placements)} pieces."
    )


def _shown(mapped: MappedDrawer) -> str:
    if not mapped.cells:
        return "its panels"
    upper = ", then the trays on them" if len(mapped.layers) > 1 else ""
    return f"first the floor, then the trays{upper}"
