"""The letterings of a part, whatever its kind."""

from collections.abc import Iterator

from worker.layout.model.shapes import Lettering, PieceShape, Shape
from worker.layout.tray.part_mark import piece_ends

__all__ = ["letterings_of"]


def letterings_of(shape: Shape) -> Iterator[tuple[Shape, Lettering]]:
    """Yield the letterings of a part, each after the shape in whose frame it lies.

    A piece of a jointed tray has its own, and those of the tray that lie on it.
    """
    for lettering in getattr(shape, "letterings", ()):
        yield shape, lettering
    if isinstance(shape, PieceShape):
        ends = piece_ends(shape)
        for lettering in shape.tray.letterings:
            axes = (0, 1) if lettering.face == "floor" else (0,)
            middle = lettering.at[0], lettering.at[1]
            on_back = shape.back is None and lettering.face == "ledge"
            on_front = shape.front is None and lettering.face == "front"
            if (on_back or on_front or lettering.face == "floor") and all(
                ends[axis][0] < middle[axis] < ends[axis][1] for axis in axes
            ):
                yield shape.tray, lettering
