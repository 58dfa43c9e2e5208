"""Checks of one part: its STL and 3MF file are read back and compared with what was planned and built."""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

import manifold3d
import numpy as np

from worker.layout.model.shapes import Lettering, Part, PieceShape, Shape, TrayShape
from worker.layout.tray.part_letterings import letterings_of
from worker.output.checks.intersections import intersecting_pairs
from worker.output.checks.lettering_checks import ExpectedInlay, lettering_checks
from worker.output.checks.printability import printability
from worker.output.checks.wall_thickness import REACH, Range, Widths, section_widths
from worker.output.meshes.stl import read_stl
from worker.output.meshes.threemf import read_3mf
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed
from worker.spec.manifest import Check, PrintabilityEntry
from worker.spec.printer.printer import Printer
from worker.spec.tolerances import (
    CONTAINMENT_SLACK,
    FILE_SLACK,
    LINES_IN_A_WALL,
    SLIVER_ALTITUDE,
    VOLUME_RATIO,
    WALL_SLACK,
)

#: Fewer triangles enclose nothing.
_LEAST_TRIANGLES: Final = 4

#: Decimals of a figure in a check.
_DECIMALS: Final = 4


@dataclass(frozen=True, slots=True)
class Expected:
    """The expected properties of a part's files.

    ``volume`` is that of the solid as built, in mm3; ``unmeasured`` are ranges of height in which walls are not
    measured; ``letterings`` are the part's texts, ``inlay`` those that the 3MF file has as a second body.
    """

    genus: int
    volume: float
    size: tuple[float, float, float]
    components: int = 1
    unmeasured: tuple[Range, ...] = ()
    letterings: tuple[Lettering, ...] = ()
    inlay: ExpectedInlay | None = None


@dataclass(frozen=True, slots=True)
class Inspection:
    """A part's checks, and its printability, which is empty when the files hold no solid."""

    checks: tuple[Check, ...]
    printability: tuple[PrintabilityEntry, ...] = ()


def expected_of(part: Part, solid: Mesh, genus: int) -> Expected:
    """Return what the files of a part must turn out to be, given its solid as built."""
    return Expected(
        genus,
        solid.volume,
        part.size,
        unmeasured=tuple(_unmeasured(part.shape)),
        letterings=tuple(lettering for _, lettering in letterings_of(part.shape)),
    )


def inspect(stl: bytes, threemf: bytes, expected: Expected, printer: Printer) -> Inspection:
    """Return every check of a part's two files and the part's printability; nothing raises, see `require`."""
    try:
        mesh, packed = read_stl(stl), read_3mf(threemf)
    except CheckFailed as failure:
        limit = failure.limit or "both files can be read"
        return Inspection((_check("readable", passed=False, value=failure.message, limit=limit),))
    triangles = min(len(mesh.triangles), *(len(packed_mesh.triangles) for packed_mesh in packed))
    if triangles < _LEAST_TRIANGLES:
        limit = f"at least {_LEAST_TRIANGLES} triangles in each file"
        return Inspection((_check("readable", passed=False, value=triangles, limit=limit),))
    count = 1 if expected.inlay is None else 2
    if len(packed) != count:
        return Inspection((_check("files", passed=False, value=len(packed), limit=f"{count} bodies in the 3MF file"),))
    gaps = open_edges(mesh) + sum(open_edges(body) for body in packed)
    solid = mesh.manifold() if gaps == 0 else None
    if solid is not None and solid.status() != manifold3d.Error.NoError:
        solid = None
    least = LINES_IN_A_WALL * printer.line_width - WALL_SLACK
    widths = None if solid is None else section_widths(mesh, solid, least, expected.unmeasured)
    checks = [*_mesh_checks(mesh, packed, expected, printer, gaps), *_kernel_checks(solid, widths, expected, least)]
    if expected.inlay is not None:
        checks += lettering_checks(mesh, packed, expected.inlay)
    if widths is None:
        return Inspection(tuple(checks))
    return Inspection(tuple(checks), printability(mesh, widths, printer, expected.letterings))


def require(checks: Iterable[Check], mark: str) -> None:
    """Raise the failed checks of a part, if there are any.

    Raises:
        CheckFailed: with the part's mark and the first failed check's name, value and limit; ``errors`` has the others.
    """
    failed = [check for check in checks if not check.passed]
    if failed:
        first, *rest = (
            CheckFailed(
                f"The check {check.name!r} failed" + (f" for {check.subject}." if check.subject else "."),
                part=mark, value=check.value, limit=check.limit,
            )
            for check in failed
        )  # fmt: skip
        first.errors = tuple(rest)
        raise first


def fits_bed(size: Sequence[float], printer: Printer) -> bool:
    """Return whether a box fits the bed, as it is or turned by 90 degrees, inside the margin and off forbidden areas.

    A box that fits anywhere also fits when pushed left and to the front against the margin or a forbidden area, so only
    such positions are tried. ``size`` is width, depth and height, mm.
    """
    width, depth, height = size[:3]
    if height > printer.bed[2] + CONTAINMENT_SLACK:
        return False
    return any(_fits_flat(across, deep, printer) for across, deep in ((width, depth), (depth, width)))


def open_edges(mesh: Mesh) -> int:
    """Return the number of directed edges without exactly one edge in the opposite direction.

    Zero means closed and oriented: every edge is shared by two triangles, which traverse it in opposite directions.
    """
    triangles = mesh.triangles.astype(np.int64)
    start, end = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    count = len(mesh.vertices)
    edges, opposite = np.sort(start * count + end), np.sort(end * count + start)
    if np.array_equal(edges, opposite) and bool((edges[1:] != edges[:-1]).all()):
        return 0
    distinct, times = np.unique(edges, return_counts=True)
    return int(times[(times != 1) | ~np.isin(distinct, opposite)].sum())


def _mesh_checks(
    mesh: Mesh, packed: Sequence[Mesh], expected: Expected, printer: Printer, gaps: int
) -> Iterator[Check]:
    if expected.inlay is None or not expected.inlay.raised:
        yield _same_points(mesh, packed[:1])
    yield _check(
        "closed", passed=gaps == 0, value=gaps, limit="0 edges not shared by exactly two triangles, in either file"
    )
    ratio = mesh.volume / expected.volume - 1.0
    yield _check(
        "volume", passed=mesh.volume > 0.0 and abs(ratio) <= VOLUME_RATIO, value=mesh.volume,
        limit=f"{expected.volume:.3f} mm3, the volume as built, within {VOLUME_RATIO:g} of it",
    )  # fmt: skip
    low, high = mesh.bounds
    deviation = float(max(np.abs(low).max(), np.abs(high - expected.size).max()))
    yield _check(
        "size", passed=deviation <= CONTAINMENT_SLACK, value=deviation,
        limit=f"a bounding box at most {CONTAINMENT_SLACK:g} mm off the planned one",
    )  # fmt: skip
    least = float(mesh.altitudes.min())
    yield _check(
        "slivers", passed=least >= SLIVER_ALTITUDE, value=least, limit=f"altitudes of at least {SLIVER_ALTITUDE:g} mm"
    )
    crossing = intersecting_pairs(mesh).shape[1]
    yield _check(
        "self-intersection",
        passed=crossing == 0,
        value=crossing,
        limit="0 pairs of intersecting triangles",
    )
    size = (high - low).tolist()
    yield _check(
        "bed", passed=fits_bed(size, printer), value=" x ".join(f"{length:.3f}" for length in size), limit=_bed(printer)
    )


def _kernel_checks(
    solid: manifold3d.Manifold | None, widths: Widths | None, expected: Expected, least: float
) -> Iterator[Check]:
    """Give the checks for which the kernel takes the mesh in again; ``solid`` is None where it does not."""
    pieces = len(solid.decompose()) if solid is not None else None
    yield _check(
        "components",
        passed=pieces == expected.components,
        value=pieces,
        limit=f"{expected.components} in the file as read back",
    )
    genus = solid.genus() if solid is not None else None
    yield _check("genus", passed=genus == expected.genus, value=genus, limit=f"{expected.genus} as read back")
    wall = None if widths is None else widths.wall
    yield _check(
        "wall", passed=wall is not None and wall >= least,
        value=f"over {REACH * least:.3g}" if wall == inf else wall,
        limit=f"at least {least + WALL_SLACK:g} mm ({LINES_IN_A_WALL} lines) less {WALL_SLACK:g} mm for rounding",
    )  # fmt: skip


def _same_points(mesh: Mesh, packed: Sequence[Mesh]) -> Check:
    """Return the check that both files hold the same triangles in the same order."""
    limit = f"one mesh in each file, with the same triangles within {FILE_SLACK:g} mm"
    if len(packed) != 1 or packed[0].triangles.shape != mesh.triangles.shape:
        return _check(
            "files", passed=False, value=sum(len(packed_mesh.triangles) for packed_mesh in packed), limit=limit
        )
    if packed[0].triangles.min() < 0 or packed[0].triangles.max() >= len(packed[0].vertices):
        return _check("files", passed=False, value="a triangle refers to a vertex that does not exist", limit=limit)
    apart = np.abs(packed[0].vertices[packed[0].triangles] - mesh.vertices[mesh.triangles]).max()
    return _check("files", passed=bool(apart <= FILE_SLACK), value=float(apart), limit=limit)


def _fits_flat(width: float, depth: float, printer: Printer) -> bool:
    margin, (across, deep, _) = printer.margin, printer.bed
    right, back = across - margin - width + CONTAINMENT_SLACK, deep - margin - depth + CONTAINMENT_SLACK
    areas = [(*area.at, *area.size) for area in printer.forbidden]
    xs = [margin, *(x + w for x, _, w, _ in areas)]
    ys = [margin, *(y + d for _, y, _, d in areas)]
    return any(
        margin <= x <= right
        and margin <= y <= back
        and not any(
            x + width > ax + CONTAINMENT_SLACK and ax + aw > x and y + depth > ay + CONTAINMENT_SLACK and ay + ad > y
            for ax, ay, aw, ad in areas
        )
        for x, y in itertools.product(xs, ys)
    )


def _bed(printer: Printer) -> str:
    text = " x ".join(f"{length:g}" for length in printer.bed) + f" mm with a margin of {printer.margin:g}"
    count = len(printer.forbidden)
    return text + (f", clear of {count} forbidden area{'s' if count > 1 else ''}" if count else "")


def _unmeasured(shape: Shape) -> Iterator[Range]:
    """Yield the ranges of height, mm, in which walls are not measured.

    Strokes of letterings are thinner than any wall, and so is the edge of a ledge's slope where it meets a slot.
    """
    for own, lettering in letterings_of(shape):
        yield _lettering_range(own, lettering)
    if isinstance(shape, PieceShape) and shape.tray.ledge is not None:
        for splice in (shape.left, shape.right):
            if splice is not None:
                yield splice.tongues[-1].top, shape.tray.ledge.top


def _lettering_range(shape: Shape, lettering: Lettering) -> Range:
    low, high = (0.0, lettering.depth) if lettering.raised else (-lettering.depth, 0.0)
    if lettering.face == "bottom" or isinstance(shape, PieceShape):  # a piece's own are on its bottom
        return 0.0, lettering.depth
    if lettering.face == "front":
        return lettering.at[1] - lettering.cap_height, lettering.at[
            1
        ] + lettering.cap_height  # with room for tails and accents
    if isinstance(shape, TrayShape) and lettering.face == "floor":
        level = shape.floor_level(lettering)
        return level + low, level + high
    if isinstance(shape, TrayShape) and lettering.face == "ledge" and shape.ledge is not None:
        return shape.ledge.top - shape.ledge.drop + low, shape.ledge.top + high
    return shape.height + low, shape.height + high


def _check(name: str, *, passed: bool, value: float | str | None, limit: str) -> Check:
    figure = round(value, _DECIMALS) if isinstance(value, float) else value
    return Check(name=name, passed=passed, value=figure, limit=limit)
