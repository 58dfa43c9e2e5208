"""Lettering as a body of its own, to be printed in a second filament: it fills an engraving, or stands on its face."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import cast

from worker.layout.model.shapes import Face, Lettering, PieceShape, Shape, TrayShape
from worker.layout.tray.part_letterings import letterings_of
from worker.solids.engraving import text_rings
from worker.solids.features import letters_on_wall
from worker.solids.finish import finished
from worker.solids.kernel import build
from worker.solids.mesh import Builder, Mesh

__all__ = ["Inlay", "bare_of", "inlay_body", "inlays"]


@dataclass(frozen=True, slots=True)
class Inlay:
    """The letters of one lettering as a closed solid in the part's own frame, mm."""

    face: Face
    raised: bool
    mesh: Mesh


def inlays(shape: Shape, faces: Collection[Face]) -> tuple[Inlay, ...]:
    """Return the letters of a part on these faces.

    On level faces they have the very points of the engraving that a part is built with; elsewhere they differ from it
    by the rounding to the coordinate grid.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
        CheckFailed: when letters on a slope cannot be rounded without slivers.
    """
    return tuple(_inlays(shape, faces))


def inlay_body(parts: Collection[Inlay]) -> Mesh:
    """Return some letterings as one body: a mesh of several closed shells.

    Raises:
        ValueError: when there is none.
    """
    builder = Builder()
    for part in parts:
        points = builder.points(part.mesh.vertices)
        builder.faces(points[part.mesh.triangles])
    return builder.mesh()


def bare_of(shape: Shape, solid: Mesh, faces: Collection[Face]) -> Mesh:
    """Return a part's solid without its raised letters on these faces; ``solid`` is the part with all of them.

    Raises:
        CheckFailed: see `worker.solids.kernel.build`.
    """
    raised = [lettering for _, lettering in letterings_of(shape) if lettering.raised and lettering.face in faces]
    if not raised:
        return solid
    if isinstance(shape, PieceShape):
        return build(replace(shape, tray=_without(shape.tray, raised)))
    return build(_without(cast("TrayShape", shape), raised))  # only trays have raised letters


def _without(tray: TrayShape, letterings: Collection[Lettering]) -> TrayShape:
    return replace(tray, letterings=tuple(own for own in tray.letterings if own not in letterings))


def _inlays(shape: Shape, faces: Collection[Face]) -> Iterator[Inlay]:
    for own, lettering in letterings_of(shape):
        if lettering.face not in faces or not lettering.text.strip():
            continue
        if lettering.face in {"front", "ledge"}:
            tray = cast("TrayShape", own)
            mesh = finished(letters_on_wall(tray, lettering))
        else:
            mesh = _level(own, lettering)
        if own is not shape and isinstance(shape, PieceShape):
            corner = (*shape.corner, 0.0)
            mesh = _moved(mesh, corner)
        yield Inlay(lettering.face, lettering.raised, mesh)


def _level(shape: Shape, lettering: Lettering) -> Mesh:
    """Return letters on a level face: the rings of the engraving from its floor to its face, or on it when raised."""
    face = _height(shape, lettering)
    depth = lettering.depth if (lettering.face == "bottom") != lettering.raised else -lettering.depth
    low, high = sorted((face, face + depth))
    builder = Builder()
    rings = text_rings(lettering)
    lower, upper = ([builder.ring(ring, z) for ring in rings] for z in (low, high))
    for below, above in zip(lower, upper, strict=True):
        builder.strip(below, above)
    like = builder.fill(upper, up=True)
    builder.fill(lower, up=False, like=like)
    return builder.mesh()


def _height(shape: Shape, lettering: Lettering) -> float:
    """Return the z of a level face, mm."""
    if lettering.face == "bottom":
        return 0.0
    if isinstance(shape, TrayShape) and lettering.face == "floor":
        return shape.floor_level(lettering)
    return float(getattr(shape, "height"))  # noqa: B009 - of every shape with letters on its top


def _moved(mesh: Mesh, corner: tuple[float, float, float]) -> Mesh:
    """Return letters of a jointed tray in the frame of its piece, whose corner is given, mm."""
    return Mesh(mesh.vertices - corner, mesh.triangles)
