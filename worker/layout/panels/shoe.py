"""The end shoe: what holds a panel's end upright at the drawer's side."""

from typing import Final

from worker.layout.model.shapes import Lettering, Point, Ring, ShoeShape
from worker.layout.panels.profile import CHEEK, HUB_MARGIN, TRAVEL, WINGS, PanelProfile
from worker.layout.panels.strength import wing_force
from worker.layout.tray.font import least_mark_cap
from worker.layout.tray.interior import on_grid
from worker.layout.tray.part_mark import MARK_DEPTH, text_size
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["end_shoe", "shoe_half", "shoe_mark", "shoe_sizes"]

#: Height of a low shoe, as a share of a full one's: it presses less with short wings.
_LOW_SHARE: Final = 0.4


def end_shoe(thickness: float, height: float, wings: tuple[float, float], profile: PanelProfile) -> ShoeShape:
    """Return a shoe in its own frame: x from the tips of its wings to the end of its cheeks, y across.

    Args:
        thickness: of the panel, mm.
        height: of the shoe, mm.
        wings: lengths of its wings towards lesser and greater y, mm; 0 for none.
        profile: of the panels.
    """
    return ShoeShape(
        _outline(thickness, wings, profile, 0.0), _outline(thickness, wings, profile, FIRST_LAYER_RELIEF), height
    )


def _outline(thickness: float, wings: tuple[float, float], profile: PanelProfile, relief: float) -> Ring:
    """Return the outline, counter-clockwise, its slot wider by ``relief`` on each side and at its end."""
    lower, upper = (_side(thickness, wing, profile, relief) for wing in wings)
    ring = [*upper, *((x, -y) for x, y in reversed(lower))]
    middle = shoe_half(thickness, wings[0], profile)
    return tuple((on_grid(x), on_grid(y + middle)) for x, y in ring)


def _side(thickness: float, wing: float, profile: PanelProfile, relief: float) -> list[Point]:
    """Return the side towards greater y, from the end of the slot to the hub, with the panel's middle at y 0."""
    hub, slot = profile.hub_half(thickness), thickness / 2.0 + profile.air
    wide, seat = on_grid(slot + profile.cheek), TRAVEL + profile.hub
    side = [(seat - relief, slot + relief), (seat + CHEEK, slot + relief), (seat + CHEEK, wide)]
    side += [(seat, wide), (seat, hub)] if hub > wide else []
    if wing:
        side += [(TRAVEL + profile.cheek, hub), (profile.cheek, hub + wing), (0.0, hub + wing)]
    return [*side, (TRAVEL, hub)]


def shoe_half(thickness: float, wing: float, profile: PanelProfile) -> float:
    """Return how far a shoe reaches from the middle of its panel to the side of a wing, mm."""
    return on_grid(profile.hub_half(thickness) + wing)


def shoe_sizes(height: float, press: float, most: float, profile: PanelProfile) -> list[tuple[float, float]]:
    """Return the lengths of wings and heights of shoes, mm, best first.

    Those come first that press hardest of those that press with at most ``most`` N; the softest is always among them.

    Args:
        height: of a full shoe, mm; others have half of it.
        press: distance by which it is pressed, mm.
        most: force in N that the panel bears along its length.
        profile: of the panels.
    """
    sizes = [(wing, on_grid(height * share)) for share in (1.0, _LOW_SHARE) for wing in WINGS]
    forces = {(wing, high): wing_force(high, profile.cheek, wing, press) for wing, high in sizes}
    # a full shoe holds better upright than a low one that presses as hard
    full = [size for size in sizes if size[1] == height and forces[size] <= most]
    low = [size for size in sizes if size[1] != height and forces[size] <= most]
    return [*full, *low] or [min(sizes, key=lambda size: forces[size])]


def shoe_mark(shape: ShoeShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark in the top of the hub; None if there is no room.

    Args:
        shape: the shoe without its mark.
        mark: the mark.
        line_width: width of a printed line, mm.
    """
    cap_height = least_mark_cap(line_width)
    width, depth = text_size(mark, cap_height)
    # the outline begins at the end of the slot
    seat = shape.outline[0][0]
    low, high = sorted(y for x, y in shape.outline if abs(x - TRAVEL) < LENGTH_EPSILON)
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    if depth > seat - TRAVEL - 2.0 * HUB_MARGIN + LENGTH_EPSILON or width > 2.0 * (half - HUB_MARGIN):
        return None
    # the text runs along y: along the hub's longer side
    return Lettering(mark, "top", (on_grid((TRAVEL + seat) / 2.0), on_grid(middle)), cap_height, MARK_DEPTH, turn=90.0)
