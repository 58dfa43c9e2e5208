"""The end shoe: what holds a panel's end upright at the drawer's side."""

from typing import Final

from worker.layout.model.shapes import Lettering, Point, Ring, ShoeShape
from worker.layout.panels.profile import CHEEK, HUB, TRAVEL, WINGS, PanelProfile
from worker.layout.panels.strength import wing_force
from worker.layout.tray.font import least_mark_cap
from worker.layout.tray.interior import on_grid
from worker.layout.tray.part_mark import MARK_DEPTH, text_size
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF

__all__ = ["end_shoe", "shoe_half", "shoe_mark", "wing_lengths"]

#: Plastic between a mark and the edges of the hub, mm.
_CLEAR: Final = 0.4


def end_shoe(thickness: float, height: float, wing: float, profile: PanelProfile) -> ShoeShape:
    """Return a shoe in its own frame: x from the tips of its wings to the end of its cheeks, y across.

    Args:
        thickness: of the panel, mm.
        height: of the shoe, mm.
        wing: length of a wing, mm.
        profile: of the panels.
    """
    return ShoeShape(
        _outline(thickness, wing, profile, 0.0), _outline(thickness, wing, profile, FIRST_LAYER_RELIEF), height
    )


def _outline(thickness: float, wing: float, profile: PanelProfile, relief: float) -> Ring:
    """Return the outline, counter-clockwise, its slot wider by ``relief`` on each side and at its end."""
    hub, slot = profile.hub_half(thickness), thickness / 2.0 + profile.air
    wide, seat = slot + profile.cheek, TRAVEL + HUB
    half: tuple[Point, ...] = (
        (seat - relief, slot + relief),
        (seat + CHEEK, slot + relief),
        (seat + CHEEK, wide),
        *(((seat, wide),) if hub > wide else ()),
        *(((seat, hub),) if hub > wide else ()),
        (TRAVEL + profile.cheek, hub),
        (profile.cheek, hub + wing),
        (0.0, hub + wing),
        (TRAVEL, hub),
    )
    ring = [*half, *((x, -y) for x, y in reversed(half))]
    middle = hub + wing
    return tuple((on_grid(x), on_grid(y + middle)) for x, y in ring)


def shoe_half(thickness: float, wing: float, profile: PanelProfile) -> float:
    """Return half the width of a shoe across its panel, mm."""
    return on_grid(profile.hub_half(thickness) + wing)


def wing_lengths(height: float, press: float, most: float, profile: PanelProfile) -> list[float]:
    """Return the lengths of wings, mm, best first: those that press with at most ``most`` N, the stiffest first.

    Args:
        height: of the shoe, mm.
        press: distance by which it is pressed, mm.
        most: force in N that the panel bears along its length.
        profile: of the panels.
    """
    soft = [length for length in WINGS if wing_force(height, profile.cheek, length, press) <= most]
    return soft or [WINGS[-1]]


def shoe_mark(shape: ShoeShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark in the top of the hub; None if there is no room.

    Args:
        shape: the shoe without its mark.
        mark: the mark.
        line_width: width of a printed line, mm.
    """
    cap_height = least_mark_cap(line_width)
    width, depth = text_size(mark, cap_height)
    middle = max(y for _, y in shape.outline) / 2.0
    hub = max(y for x, y in shape.outline if x >= TRAVEL + HUB - 1e-6) - middle
    if depth > HUB - 2.0 * _CLEAR or width > 2.0 * (hub - _CLEAR):
        return None
    # the text runs along y: along the hub's longer side
    return Lettering(mark, "top", (on_grid(TRAVEL + HUB / 2.0), on_grid(middle)), cap_height, MARK_DEPTH, turn=90.0)
