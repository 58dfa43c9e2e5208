"""What every jointed tray must be, by ways of its own: closed forms, sections and sweeps of the solids."""

from itertools import pairwise
from math import atan2, hypot, pi, sqrt, tan

import manifold3d

from worker.layout.tray.interior import tray_room
from worker.layout.tray.joints.jointed_tray import SplicedTray, jointed_tray
from worker.layout.tray.tray_builder import tray_shape
from worker.spec.drawer.tray import Tray

#: The drawing of a tab, mm: half its neck, its flank at 45 degrees, its reach; and the air around it.
HALF, LOCK, REACH, AIR = 3.0, 1.6, 2.5, 0.2


def jointed(fields, *, joint, beds, line_width=0.44, half_feet=False) -> SplicedTray | None:
    """Return a tray of these fields in pieces for beds of these sizes."""
    tray = Tray.model_validate({"name": "any", "height": 40.0, **fields})
    rules = {"joint": joint, "pitch": 42.0, "line_width": line_width, "pointer": "/trays/0"}
    shape = tray_shape(tray, half_feet=half_feet, **rules)
    ceiling = tray_room(tray, **rules).ceiling
    return jointed_tray(shape, joint=joint, line_width=line_width, ceiling=ceiling, beds=beds)


def placed(piece, mesh) -> manifold3d.Manifold:
    """Return a piece's solid where it is in the tray."""
    return mesh.manifold().translate((*piece.corner, 0.0))


def tab_air() -> float:
    """Return the area of air that one tab adds to a straight seam, mm2.

    Between a polyline and its mitred offset by d lies ``d L - d^2 sum(tan(turn / 2))``, turns away from the offset's
    side counted positive.
    """
    points = [(0.0, -9.0), (0.0, -HALF), (-LOCK, -HALF - LOCK), (-REACH, -HALF - LOCK)]
    points += [(x, -y) for x, y in reversed(points)]
    length = sum(hypot(x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in pairwise(points))
    ways = [atan2(y1 - y0, x1 - x0) for (x0, y0), (x1, y1) in pairwise(points)]
    turns = [(after - before + pi) % (2.0 * pi) - pi for before, after in pairwise(ways)]
    return AIR * (length - 18.0) - AIR * AIR * sum(tan(turn / 2.0) for turn in turns)


def sweep(lower: manifold3d.Manifold, upper: manifold3d.Manifold, heights) -> float:
    """Return the greatest area of a section of ``upper`` that has some of ``lower`` above it, mm2.

    Without any, ``upper`` can be lowered onto ``lower`` from above.
    """
    worst = 0.0
    for z in heights:
        above = lower.trim_by_plane((0.0, 0.0, 1.0), z)
        worst = max(worst, (upper.slice(z) ^ above.project()).area())
    return worst


def band(solid: manifold3d.Manifold, low: float, high: float) -> manifold3d.Manifold:
    """Return what of a solid lies between two heights."""
    return solid.trim_by_plane((0.0, 0.0, 1.0), low).trim_by_plane((0.0, 0.0, -1.0), -high)


def pulled(solid: manifold3d.Manifold, axis: str, by: float) -> manifold3d.Manifold:
    """Return a solid moved along an axis."""
    return solid.translate((by, 0.0, 0.0) if axis == "x" else (0.0, by, 0.0))


#: How far two pieces can be pulled apart before tabs with flanks at 45 degrees take hold.
TAB_PLAY = AIR * sqrt(2.0)
