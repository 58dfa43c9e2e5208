"""What the splices of a jointed tray hold: pull, play, and the sag of a tray that is carried by its ends.

Forces are estimates for PLA at the nominal gap, before it yields: nothing of it has been measured. Formulas are those
of beams and of mean stresses (Gere and Goodno, Mechanics of Materials), corners are taken without notch effect,
friction and the spread of flanks at 45 degrees are left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

from worker.layout.model.shapes import Splice, TrayShape
from worker.layout.model.strength import PLA_MODULUS, PLA_YIELD, SHEAR_PEAK, SHEAR_YIELD
from worker.layout.tray.joints.profile import AIR, TAB_HALF, TAB_HEAD, TAB_LOCK, TAB_REACH, Profile

__all__ = [
    "FLOOR_PLAY",
    "REFERENCE_LOAD",
    "WALL_PLAY",
    "beam_sag",
    "chain_sag",
    "floor_pull",
    "tray_sag",
    "wall_pull",
    "yield_load",
]

#: How far two pieces can be pulled apart before tabs and tongues take hold, mm.
FLOOR_PLAY: Final = AIR * sqrt(2.0)
WALL_PLAY: Final = AIR

#: Load for which the sag is stated, kg, spread evenly.
REFERENCE_LOAD: Final = 2.0

#: Standard acceleration of free fall, m/s2 (ISO 80000-3).
_GRAVITY: Final = 9.80665
#: Lines that run along each side of a neck, and the height of solid layers below and above the infill, mm.
_LINES_BESIDE: Final = 2
_SOLID_LAYERS: Final = 2.0


def floor_pull(tabs: int, top: float, profile: Profile) -> float:
    """Return the pull in N across a seam that its tabs hold.

    The least of: tension in the necks, of which only the lines along their sides and the solid layers count; bearing
    of the flanks; shear in the lips of the recesses and in the sides of the heads.

    Args:
        tabs: their number.
        top: height of the tabs, mm.
        profile: of the splice.
    """
    beside = min(2.0 * _LINES_BESIDE * profile.line, 2.0 * TAB_HALF)
    solid = beside * top + (2.0 * TAB_HALF - beside) * min(_SOLID_LAYERS, top)
    mouth = TAB_HALF + AIR + AIR * sqrt(2.0)
    bearing = 2.0 * (TAB_HEAD - mouth) * top * PLA_YIELD
    shear = 2.0 * min(TAB_LOCK - AIR, TAB_REACH) * top * SHEAR_YIELD / SHEAR_PEAK
    return tabs * min(solid * PLA_YIELD, bearing, shear)


def wall_pull(splice: Splice, profile: Profile) -> float:
    """Return the pull in N across a seam that the tongues in its walls hold.

    The least of: tension in the necks; bearing of the shoulders; shear and bending in the lips of the slots and in both
    sides of the heads, as cantilevers that carry half the pull in the middle of what overlaps.
    """
    overlap = profile.lock - AIR
    arm = overlap / 2.0 + AIR
    thick = profile.neck
    beam = 2.0 * min(PLA_YIELD * thick * thick / (6.0 * arm), SHEAR_YIELD * thick / SHEAR_PEAK)
    held = min(profile.neck * PLA_YIELD, 2.0 * overlap * PLA_YIELD, beam)
    return sum(held * max(tongue.top - tongue.low - profile.reach, 0.0) for tongue in splice.tongues)


def hinge(shape: TrayShape) -> float:
    """Return the angle in radians by which a seam opens before it holds: tabs drawn tight below, edges closed above."""
    return (FLOOR_PLAY + AIR) / _arm(shape)


def chain_sag(length: float, seams: Sequence[float], angle: float) -> float:
    """Return the sag in mm of a chain of rigid pieces, carried by its ends, that turns by an angle at each seam.

    An angle ``a`` at ``x`` lowers the point ``y`` by ``a min(x, y) (L - max(x, y)) / L``.

    Args:
        length: of the chain, mm.
        seams: their places along it, mm.
        angle: in radians.
    """
    return max(
        (sum(angle * min(x, y) * (length - max(x, y)) / length for x in seams) for y in seams),
        default=0.0,
    )


def beam_sag(load: float, length: float, modulus: float, second_moment: float) -> float:
    """Return the sag in mm at the middle of a beam carried by its ends: ``5 W L^3 / (384 E I)``.

    Args:
        load: spread evenly, N.
        length: between the supports, mm.
        modulus: Young's, MPa.
        second_moment: of its section, mm4.
    """
    return 5.0 * load * length**3 / (384.0 * modulus * second_moment)


def second_moment(width: float, height: float, floor: float, wall: float) -> float:
    """Return the second moment of area in mm4 of a floor with two walls, about its level axis (parallel axes)."""
    parts = ((width, floor, floor / 2.0), (2.0 * wall, height - floor, floor + (height - floor) / 2.0))
    areas = [broad * tall for broad, tall, _ in parts]
    middle = sum(area * at for area, (_, _, at) in zip(areas, parts, strict=True)) / sum(areas)
    return sum(
        broad * tall**3 / 12.0 + area * (at - middle) ** 2 for area, (broad, tall, at) in zip(areas, parts, strict=True)
    )


@dataclass(frozen=True, slots=True)
class Span:
    """A jointed tray along one axis, carried by its ends: its length and width, and its seams; mm."""

    shape: TrayShape
    length: float
    width: float
    seams: tuple[float, ...]


def tray_sag(span: Span) -> float:
    """Return the sag in mm under `REFERENCE_LOAD`: of the play in the seams, and of the plastic as a beam."""
    shape = span.shape
    moment = second_moment(
        span.width, shape.height - shape.foot_levels[-1][1], shape.floor_top - shape.foot_levels[-1][1], shape.wall
    )
    bent = beam_sag(REFERENCE_LOAD * _GRAVITY, span.length, PLA_MODULUS, moment)
    return chain_sag(span.length, span.seams, hinge(shape)) + bent


def yield_load(span: Span, pull: float) -> float:
    """Return the load in kg, spread evenly, under which the weakest seam would yield.

    At ``x`` the moment of a load ``W`` is ``W x (L - x) / (2 L)``; the tabs take it with the height above them as arm.

    Args:
        span: the tray, carried by its ends.
        pull: that the tabs of a seam hold, N.
    """
    arms = [x * (span.length - x) / (2.0 * span.length) for x in span.seams]
    return pull * _arm(span.shape) / (max(arms) * _GRAVITY)


def _arm(shape: TrayShape) -> float:
    """Return the height from the middle of the tabs to the tray's top, mm."""
    return shape.height - shape.fill_top / 2.0
