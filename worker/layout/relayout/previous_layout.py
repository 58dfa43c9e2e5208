"""The previous layout: the printed parts and trays of a previous manifest."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from worker.layout.drawer.outline import Outline
from worker.layout.model.part_registry import LETTERS
from worker.layout.model.shapes import Point
from worker.layout.placement.bay import Spot, half_cells
from worker.spec.drawer.tray import NO_RAMP, Tray
from worker.spec.errors import LayoutError
from worker.spec.manifest import ContentEntry, DrawerEntry, Manifest, PlacementEntry, PlanDocument, PlannedPart
from worker.spec.tolerances import COORDINATE_GRID

__all__ = ["Previous", "PrintedTray"]


@dataclass(frozen=True, slots=True)
class PrintedTray:
    """A printed tray: its part, placement, front left half cell and contents; of a jointed tray, its first piece.

    ``fingerprints`` are those of all its parts, in the order in which they are joined. ``on`` are the indices of the
    trays that carry it; manifests of earlier versions name none. ``on_panels`` is whether panels carry it.
    """

    part: PlannedPart
    index: int
    placement: PlacementEntry
    spot: Spot
    contents: tuple[ContentEntry, ...]
    fingerprints: tuple[str | None, ...]
    on: tuple[int, ...] = ()
    on_panels: bool = False

    @property
    def tray(self) -> Tray | None:
        """Its spec, with the name that it has in this position; None if the manifest has none.

        A tray is recorded with the ramp that it has; manifests of earlier versions name none where there is none.
        """
        tray, name = self.part.tray, self.placement.name
        if tray is None:
            return None
        ramp = tray.finger_ramp or NO_RAMP
        return tray.model_copy(update={"name": tray.name if name is None else name, "finger_ramp": ramp})

    @property
    def z(self) -> float:
        """Height above the drawer's bottom, in mm."""
        return self.placement.at[2]


@dataclass(frozen=True)
class Previous:
    """A previous manifest, or the plan document of a job that is not printed yet, or none.

    ``marks`` maps fingerprints of printed parts to marks, ``numbers`` letters to the highest number used.
    """

    document: Manifest | PlanDocument | None = None
    marks: Mapping[str, str] = field(default_factory=dict)
    numbers: Mapping[str, int] = field(default_factory=dict)

    @staticmethod
    def of(document: Manifest | PlanDocument | None) -> "Previous":
        """Return the parts of a document; those of a plan document are not printed, so their marks are free.

        Raises:
            LayoutError: if two parts of a manifest have the same mark, or a part has a mark of another kind.
        """
        if not isinstance(document, Manifest):
            return Previous(document)
        manifest = document
        marks: dict[str, str] = {}
        numbers: Counter[str] = Counter(manifest.numbering)
        seen: set[str] = set()
        for index, part in enumerate(manifest.parts):
            if part.mark in seen or part.mark[0] != LETTERS[part.kind]:
                raise LayoutError(
                    "Two parts of the previous manifest have the same mark." if part.mark in seen else
                    "A part of the previous manifest has the mark of another kind.",
                    pointer=f"/previous/parts/{index}/mark", value=part.mark,
                    limit=f"a unique mark with the letter {LETTERS[part.kind]}",
                    remedy="Send the manifest unchanged.",
                )  # fmt: skip
            seen.add(part.mark)
            if part.shape is not None:
                marks.setdefault(part.shape, part.mark)
        retired = () if manifest.changes is None else manifest.changes.retired
        for mark in (*seen, *(pieces.mark for pieces in retired)):
            numbers[mark[0]] = max(numbers[mark[0]], int(mark[1:]))
        return Previous(manifest, marks, dict(numbers))

    @property
    def manifest(self) -> Manifest | None:
        """The manifest, if there is one: its parts are printed."""
        return self.document if isinstance(self.document, Manifest) else None

    @cached_property
    def parts(self) -> Mapping[str, PlannedPart]:
        """The parts by mark."""
        return {part.mark: part for part in (() if self.document is None else self.document.parts)}

    def trays(self, drawer: str) -> tuple[PrintedTray, ...]:
        """Return the printed trays of the drawer with this name, in the manifest's order."""
        return tuple(printed for entry in self._drawers(drawer) for printed in self._trays(entry))

    def as_printed(self, drawer: str, outline: Outline) -> DrawerEntry | None:
        """Return the printed drawer with this name; None if there is none, or if it has another outline or height."""
        entry = next(iter(() if self.manifest is None else self._drawers(drawer)), None)
        if entry is None or [len(ring) for ring in entry.outline] != [len(ring) for ring in outline.rings]:
            return None
        before, now = ((*size, *_coordinates(rings)) for size, rings in (
            (entry.size, entry.outline), (outline.size, outline.rings)
        ))  # fmt: skip
        same = all(abs(old - new) <= COORDINATE_GRID for old, new in zip(before, now, strict=True))
        return entry if same else None

    def _drawers(self, name: str) -> Sequence[DrawerEntry]:
        return [] if self.document is None else [entry for entry in self.document.drawers if entry.name == name][:1]

    def _trays(self, drawer: DrawerEntry) -> Iterator[PrintedTray]:
        pieces = {tray.pieces[0]: tray.pieces for tray in drawer.jointed}
        on = {upper.placement: upper.on for upper in drawer.upper}
        on_panels = {upper.placement for upper in drawer.upper if upper.panels}
        others = {index for tray in drawer.jointed for index in tray.pieces[1:]}
        for index, placement in enumerate(drawer.placements):
            part = self.parts.get(placement.mark)
            if index in others or part is None or part.kind != "tray" or part.tray is None or placement.cell is None:
                continue
            contents = tuple(content for content in drawer.contents if content.placement == index)
            marks = [drawer.placements[number].mark for number in pieces.get(index, (index,))]
            shapes = tuple(None if mark not in self.parts else self.parts[mark].shape for mark in marks)
            spot = half_cells(placement.cell)
            yield PrintedTray(part, index, placement, spot, contents, shapes, on.get(index, ()), index in on_panels)


def _coordinates(rings: Iterable[Iterable[Point]]) -> Iterator[float]:
    for ring in rings:
        for point in ring:
            yield from point
