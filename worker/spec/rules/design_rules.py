"""Rules of what parts are made by: the joint, and the walls and floors of trays."""

from typing import TYPE_CHECKING, Final

from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_FOOT
from worker.spec.drawer.tray import Tray
from worker.spec.errors import JointError, SpecError, TrayError
from worker.spec.primitives.pydantic_errors import Refusals, Step
from worker.spec.tolerances import LENGTH_EPSILON, LINES_IN_A_WALL

if TYPE_CHECKING:
    from worker.spec.job import Spec

__all__ = ["check_design"]

_LAYERS_IN_A_FLOOR: Final = 2
#: Minimum straight edge in mm between the rounded corners of a half cell; without one, points of its rings coincide.
_STRAIGHT: Final = 0.5


def check_design(spec: "Spec", refusals: Refusals) -> None:
    """Check what depends on the lines and layers of the printer that the parts are made for."""
    _check_joint(spec, refusals)
    _check_trays(spec, refusals)


def _check_joint(spec: "Spec", refusals: Refusals) -> None:
    try:
        joint = spec.joint()
    except JointError as refused:
        steps = (refused.pointer or "").split("/")[1:]
        refusals.add(refused, *(int(step) if step.isdigit() else step for step in steps))
        return
    if spec.grid.half_cells and spec.grid.pitch < (least := 4.0 * CORNER_RADIUS + 2.0 * _STRAIGHT) - LENGTH_EPSILON:
        error = SpecError(
            "At this pitch a half cell is smaller than its rounded corners.",
            value=spec.grid.pitch, limit=f"at least {least:g} mm with half cells",
            remedy="Use a larger pitch, or no half cells.",
        )  # fmt: skip
        refusals.add(error, "grid", "pitch")
        return
    foot = spec.grid.pitch / (2.0 if spec.grid.half_cells else 1.0) - 2.0 * joint.foot_levels()[0][0]
    if foot < LEAST_FOOT - LENGTH_EPSILON:
        at: tuple[Step, ...] = ("grid", "pitch") if spec.grid.joint is None else ("grid", "joint", 0, 0)
        error = JointError(
            "The foot in a half cell is too narrow." if spec.grid.half_cells else
            "The foot is too narrow.",
            value=round(foot, 3), limit=f"a foot at least {LEAST_FOOT:g} mm wide at its bottom",
            remedy="Use a larger pitch or smaller insets.",
        )  # fmt: skip
        refusals.add(error, *at)


def _check_trays(spec: "Spec", refusals: Refusals) -> None:
    for drawer_index, tray_index, tray in spec.trays():
        at = ("drawers", drawer_index, "trays", tray_index)
        _check_tray(spec, tray, at, refusals)


def _check_tray(spec: "Spec", tray: Tray, at: tuple[Step, ...], refusals: Refusals) -> None:
    wall = LINES_IN_A_WALL * spec.line_width_of("tray")
    floor = _LAYERS_IN_A_FLOOR * spec.layer_of("tray")
    if tray.wall < wall - LENGTH_EPSILON:
        error = TrayError(
            f"The walls of {tray.name} are too thin.",
            value=tray.wall, limit=f"at least {wall:g} mm (two lines)", remedy="Make the walls thicker.",
        )  # fmt: skip
        refusals.add(error, *at, "wall")
    if tray.floor < floor - LENGTH_EPSILON:
        error = TrayError(
            f"The floor of {tray.name} is too thin.",
            value=tray.floor, limit=f"at least {floor:g} mm (two layers)", remedy="Make the floor thicker.",
        )  # fmt: skip
        refusals.add(error, *at, "floor")
    if spec.grid.half_cells:
        return
    for field, pair in (("cells", tray.cells), ("at", tray.at or ())):
        for axis, along in enumerate(pair):
            if along % 1.0:
                error = TrayError(
                    f"{tray.name} uses half cells, but the grid has none.",
                    value=along, limit="whole cells", remedy="Set grid.half_cells to true.",
                )  # fmt: skip
                refusals.add(error, *at, field, axis)
