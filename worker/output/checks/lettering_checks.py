"""Checks of lettering that is a body of its own: it is closed, fills its engraving, and does not overlap its part."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Self

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import Shape
from worker.layout.tray.part_letterings import letterings_of
from worker.solids.inlay import Inlay
from worker.solids.lettering import cross_section
from worker.solids.mesh import Mesh
from worker.spec.manifest import Check
from worker.spec.tolerances import FILE_SLACK, ROUNDING_DEPTH, VOLUME_RATIO

__all__ = ["ExpectedInlay", "lettering_checks"]

#: Decimals of a figure in a check.
_DECIMALS: Final = 4

#: Relative difference of letters from outlines times depth: on a slope they are rounded to the coordinate grid.
_SLOPE_RATIO: Final = 5e-3


@dataclass(frozen=True, slots=True)
class ExpectedInlay:
    """The expected lettering of a part.

    Attributes:
        letters: the volume of the letters, mm3: the area of their outlines times their depth.
        bare: the volume of the part as built, without raised letters, mm3.
        low: least corner of the letters' bounding box, ``(3,) float64``, mm.
        high: greatest corner.
        raised: whether some letters are raised, so that the STL file has more than the part's body.
    """

    letters: float
    bare: float
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    raised: bool = False

    @classmethod
    def of(cls, shape: Shape, letters: Sequence[Inlay], bare: float) -> Self:
        """Return what the bodies of a part must be, given its letters and the volume of the rest as built, mm3."""
        faces = {inlay.face for inlay in letters}
        volume = sum(
            cross_section(lettering).area() * lettering.depth
            for _, lettering in letterings_of(shape)
            if lettering.face in faces
        )
        bounds = [inlay.mesh.bounds for inlay in letters]
        low = np.min([ends[0] for ends in bounds], axis=0)
        high = np.max([ends[1] for ends in bounds], axis=0)
        return cls(float(volume), bare, low, high, any(inlay.raised for inlay in letters))


def lettering_checks(stl: Mesh, packed: Sequence[Mesh], expected: ExpectedInlay) -> Iterator[Check]:
    """Yield the checks of a part's two bodies, as its 3MF file has them, against its STL file, which has one.

    An engraving is filled, so the part's body is that of the STL; raised letters are taken off it.
    """
    body, letters = (mesh.manifold() for mesh in packed)
    sound = all(solid.status() == manifold3d.Error.NoError for solid in (body, letters))
    yield _check("bodies closed", passed=sound, value=sound, limit="both bodies are closed solids")
    if not sound:
        return
    slack = ROUNDING_DEPTH * packed[1].area
    shared = float((body ^ letters).volume())
    yield _check("bodies apart", passed=shared <= slack, value=shared, limit=f"at most {slack:.4f} mm3 in common")
    sizes = packed[0].volume, packed[1].volume
    near = (
        abs(sizes[0] / expected.bare - 1.0) <= VOLUME_RATIO and abs(sizes[1] / expected.letters - 1.0) <= _SLOPE_RATIO
    )
    yield _check(
        "bodies volume", passed=near, value=f"{sizes[0]:.3f} + {sizes[1]:.3f} mm3",
        limit=f"{expected.bare:.3f} + {expected.letters:.3f} mm3: as built, and outlines times depth",
    )  # fmt: skip
    rest = abs(float((body + letters).volume()) - sum(sizes))
    yield _check("bodies whole", passed=rest <= slack, value=rest, limit=f"the sum is the whole within {slack:.4f} mm3")
    low, high = packed[1].bounds
    off = float(max(np.abs(low - expected.low).max(), np.abs(high - expected.high).max()))
    yield _check("lettering", passed=off <= FILE_SLACK, value=off, limit=f"at most {FILE_SLACK:g} mm off its place")
    outside = float(letters.volume() - (letters ^ stl.manifold().hull()).volume())
    yield _check("lettering inside", passed=outside <= slack, value=outside, limit="0 mm3 outside the part's hull")


def _check(name: str, *, passed: bool, value: float | str | bool, limit: str) -> Check:
    figure = round(value, _DECIMALS) if isinstance(value, float) else value
    return Check(name=name, passed=passed, value=figure, limit=limit)
