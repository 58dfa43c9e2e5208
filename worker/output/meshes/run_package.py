"""3MF files of print runs (Core Specification 1.4.0): each piece is a named object in its place on the bed."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from worker.output.meshes.opc_package import (
    CORE,
    attribute,
    base_materials,
    mesh_object,
    read_mesh,
    read_model,
    two_bodies,
    write_package,
)
from worker.solids.mesh import Mesh, bounds
from worker.spec.errors import CheckFailed
from worker.spec.manifest import Check
from worker.spec.printer.printer import Printer
from worker.spec.tolerances import CONTAINMENT_SLACK, FILE_SLACK

#: Decimals of a transform: the grid that runs are packed on.
_DECIMALS: Final = 6

_COLOUR: Final = re.compile(r"#[0-9A-Fa-f]{6}")

#: The first nine numbers of a transform, the images of the axes: as it stands, and a quarter turn counter-clockwise.
_TURNS: Final = {0: "1 0 0 0 1 0 0 0 1", 90: "0 1 0 -1 0 0 0 0 1"}


#: Colours of the bodies of a piece with lettering where the filaments have none.
_PLAIN_PART: Final = "#D9D9D9"
_PLAIN_LETTERING: Final = "#1C2422"

#: A part and its lettering.
_MOST_BODIES: Final = 2


@dataclass(frozen=True, slots=True)
class LetteringBody:
    """Lettering of a piece as a body in a second filament, in the frame of the piece's mesh."""

    mesh: Mesh = field(repr=False)
    material: str
    colour: str | None


@dataclass(frozen=True, slots=True)
class BedObject:
    """One piece on a bed: turned counter-clockwise about z by ``turn`` degrees, then moved to ``at``, standing on z 0.

    ``at`` is the front left corner of the turned piece's box, mm from the bed's front left corner. ``part_number`` is
    the piece's mark: objects of a mark share their meshes. ``colour`` is #RRGGBB (sRGB), ``material`` the filament.
    """

    mesh: Mesh = field(repr=False)
    name: str
    part_number: str
    colour: str | None
    at: tuple[float, float]
    turn: Literal[0, 90] = 0
    material: str = "filament"
    lettering: LetteringBody | None = None

    @property
    def bodies(self) -> tuple[Mesh, ...]:
        """The meshes of the piece: its own, and that of its lettering if it is a body of its own."""
        return (self.mesh,) if self.lettering is None else (self.mesh, self.lettering.mesh)

    @property
    def all_placed(self) -> tuple[NDArray[np.float64], ...]:
        """The vertices of each body on the bed, ``(n, 3) float64``, mm."""
        turned = [_turned(body, self.turn) for body in self.bodies]
        moved = np.array([*self.at, 0.0]) - bounds(turned[0])[0]
        return tuple(body + moved for body in turned)

    @property
    def placed(self) -> NDArray[np.float64]:
        """The vertices of the whole piece on the bed, ``(n, 3) float64``, mm."""
        return np.concatenate(self.all_placed)


def turned_vertices(mesh: Mesh, turn: Literal[0, 90]) -> NDArray[np.float64]:
    """Return vertices turned counter-clockwise about z and moved to the positive octant, ``(n, 3) float64``, mm."""
    turned = _turned(mesh, turn)
    moved: NDArray[np.float64] = turned - turned.min(axis=0)
    return moved


def _turned(mesh: Mesh, turn: Literal[0, 90]) -> NDArray[np.float64]:
    x, y, z = mesh.vertices.T
    turned: NDArray[np.float64] = np.column_stack([-y, x, z] if turn == 90 else [x, y, z])  # noqa: PLR2004
    return turned


def write_run(
    objects: Sequence[BedObject], *, title: str, metadata: Mapping[str, str], thumbnail: bytes | None = None
) -> bytes:
    """Return a run as a 3MF package, the same bytes for the same run.

    A mark with one piece is one object with a mesh. A mark with several pieces is one object with the mesh and, for
    each piece, an object with the piece's name whose only component is that object: readers show the names, and the
    mesh is written once.

    Args:
        objects: the pieces, in the order in which the file lists them; one mark has one mesh and one colour.
        title: the run's name, the metadata "Title".
        metadata: values by name, see `worker.output.meshes.opc_package.METADATA_NAMES`.
        thumbnail: a PNG picture of the bed.

    Raises:
        ValueError: when there is no object, when objects of one mark differ in mesh or colour, when a colour is not
            #RRGGBB, or when a metadata name is not in the core specification.
        CheckFailed: when a mesh has fewer than four triangles.
    """
    if not objects:
        raise ValueError("A run must have at least one piece.")
    palette = _palette(objects)
    bases = ((f"{material} {colour}", colour) for material, colour in palette)
    resources = [base_materials(bases)] if palette else []
    items: list[str] = []
    number = 1 if palette else 0
    marks: dict[str, list[BedObject]] = {}
    for piece in objects:
        marks.setdefault(piece.part_number, []).append(piece)
    shared: dict[str, int] = {}
    for mark, pieces in marks.items():
        if any(_meshes(piece) != _meshes(pieces[0]) or _tone(piece) != _tone(pieces[0]) for piece in pieces):
            raise ValueError(f"Pieces of {mark} differ in mesh or colour.")
        if len(pieces) > 1:
            number, resource = _object(number, mark, pieces[0], palette)
            shared[mark] = number
            resources.append(resource)
    for piece in objects:
        mark = piece.part_number
        if mark in shared:
            number += 1
            resources.append(
                f'<object id="{number}" type="model" name={attribute(piece.name)} partnumber={attribute(mark)}>\n'
                f'<components>\n<component objectid="{shared[mark]}"/>\n</components>\n</object>\n'
            )
        else:
            number, resource = _object(number, piece.name, piece, palette)
            resources.append(resource)
        items.append(f'<item objectid="{number}" transform="{_transform(piece)}" partnumber={attribute(mark)}/>\n')
    return write_package("".join(resources), "".join(items), {**metadata, "Title": title}, thumbnail)


@dataclass(frozen=True, slots=True)
class RunItem:
    """One build item of a run's file as read back: one body, or the part and its lettering.

    ``transform`` ``(4, 3) float64`` applies to row vectors: the images of the axes, then the translation, mm.
    """

    name: str
    part_number: str
    bodies: tuple[Mesh, ...] = field(repr=False)
    transform: NDArray[np.float64]

    @property
    def mesh(self) -> Mesh:
        """The piece without its lettering."""
        return self.bodies[0]

    @property
    def all_placed(self) -> tuple[NDArray[np.float64], ...]:
        """The vertices of each body on the bed, ``(n, 3) float64``, mm."""
        return tuple(body.vertices @ self.transform[:3] + self.transform[3] for body in self.bodies)

    @property
    def placed(self) -> NDArray[np.float64]:
        """The vertices of the whole piece on the bed, ``(n, 3) float64``, mm."""
        return np.concatenate(self.all_placed)


def read_run(data: bytes) -> list[RunItem]:
    """Return the build items of a file that `write_run` wrote, in the file's order.

    Raises:
        CheckFailed: when the package cannot be read or has another structure than `write_run` gives it.
    """
    model = read_model(data)
    # only the small rest without the meshes is parsed as XML
    head, *blocks = model.split(b"<mesh>")
    meshes = [read_mesh(block) for block in blocks]
    rest = b"".join([head, *(b"<mesh/>" + block.partition(b"</mesh>")[2] for block in blocks)])
    try:
        return _items(ET.fromstring(rest), meshes)  # noqa: S314 - expected_triangles, and without a DTD
    except (KeyError, IndexError, ValueError, StopIteration, ET.ParseError) as error:
        raise CheckFailed("The run's file has an unexpected structure.", value=str(error)) from error


def check_run(
    data: bytes,
    expected: Sequence[BedObject],
    printer: Printer,
    *,
    spacing: float = 0.0,
    subject: str | None = None,
) -> tuple[Check, ...]:
    """Return all checks of a run's file as read back, passed or not.

    `worker.output.checks.part_checks.require` raises the failed ones.

    Args:
        data: the file.
        expected: the pieces that `write_run` was called with.
        printer: the printer whose bed the pieces are on.
        spacing: the required distance between two pieces in x or in y, mm.
        subject: the subject of the checks, such as the file's name.
    """
    try:
        items = read_run(data)
    except CheckFailed as failure:
        limit = failure.limit or "the file can be read"
        return (Check(name="readable", passed=False, value=failure.message, limit=limit, subject=subject),)
    boxes = [bounds(item.placed) for item in items]
    gap = min((_gap(first, other) for first, other in combinations(boxes, 2)), default=None)
    named = [(item.name, item.part_number) for item in items] == [(item.name, item.part_number) for item in expected]
    deviation = max(map(_deviation, items, expected), default=0.0) if len(items) == len(expected) else None
    outside = [item.name for item, box in zip(items, boxes, strict=True) if not _on_bed(box, printer)]
    areas = [(*area.at, *area.size) for area in printer.forbidden]
    touching = [item.name for item, box in zip(items, boxes, strict=True) if any(_meets(box, area) for area in areas)]
    bed = " x ".join(f"{length:g}" for length in printer.bed)
    return (
        Check(
            name="pieces", passed=named, value=len(items), limit=f"the {len(expected)} planned pieces, in order",
            subject=subject,
        ),
        Check(
            name="places", passed=deviation is not None and deviation <= FILE_SLACK, value=_rounded(deviation),
            limit=f"every vertex at most {FILE_SLACK:g} mm from its planned position", subject=subject,
        ),
        Check(
            name="spacing", passed=gap is None or gap >= spacing - CONTAINMENT_SLACK, value=_rounded(gap),
            limit=f"at least {spacing:g} mm between two pieces in x or y, less {CONTAINMENT_SLACK:g} mm for rounding",
            subject=subject,
        ),
        Check(
            name="on bed", passed=not outside, value=", ".join(outside) or 0,
            limit=f"0 pieces outside the bed, {bed} mm less a margin of {printer.margin:g} mm, or above it",
            subject=subject,
        ),
        Check(
            name="forbidden", passed=not touching, value=", ".join(touching) or 0,
            limit=f"0 pieces over the bed's {len(areas)} forbidden areas", subject=subject,
        ),
    )  # fmt: skip


def _palette(objects: Sequence[BedObject]) -> dict[tuple[str, str], int]:
    """Return each pair of material and colour with its index, in the order of the pieces."""
    palette: dict[tuple[str, str], int] = {}
    for piece in objects:
        for colour in (piece.colour, None if piece.lettering is None else piece.lettering.colour):
            if colour is not None and not _COLOUR.fullmatch(colour):
                raise ValueError(f"{colour!r} is not a colour #RRGGBB.")
        for material, tone in _tone(piece):
            if tone is not None:
                palette.setdefault((material, tone), len(palette))
    return palette


def _tone(piece: BedObject) -> tuple[tuple[str, str | None], ...]:
    """Return material and colour of each body of a piece; of two bodies both have a colour, to be told apart."""
    own = piece.material, piece.colour and piece.colour.upper()
    body = piece.lettering
    if body is None:
        return (own,)
    second = body.material, (body.colour or _PLAIN_LETTERING).upper()
    return (own[0], own[1] or _PLAIN_PART), second


def _meshes(piece: BedObject) -> tuple[int, ...]:
    """Return the identities of the meshes of a piece."""
    return tuple(id(mesh) for mesh in piece.bodies)


def _object(number: int, name: str, piece: BedObject, palette: Mapping[tuple[str, str], int]) -> tuple[int, str]:
    """Return the object of a piece with its meshes, and its number: one more than ``number``, with two bodies three."""
    tones = [None if colour is None else palette[material, colour] for material, colour in _tone(piece)]
    if piece.lettering is None:
        return number + 1, mesh_object(number + 1, name, piece.mesh, tones[0], piece.part_number)
    head = f'type="model" name={attribute(name)} partnumber={attribute(piece.part_number)}'
    bodies = (
        mesh_object(number + 1, f"{name}, body", piece.mesh, tones[0]),
        mesh_object(number + 2, f"{name}, lettering", piece.lettering.mesh, tones[1]),
    )
    return number + 3, two_bodies(number + 3, head, bodies)


def _transform(piece: BedObject) -> str:
    """Return the transform of a piece, 12 numbers: the rows of the matrix, the translation last."""
    low, high = piece.mesh.bounds
    left, front = (-high[1], low[0]) if piece.turn == 90 else (low[0], low[1])  # noqa: PLR2004 - a quarter turn
    moved = (piece.at[0] - left, piece.at[1] - front, -low[2])
    return " ".join([_TURNS[piece.turn], *(_plain(float(length)) for length in moved)])


def _plain(number: float) -> str:
    return f"{round(number, _DECIMALS) + 0.0:.{_DECIMALS}f}".rstrip("0").rstrip(".")


def _items(tree: ET.Element, meshes: Sequence[Mesh]) -> list[RunItem]:
    left = iter(meshes)
    names: dict[str, str] = {}
    solids: dict[str, tuple[Mesh, ...]] = {}
    for element in tree.iter(f"{{{CORE}}}object"):
        number = element.attrib["id"]
        names[number] = element.attrib["name"]
        if element.find(f"{{{CORE}}}mesh") is not None:
            solids[number] = (next(left),)
            if not len(solids[number][0].vertices):
                raise ValueError(f"The object {names[number]!r} has no vertices.")
        else:
            components = element.iter(f"{{{CORE}}}component")
            solids[number] = tuple(mesh for each in components for mesh in solids[each.attrib["objectid"]])
            if not 1 <= len(solids[number]) <= _MOST_BODIES:
                raise ValueError(f"The object {names[number]!r} has {len(solids[number])} bodies.")
    items = []
    for item in tree.iter(f"{{{CORE}}}item"):
        number = item.attrib["objectid"]
        transform = np.array(item.attrib["transform"].split(), dtype=np.float64).reshape(4, 3)
        items.append(RunItem(names[number], item.attrib["partnumber"], solids[number], transform))
    return items


def _deviation(item: RunItem, expected: BedObject) -> float:
    """Return the greatest difference of a coordinate from its expected value, mm; infinite for another mesh."""
    if len(item.bodies) != len(expected.bodies):
        return float("inf")
    greatest = 0.0
    placed = zip(item.bodies, expected.bodies, item.all_placed, expected.all_placed, strict=True)
    for body, planned, vertices, planned_vertices in placed:
        expected_triangles, triangles = planned.triangles, body.triangles
        if expected_triangles.shape != triangles.shape or triangles.min() < 0 or triangles.max() >= len(body.vertices):
            return float("inf")
        alike = vertices.shape == planned_vertices.shape and np.array_equal(triangles, expected_triangles)
        moved = vertices - planned_vertices if alike else vertices[triangles] - planned_vertices[expected_triangles]
        greatest = max(greatest, float(np.abs(moved).max()))
    return greatest


_Box = tuple[NDArray[np.float64], NDArray[np.float64]]


def _gap(first: _Box, other: _Box) -> float:
    """Return the gap between two boxes in x or in y, whichever is larger, mm; negative where they overlap."""
    return float(np.maximum(first[0] - other[1], other[0] - first[1])[:2].max())


def _on_bed(box: _Box, printer: Printer) -> bool:
    low, high = box
    least, most = printer.margin - CONTAINMENT_SLACK, CONTAINMENT_SLACK - printer.margin
    return bool(
        (low[:2] >= least).all()
        and (high[:2] <= np.array(printer.bed[:2]) + most).all()
        and abs(low[2]) <= CONTAINMENT_SLACK
        and high[2] <= printer.bed[2] + CONTAINMENT_SLACK
    )


def _meets(box: _Box, area: tuple[float, float, float, float]) -> bool:
    (left, front), (width, depth) = area[:2], area[2:]
    (x0, y0), (x1, y1) = box[0][:2] + CONTAINMENT_SLACK, box[1][:2] - CONTAINMENT_SLACK
    return bool(x0 < left + width and left < x1 and y0 < front + depth and front < y1)


def _rounded(value: float | None) -> float | str | None:
    """Return the value of a check; JSON has no infinity."""
    if value is None:
        return None
    return round(value, _DECIMALS) if value != float("inf") else "another mesh"
