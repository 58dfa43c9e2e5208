"""Label sheets: labels for the trays' label ledges, and cards of drawers, as a PDF to print at 100 % and cut out."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import hypot
from types import MappingProxyType
from typing import Final

from worker.output.drawings.drawer_cards import card_sheets
from worker.output.drawings.font import LINE, fitted, lacks, plain, wrapped
from worker.output.drawings.paper import BESIDE_RULER, GAP, HEAD, MARGIN, PAGES, Page, cut_marks, ruled_page
from worker.output.drawings.sheet import LEAST, Frame, Sheet, block, to_pdf
from worker.spec.manifest import DrawerEntry, Manifest, PartEntry

__all__ = ["CLEARANCE", "Label", "label_sheets", "labels_of", "write_labels"]

#: A label is this much shorter and narrower than its ledge, mm (own choice), so that it drops in.
CLEARANCE: Final = 1.0
#: Space below a label, where its tray is named, mm.
_BELOW: Final = 8.0
#: Type sizes, tried from the largest, mm.
_SIZES: Final = (7.0, 6.0, 5.0, 4.2, 3.5, 3.0, 2.5, 2.1, LEAST)
_PAD: Final = 1.0
_NOTE: Final = 2.0


@dataclass(frozen=True, slots=True)
class Label:
    """A label: its text, its tray's place, its length and depth, mm; ``cut`` when the ledge is longer than paper."""

    text: str
    place: str
    long: float
    deep: float
    cut: bool = False


def write_labels(manifest: Manifest, page: Page, pages: Mapping[str, str] = MappingProxyType({})) -> bytes | None:
    """Return a PDF with a label for every label ledge, and a card for every drawer with a page; None without either.

    Args:
        manifest: the job.
        page: the paper.
        pages: the URLs of drawers' pages by the drawers' names.
    """
    sheets = label_sheets(manifest, page) + card_sheets(manifest, page, pages)
    return to_pdf(sheets) if sheets else None


def labels_of(manifest: Manifest, most: float) -> Iterator[Label]:
    """Yield a label for each label ledge of every copy of every drawer, none longer than ``most`` mm."""
    parts = {part.mark: part for part in manifest.parts}
    for drawer in manifest.drawers:
        for copy in range(drawer.copies):
            for index, place in enumerate(drawer.placements):
                part = parts[place.mark]
                later = part.piece is not None and part.piece.number > 1  # a jointed tray has one label
                if part.tray is None or part.tray.label_ledge is None or later:
                    continue
                ledge = part.tray.label_ledge
                width = part.size[0] if part.piece is None else part.piece.tray_size[0]
                long = width - 2.0 * part.tray.wall - CLEARANCE
                # the ledge slopes, and the label lies on the slope
                deep = hypot(ledge.depth, ledge.drop) - CLEARANCE
                at = "" if place.cell is None else f" at ({place.cell[0]:g}, {place.cell[1]:g})"
                which = f" ({copy + 1} of {drawer.copies})" if drawer.copies > 1 else ""
                place_text = f"{place.mark}{at}, {drawer.name}{which}"
                yield Label(_label_text(drawer, index, part), place_text, min(long, most), deep, cut=long > most)


def _label_text(drawer: DrawerEntry, index: int, part: PartEntry) -> str:
    """Return the text of a label: that of the items, of the ledge, the items' names or the tray's, in this order."""
    held = [stored for stored in drawer.contents if stored.placement == index]
    labels = list(dict.fromkeys(stored.label for stored in held if stored.label is not None))
    text = part.tray.text if part.tray is not None else None
    if len(labels) == 1 and len({stored.item for stored in held}) == 1:
        return labels[0]
    if text is not None and text.face == "ledge":
        return text.text
    return (
        ", ".join(labels or dict.fromkeys(stored.item for stored in held)) or drawer.placements[index].name or part.name
    )


def label_sheets(manifest: Manifest, page: Page) -> list[Sheet]:
    """Return the pages of labels, none when there is no label ledge.

    Labels are arranged in rows; those longer than the page is wide follow, turned, on pages of their own.
    """
    width, height = PAGES[page]
    across, down = width - 2.0 * (MARGIN + GAP), height - 2.0 * (MARGIN + GAP) - HEAD
    # the depth of labels needs no limit: ledges are far less deep than a page is high
    labels = list(labels_of(manifest, down))
    sheets: list[Sheet] = []
    x, y, row = width, height, 0.0
    for label in (own for own in labels if own.long <= across):
        if x + label.long > width - MARGIN - GAP:
            x, y, row = MARGIN + GAP, y + row, 0.0
        if y + label.deep + _BELOW > height - MARGIN:
            sheets.append(_page(manifest, width, height))
            x, y, row = MARGIN + GAP, MARGIN + HEAD + GAP, 0.0
        _draw(sheets[-1], label, (x, y, label.long, label.deep), turned=False)
        x, row = x + label.long + GAP, max(row, label.deep + _BELOW)
    x = width
    for label in (own for own in labels if own.long > across):
        if x + label.deep + _BELOW > width - MARGIN:
            sheets.append(_page(manifest, width, height))
            x = MARGIN + GAP
        _draw(sheets[-1], label, (x, MARGIN + HEAD + GAP, label.deep, label.long), turned=True)
        x += label.deep + _BELOW
    if sheets and any(lacks(label.text) for label in labels):
        note = "? replaces a character that the typeface lacks: write it in by hand."
        for sheet in sheets:
            sheet.write(note, (BESIDE_RULER, MARGIN + 13.0, width - MARGIN - BESIDE_RULER), 2.5, least=LEAST)
    return sheets


def _page(manifest: Manifest, width: float, height: float) -> Sheet:
    description = "Labels for the label ledges, to print at 100 % and cut out."
    return ruled_page("Labels", manifest.name, description, (width, height))


def _draw(sheet: Sheet, label: Label, box: Frame, *, turned: bool) -> None:
    """Draw a label in its box, with cut marks at its corners and its tray's place beside it."""
    x, y, across, down = box
    long, deep = label.long - 2.0 * _PAD, label.deep - 2.0 * _PAD
    lines = _lines(label.text, long, deep)
    inner = (x + _PAD, y + _PAD, across - 2.0 * _PAD, down - 2.0 * _PAD)
    sheet.shapes += block(lines, inner, align="middle", turned=turned)
    cut_marks(sheet, box)
    note = f"{label.place}; the ledge is longer" if label.cut else label.place
    if turned:
        sheet.write(note, (x + across + 0.6, y + down - _PAD, down - 2 * _PAD), _NOTE, least=LEAST, turned=True)
    else:
        sheet.write(note, (x + _PAD, y + down + 0.6, across - 2 * _PAD), _NOTE, least=LEAST)


def _lines(text: str, long: float, deep: float) -> list[tuple[str, float, bool]]:
    """Return the text as lines in the largest type that fits, or one line in the smallest, cut off with an ellipsis."""
    whole = plain(text).split()
    for size in _SIZES:
        lines = wrapped(text, long, size, bold=True)
        # compared by words, as a cut-off word differs
        if " ".join(lines).split() == whole and len(lines) * LINE * size <= deep:
            return [(line, size, True) for line in lines]
    size = min(LEAST, deep / LINE)
    line, size = fitted(text, long, size, least=size, bold=True)
    return [(line, size, True)] if line else []
