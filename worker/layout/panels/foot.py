"""The foot: a clip whose base stands in a socket of the floor, so that the panel between its cheeks cannot slide."""

from itertools import pairwise
from math import floor

from worker.layout.model.shapes import ClipShape
from worker.layout.panels.profile import BASE, BASE_AIR, CLIP_LEAD, FOOT, LEAST_FOOT, PanelProfile
from worker.layout.panels.sockets import PanelSocket
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.joint import CORNER_RADIUS, FIRST_LAYER_RELIEF, LEAST_RADIUS, Joint, Levels

__all__ = ["foot_box", "foot_levels", "foot_reach", "panel_foot"]


def foot_levels(joint: Joint) -> Levels:
    """Return the levels of a foot, ``(inset, z)`` of its cell: those of a tray's foot, up to just below the panel."""
    top = joint.height - BASE_AIR
    levels: list[tuple[float, float]] = []
    for (inset, z), (other, above) in pairwise(joint.foot_levels()):
        levels.append((inset, z))
        if above >= top:
            levels.append((on_grid(inset + (other - inset) * (top - z) / (above - z)), on_grid(top)))
            break
    return tuple(levels)


def foot_reach(thickness: float, joint: Joint, profile: PanelProfile) -> float:
    """Return the least distance of a panel's middle from the edge of a cell in which its foot stands, mm."""
    return on_grid(_inset(joint) + FIRST_LAYER_RELIEF + profile.cheek + profile.air + thickness / 2.0)


def foot_box(socket: PanelSocket, joint: Joint) -> tuple[float, float, float, float] | None:
    """Return what a foot covers: where it begins and ends along its panel, and across it, mm; None without room.

    Its ends are clear of the socket's rounded corners.
    """
    length = min(FOOT, floor(socket.end - socket.start - 2.0 * CORNER_RADIUS))
    if length < LEAST_FOOT:
        return None
    inset = _inset(joint)
    return (
        on_grid(socket.middle - length / 2.0),
        on_grid(socket.middle + length / 2.0),
        on_grid(socket.low + inset),
        on_grid(socket.high - inset),
    )


def _inset(joint: Joint) -> float:
    """Return the inset of a foot at its widest, from the edge of its cell, mm."""
    return min(inset for inset, _ in foot_levels(joint))


def panel_foot(
    size: tuple[float, float], middle: float, strip: tuple[float, float], *, joint: Joint, profile: PanelProfile
) -> ClipShape:
    """Return a foot of a panel, in its own frame: x across the panel, y along it.

    Args:
        size: what it covers across the panel and along it, mm.
        middle: of the panel, from the foot's least x, mm.
        strip: thickness and height of the panel's strips, mm.
        joint: of the floor.
        profile: of the panels.
    """
    thickness, height = strip
    levels, least = foot_levels(joint), _inset(joint)
    slot = thickness / 2.0 + profile.air
    outer = slot + profile.cheek
    cheeks = tuple((on_grid(middle + low), on_grid(middle + high)) for low, high in ((-outer, -slot), (slot, outer)))
    return ClipShape(
        size=size,
        corner_radius=LEAST_RADIUS,
        levels=tuple((on_grid(inset - least), z) for inset, z in levels),
        cheeks=(cheeks[0], cheeks[1]),
        span=(FIRST_LAYER_RELIEF, on_grid(size[1] - FIRST_LAYER_RELIEF)),
        height=on_grid(profile.clip_height(height) - BASE + levels[-1][1]),
        lead=CLIP_LEAD,
    )
