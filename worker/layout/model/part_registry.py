"""The part register: every part of a job by its shape, with its mark and quantity."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final, TypeVar

from worker.layout.model.fingerprint import fingerprint
from worker.layout.model.plan import PlanWarning
from worker.layout.model.shapes import KeyShape, Kind, Lettering, Part, Ring, Shape
from worker.spec.drawer.tray import Tray
from worker.spec.errors import LayoutError

#: Letters of marks by kind, in the order of parts. Coupon and plug share one: C1 is the plate, C2 the plug. So do end
#: shoes and clips, which hold panels.
LETTERS: Final[dict[Kind, str]] = {
    "tile": "F", "tray": "T", "key": "K", "coupon": "C", "plug": "C", "panel": "P", "shoe": "S", "clip": "S",
}  # fmt: skip

#: Kinds of parts that are made for the same printer: the floor and coupon, the trays and its plug, and the panels.
MADE_TOGETHER: Final[tuple[tuple[Kind, ...], ...]] = (
    ("tile", "key", "coupon"),
    ("tray", "plug"),
    ("panel", "shoe", "clip"),
)

#: Upper limit of the number in a mark, which has at most five digits.
_LAST: Final = 99_999

_ShapeT = TypeVar("_ShapeT", bound=Shape)
_Size = tuple[float, float, float]


class Register:
    """Assigns a mark to each new shape and counts repeated ones."""

    def __init__(self, marks: Mapping[str, str] | None = None, numbers: Mapping[str, int] | None = None) -> None:
        """Start without parts.

        Args:
            marks: marks of printed parts by fingerprint; the same shape gets the same mark.
            numbers: highest number used with each letter; new marks continue from there.
        """
        self._printed = dict(marks or {})
        self._marks: dict[Shape, str] = {}
        self._parts: dict[str, Part] = {}
        self._numbers: dict[str, int] = dict(numbers or {})
        self._warnings: dict[PlanWarning, None] = {}

    def enter(
        self,
        kind: Kind,
        name: str,
        shape: _ShapeT,
        size: _Size,
        *,
        count: int,
        room: Callable[[_ShapeT, str], Lettering | None] | None = None,
        pointer: str = "",
        tray: Tray | None = None,
        made_for: str | None = None,
    ) -> str:
        """Return the mark of a shape and add to its count.

        Args:
            kind: the kind of part.
            name: name of the part, if the shape is new.
            shape: the shape without its mark.
            size: bounding box ``(x, y, z)``, mm.
            count: number of pieces needed.
            room: returns a new shape with its mark engraved, or None if there is no room; None for shapes without.
            pointer: JSON Pointer for the warning that a mark has no room.
            tray: the tray that the shape was made from.
            made_for: the printer that it is made for, where it is not that of its kind.

        Raises:
            LayoutError: if the previous manifest has used up all marks.
        """
        mark = self._marks.get(shape)
        if mark is not None:
            part = self._parts[mark]
            self._parts[mark] = replace(part, quantity=part.quantity + count)
            return mark
        bare = fingerprint(shape)
        mark = self._marks[shape] = self._printed.get(bare) or self._next(LETTERS[kind])
        marked: Shape = shape
        if room is not None and not isinstance(shape, KeyShape):
            lettering = room(shape, mark)
            if lettering is None:
                self.warn_at(pointer, f"{mark} ({name}) has no room for its mark, so it is not engraved.")
            else:
                marked = replace(shape, letterings=(*shape.letterings, lettering))
        self._parts[mark] = Part(mark, kind, name, marked, size, count, bare, tray, made_for)
        return mark

    def _next(self, letter: str) -> str:
        number = self._numbers.get(letter, 0) + 1
        if number > _LAST:
            raise LayoutError(
                f"All marks with the letter {letter} are used up.",
                pointer="/previous/numbering",
                value=number - 1,
                limit=f"under {_LAST}",
                remedy="Submit the job without the previous manifest.",
            )
        self._numbers[letter] = number
        return f"{letter}{number}"

    def numbers(self) -> tuple[tuple[str, int], ...]:
        """Return the highest number ever used with each letter."""
        return tuple(sorted(self._numbers.items()))

    def parts(self) -> tuple[Part, ...]:
        """Return the parts in order of kind, then mark."""
        kinds = list(LETTERS)
        return tuple(sorted(self._parts.values(), key=lambda part: (kinds.index(part.kind), int(part.mark[1:]))))

    def warn(self, *warnings: PlanWarning) -> None:
        """Add warnings, without duplicates."""
        self._warnings.update(dict.fromkeys(warnings))

    def warn_at(self, pointer: str, message: str) -> None:
        """Add one warning."""
        self.warn(PlanWarning(pointer, message))

    def warnings(self) -> tuple[PlanWarning, ...]:
        """Return the warnings in the order they were added."""
        return tuple(self._warnings)


def box_of(outline: Ring, height: float) -> _Size:
    """Return the bounding box ``(x, y, z)`` of an outline that starts at 0, 0; all in mm."""
    return max(x for x, _ in outline), max(y for _, y in outline), height
