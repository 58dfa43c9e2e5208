"""A small map of a drawer as it is laid out, with the places of a thing marked."""

from collections.abc import Collection, Mapping, Sequence
from typing import Final

from worker.output.drawings.font import LINE
from worker.output.drawings.sheet import LEAST, Path, Sheet, to_svg
from worker.spec.manifest import ContentEntry, DrawerEntry, PartEntry

__all__ = ["write_place_map"]

#: Margin, and height of the heading, in units.
_MARGIN: Final = 6.0
_HEAD: Final = 8.0
#: Width of a drawer, mm, up to which text has the nominal size; larger drawers have larger text.
_UNIT: Final = 180.0
_NAME: Final = 3.0
#: Greys of the floor, of trays, of those with the thing, and of its compartments. On each black text has a contrast of
#: 6:1 or more (WCAG 2.2, 1.4.3: 4.5:1).
_FLOOR, _TRAY, _HOLDER, _MARKED = 0.96, 0.88, 0.78, 0.55


def write_place_map(
    entry: DrawerEntry, parts: Mapping[str, PartEntry], marked: Sequence[ContentEntry], title: str
) -> bytes:
    """Return a map of a drawer as SVG at full size, seen from above, its front at the bottom.

    Args:
        entry: the drawer as laid out.
        parts: its parts by mark.
        marked: contents to mark.
        title: the heading.
    """
    wide, deep, _ = entry.size
    unit = max(wide / _UNIT, deep / (1.5 * _UNIT), 1.0)
    margin, head = _MARGIN * unit, _HEAD * unit
    described = f"{entry.name}, seen from above, its front at the bottom. Dark: {title}."
    sheet = Sheet(wide + 2.0 * margin, deep + 2.0 * margin + head, title, described)
    sheet.write(title, (margin, margin / 2.0, wide), 4.0 * unit, bold=True, least=LEAST * unit)
    base = margin + head + deep

    def frame(at: Sequence[float], size: Sequence[float]) -> tuple[float, float, float, float]:
        return margin + at[0], base - at[1] - size[1], size[0], size[1]

    for ring in entry.outline:
        corners = tuple((margin + x, base - y) for x, y in ring)
        sheet.shapes.append(Path(corners, closed=True, fill=_FLOOR, width=0.6 * unit))
    holders = {content.placement for content in marked}
    for index, placement in enumerate(entry.placements):
        part = parts[placement.mark]
        if part.kind != "tray":
            continue
        size = part.size if placement.turn % 180 == 0 else (part.size[1], part.size[0])
        x, y, across, down = frame(placement.at, size)
        sheet.rect(x, y, across, down, fill=_HOLDER if index in holders else _TRAY, width=0.35 * unit)
    for content in marked:
        x, y, across, down = frame(content.at, content.size)
        sheet.rect(x, y, across, down, fill=_MARKED, width=0.6 * unit)
    unnamed = _unnamed(entry, holders)
    for index, placement in enumerate(entry.placements):
        part = parts[placement.mark]
        if part.kind != "tray" or index in unnamed:
            continue
        size = part.size if placement.turn % 180 == 0 else (part.size[1], part.size[0])
        x, y, across, _ = frame(placement.at, size)
        room = (x + unit, y + unit, across - 2.0 * unit)
        sheet.write(placement.mark, room, _NAME * unit, bold=True, least=LEAST * unit)
        name = placement.name or part.name
        below = (room[0], room[1] + LINE * _NAME * unit, room[2])
        sheet.write(name, below, _NAME * unit, least=LEAST * unit)
    front = (margin, base + margin / 4.0, wide)
    sheet.write("front", front, 2.5 * unit, align="middle", least=LEAST * unit)
    return to_svg(sheet)


def _unnamed(entry: DrawerEntry, holders: Collection[int | None]) -> set[int]:
    """Return the trays whose names would lie over others: those below trays, or above one with the thing."""
    above = {tray.placement for tray in entry.upper if set(tray.on) & set(holders)}
    below = {index for tray in entry.upper for index in tray.on if tray.placement not in above}
    return (above | below) - set(holders)
