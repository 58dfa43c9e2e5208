"""The words of a map: what its marks mean, the steps of assembly, and cautions."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from worker.output.sheet import LINE, Path, Text, fitted, wrapped
from worker.spec.manifest import DrawerEntry, Manifest

__all__ = ["LegendPage", "legend"]

#: Columns of the table: heading and share of the width.
_COLUMNS: Final = (("mark", 0.1), ("kind", 0.1), ("name", 0.44), ("pieces", 0.1), ("size, mm", 0.26))
_BODY: Final = 3.0
_SMALL: Final = 2.5
_HEAD: Final = 4.0

#: One line: its texts with their left ends as shares of the width, the size and the weight of the type.
_Row = tuple[tuple[tuple[float, str], ...], float, bool]


@dataclass(slots=True)
class LegendPage:
    """Lines of text from the top left corner down, and the height that they take."""

    height: float = 0.0
    texts: list[Text] = field(default_factory=list)

    def moved(self, x: float, y: float) -> list[Path | Text]:
        """Return the texts with the page's corner moved to ``x, y``."""
        return [replace(text, at=(text.at[0] + x, text.at[1] + y)) for text in self.texts]


def legend(
    manifest: Manifest, drawer: DrawerEntry, width: float, height: float | None, unit: float
) -> list[LegendPage]:
    """Return the legend in pages of this width, and of this height at most; ``unit`` is a mm of its text."""
    pages = [LegendPage()]
    for cells, size, bold in _rows(manifest, drawer, width / unit):
        high = 1.15 * LINE * size * unit
        if height is not None and pages[-1].height + high > height:
            pages.append(LegendPage())
        page = pages[-1]
        for share, text in cells:
            if text:
                page.texts.append(Text(text, (share * width, page.height), size * unit, bold))
        page.height += high
    return pages


def _rows(manifest: Manifest, drawer: DrawerEntry, width: float) -> Iterator[_Row]:
    yield _line("Pieces of one drawer", _HEAD, bold=True)
    yield _table([heading for heading, _ in _COLUMNS], width, bold=True)
    counts = Counter(one.mark for one in drawer.placements)
    for part in manifest.parts:
        if count := counts[part.mark]:
            size = " x ".join(f"{length:g}" for length in part.size)
            yield _table([part.mark, part.kind, part.name, str(count), size], width)
    yield _line("", _BODY)
    yield _line("Putting it together", _HEAD, bold=True)
    steps = (
        "1. Print the coupon first, if there is one, and find the clearance that fits.",
        "2. Lay the floor from the front left corner, tile by tile, along each seam; press in the keys, shown dark.",
        "3. Set the trays in, each at its mark; of a pile (with z, the height it stands at) the lowest first.",
    )
    for step in steps:
        yield from (_line(line, _BODY) for line in wrapped(step, width, _BODY))
    if manifest.cautions:
        yield _line("", _BODY)
        yield _line("Cautions", _HEAD, bold=True)
        for one in manifest.cautions:
            yield from (_line(line, _SMALL) for line in wrapped(f"{one.topic}: {one.text}", width, _SMALL))
    yield _line("", _BODY)
    note = "On paper, ? stands for a character that the typeface lacks; the SVG and the manifest have it."
    yield from (_line(line, _SMALL) for line in wrapped(note, width, _SMALL))


def _line(text: str, size: float, *, bold: bool = False) -> _Row:
    return ((0.0, text),), size, bold


def _table(texts: list[str], width: float, *, bold: bool = False) -> _Row:
    cells, start = [], 0.0
    for text, (_, share) in zip(texts, _COLUMNS, strict=True):
        cells.append((start, fitted(text, share * width - 1.0, _BODY, least=_BODY, bold=bold)[0]))
        start += share
    return tuple(cells), _BODY, bold
