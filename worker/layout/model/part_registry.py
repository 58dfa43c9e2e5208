"""The register: every part of a job by its shape, with its mark and how often it is needed."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final, TypeVar

from worker.layout.model.fingerprint import fingerprint
from worker.layout.model.plan import PlanWarning
from worker.layout.model.shapes import KeyShape, Kind, Lettering, Part, Ring, Shape
from worker.spec.drawer.tray import Tray
from worker.spec.errors import LayoutError

#: The letter of a kind's marks, in the order of parts. Coupon and plug share one: C1 is the plate, C2 the plug.
LETTERS: Final[dict[Kind, str]] = {"tile": "F", "tray": "T", "key": "K", "coupon": "C", "plug": "C"}

#: A mark has no more digits than five.
_LAST: Final = 99_999

_ShapeT = TypeVar("_ShapeT", bound=Shape)
_Size = tuple[float, float, float]


class Register:
    """Gives each new shape a mark, and counts the ones that it knows."""

    def __init__(self, marks: Mapping[str, str] | None = None, numbers: Mapping[str, int] | None = None) -> None:
        """Start with no part.

        Args:
            marks: the marks of what is printed already, by fingerprint: the same shape gets the same mark.
            numbers: the highest number that each letter was given: new marks go on from there.
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
    ) -> str:
        """Return the mark of a shape, and count it.

        Args:
            kind: the kind of part.
            name: what it is called, where it is new.
            shape: the shape without its mark.
            size: its box.
            count: how many are needed.
            room: gives a new shape its mark's lettering, or None where it has no room; left out, it needs none.
            pointer: JSON Pointer for the warning that a shape has no room.
            tray: what a tray's shape was made from.

        Raises:
            LayoutError: when the previous manifest has used up all marks.
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
        self._parts[mark] = Part(mark, kind, name, marked, size, count, bare, tray)
        return mark

    def _next(self, letter: str) -> str:
        number = self._numbers.get(letter, 0) + 1
        if number > _LAST:
            raise LayoutError(
                f"No mark with the letter {letter} is left.",
                pointer="/previous/numbering",
                value=number - 1,
                limit=f"under {_LAST}",
                remedy="Leave the previous manifest out.",
            )
        self._numbers[letter] = number
        return f"{letter}{number}"

    def numbers(self) -> tuple[tuple[str, int], ...]:
        """Return the highest number that each letter was ever given."""
        return tuple(sorted(self._numbers.items()))

    def parts(self) -> tuple[Part, ...]:
        """Return the parts in order of kind, then mark."""
        kinds = list(LETTERS)
        return tuple(sorted(self._parts.values(), key=lambda part: (kinds.index(part.kind), int(part.mark[1:]))))

    def warn(self, *warnings: PlanWarning) -> None:
        """Keep warnings, each once."""
        self._warnings.update(dict.fromkeys(warnings))

    def warn_at(self, pointer: str, message: str) -> None:
        """Keep one warning."""
        self.warn(PlanWarning(pointer, message))

    def warnings(self) -> tuple[PlanWarning, ...]:
        """Return the warnings in the order they came."""
        return tuple(self._warnings)


def box_of(outline: Ring, height: float) -> _Size:
    """Return the box of an outline that starts at 0, 0."""
    return max(x for x, _ in outline), max(y for _, y in outline), height
