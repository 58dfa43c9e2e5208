"""A jointed tray in its drawer: where its pieces and seams are, and what they hold."""

from collections.abc import Sequence

from worker.layout.model.plan import JointedTray, TraySeam
from worker.layout.model.shapes import Placement
from worker.layout.tray.interior import on_grid
from worker.layout.tray.joints.hold import (
    FLOOR_PLAY,
    REFERENCE_LOAD,
    WALL_PLAY,
    Span,
    floor_pull,
    tray_sag,
    wall_pull,
    yield_load,
)
from worker.layout.tray.joints.jointed_tray import SplicedTray
from worker.layout.tray.joints.outlines import POINTS_OF_A_TAB

__all__ = ["joined"]


def joined(tray: SplicedTray, placements: Sequence[Placement], first: int) -> JointedTray:
    """Return a jointed tray as the plan has it.

    Args:
        tray: in pieces.
        placements: of its pieces, in the order in which they are joined.
        first: index of the first of them in the drawer's placements.
    """
    corner = placements[0]
    profile, shape = tray.profile, tray.shape
    seams = tuple(
        TraySeam(
            axis=line.axis,
            at=on_grid(corner.at[("x", "y").index(line.axis)] + line.at),
            tabs=(len(line.behind) - 2) // POINTS_OF_A_TAB,
            floor_pull=floor_pull((len(line.behind) - 2) // POINTS_OF_A_TAB, line.top, profile),
            wall_pull=wall_pull(line, profile),
        )
        for line in tray.splices
    )
    size = [halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves]
    spans = [
        (Span(shape, size[axis], size[1 - axis], tuple(line.at for line in tray.splices if line.axis == name)),
         min(seam.floor_pull for seam in seams if seam.axis == name))
        for axis, name in enumerate(("x", "y"))
        if any(line.axis == name for line in tray.splices)
    ]  # fmt: skip
    return JointedTray(
        name=corner.name or "",
        cell=corner.cell or (0.0, 0.0),
        z=corner.at[2],
        pieces=tuple(range(first, first + len(placements))),
        seams=seams,
        floor_play=FLOOR_PLAY,
        wall_play=WALL_PLAY,
        load=REFERENCE_LOAD,
        sag=max(tray_sag(span) for span, _ in spans),
        yields=min(yield_load(span, pull) for span, pull in spans),
    )
