"""Other pitches: sides of cells that cover more of a drawer than those at hand."""

from typing import Final

from worker.layout.drawer.outline import Area

__all__ = ["other_pitches"]

#: No pitch differs from the one at hand by more than this share of it: things were sized for cells of about this side.
_NEAR: Final = 0.3

#: Pitches are multiples of this, in mm: what a person would write.
_STEP: Final = 0.5


def other_pitches(usable: Area, pitch: float, *, half_cells: bool) -> tuple[float, ...]:
    """Return the pitches near one that cover most of the rectangle around an area, the best first.

    Args:
        usable: the area, coordinates in mm.
        pitch: the one at hand, in mm; it is not among those returned, nor is what covers no more than it.
        half_cells: whether half cells fill what whole cells leave.
    """
    left, front, right, back = usable.bounds
    sides = right - left, back - front

    def covered(side: float) -> float:
        cell = side / 2.0 if half_cells else side
        across, deep = (along // cell * cell for along in sides)
        return float(across * deep)

    filled = {
        side / count // _STEP * _STEP
        for side in sides
        for count in range(1, int(max(sides) / (pitch * (1.0 - _NEAR))) + 1)
    }
    near = [other for other in filled if abs(other - pitch) <= _NEAR * pitch and covered(other) > covered(pitch)]
    return tuple(sorted(near, key=lambda other: (-covered(other), abs(other - pitch))))
