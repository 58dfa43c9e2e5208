"""What panels hold: buckling, the press of end shoes, the push that bends or tips a panel, the pull of a splice.

Forces are estimates in N for PLA by handbook formulas (Gere and Goodno, Mechanics of Materials): nothing of it has been
measured. A half lap is left out of a strip's stiffness, as the other panel holds the strip there.
"""

from collections.abc import Sequence
from math import log, pi, sqrt
from typing import Final

from worker.layout.model.strength import PLA_MODULUS, PLA_YIELD, SHEAR_PEAK, SHEAR_YIELD
from worker.layout.panels.profile import TAB_HEAD, TAB_NECK, TAB_REACH, PanelProfile

__all__ = [
    "BEND",
    "buckling_load",
    "push_load",
    "splice_pull",
    "tipping_load",
    "wing_force",
    "wing_strain",
]

#: Sideways bend in mm for which the push at the middle of a panel is stated.
BEND: Final = 5.0

#: Friction of plastic on a drawer's painted or bare wood: 0.2 to 0.4 (from memory).
_FRICTION: Final = 0.25
_GRAVITY: Final = 9.80665
#: Density of PLA in g/mm3.
_DENSITY: Final = 1.24e-3


def second_moment(height: float, thickness: float) -> float:
    """Return the second moment of area of a strip about its upright axis, mm4."""
    return height * thickness**3 / 12.0


def buckling_load(span: float, height: float, thickness: float) -> float:
    """Return Euler's load in N of a strip along its length, ``pi^2 E I / L^2``, hinged at both ends of the span.

    Args:
        span: between two holds, mm.
        height: of the strip, mm.
        thickness: of the strip, mm.
    """
    return pi**2 * PLA_MODULUS * second_moment(height, thickness) / span**2


def push_load(span: float, height: float, thickness: float) -> float:
    """Return the push in N at the middle of a span that bends a strip by `BEND`: ``48 E I d / L^3``, ends hinged."""
    return 48.0 * PLA_MODULUS * second_moment(height, thickness) * BEND / span**3


def wing_force(height: float, thickness: float, length: float, bend: float) -> float:
    """Return the force in N of both wings of a shoe, bent at their tips: cantilevers, ``3 E I d / L^3`` each.

    Args:
        height: of the shoe, mm.
        thickness: of a wing, mm.
        length: of a wing, mm.
        bend: of its tip, mm.
    """
    return 2.0 * 3.0 * PLA_MODULUS * second_moment(height, thickness) * bend / length**3


def wing_strain(thickness: float, length: float, bend: float) -> float:
    """Return the greatest strain in a wing bent at its tip: ``3 t d / (2 L^2)``, a cantilever at its root."""
    return 3.0 * thickness * bend / (2.0 * length**2)


def splice_pull(tabs: int, thickness: float, profile: PanelProfile) -> float:
    """Return the pull in N that the tabs of a splice hold: the least of tension, bearing and shear.

    Tension in the necks; bearing of the flanks on what overlaps; shear in the sides of the heads.

    Args:
        tabs: their number.
        thickness: of the strips, mm.
        profile: of the panels.
    """
    overlap = TAB_HEAD - TAB_NECK - profile.air - profile.tab_play
    necks = 2.0 * TAB_NECK * thickness * PLA_YIELD
    bearing = 2.0 * overlap * thickness * PLA_YIELD
    shear = 2.0 * (TAB_REACH - (TAB_HEAD - TAB_NECK) / 2.0) * thickness
    return tabs * min(necks, bearing, shear * SHEAR_YIELD / SHEAR_PEAK)


def tipping_load(  # noqa: PLR0917 - a panel and what holds it
    length: float,
    height: float,
    thickness: float,
    shoes: Sequence[tuple[float, float]],
    press: float,
    feet: Sequence[float] = (),
) -> float:
    """Return the push in N at a panel's top edge that tips it about its bottom edge, held by shoes and feet alone.

    The wings' tips rub on the drawer's sides: half the press on each, at its distance from the bottom edge. The panel's
    own weight acts with the least reach of wings and feet as its arm: feet lift out of their sockets.

    Args:
        length: of the panel, mm.
        height: of the panel, mm.
        thickness: of the panel, mm.
        shoes: height of each and the distance of its wings' tips from the panel's middle, mm.
        press: force of a shoe on the drawer's side, N.
        feet: distance of the nearer edge of each foot from the panel's middle, mm.
    """
    reaches = [*(reach for _, reach in shoes), *feet]
    if not reaches:
        return 0.0
    rubbing = sum(_FRICTION * press * _mean_distance(reach, high) for high, reach in shoes)
    weight = length * height * thickness * _DENSITY / 1000.0 * _GRAVITY
    return (rubbing + weight * min(reaches)) / height


def _mean_distance(across: float, height: float) -> float:
    """Return the mean distance from a point to an upright line at ``across`` mm, from 0 to ``height`` mm.

    It is the integral of ``sqrt(a^2 + z^2)`` over the height.
    """
    far = sqrt(across**2 + height**2)
    return (height * far + across**2 * log((height + far) / across)) / (2.0 * height)
