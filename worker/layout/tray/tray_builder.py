"""The tray builder: turns the spec of a tray into the shape of a part, and checks its features against each other."""

from worker.layout.model.shapes import TrayShape
from worker.layout.tray.dividers import tray_walls
from worker.layout.tray.grip_lips import tray_grips
from worker.layout.tray.interior import on_grid, toe_run, tray_room
from worker.layout.tray.magnets import tray_magnets
from worker.layout.tray.pockets.tray_pockets import pocket_letterings, tray_pockets
from worker.layout.tray.pockets.wells import tray_wells
from worker.layout.tray.ramp_and_ledge import tray_ledge, tray_ramp
from worker.layout.tray.text import tray_letterings
from worker.spec.drawer.joint import CORNER_RADIUS, Joint
from worker.spec.drawer.tray import Tray


def tray_shape(
    tray: Tray, *, joint: Joint, pitch: float, line_width: float, half_feet: bool, pointer: str
) -> TrayShape:
    """Return the shape of a tray.

    Args:
        tray: the tray as in the spec.
        joint: joint of the grid.
        pitch: side of a cell, mm.
        line_width: width of a printed line, mm.
        half_feet: whether it stands on half feet, as a tray with half a cell in its size always does.
        pointer: JSON Pointer of the tray.

    Raises:
        TrayError: if the tray cannot be made; the message names the tray, the pointer the field.
    """
    halves = (round(2.0 * tray.cells[0]), round(2.0 * tray.cells[1]))
    on_halves = half_feet or any(along % 2 for along in halves)
    levels = joint.foot_levels()
    room = tray_room(tray, joint=joint, pitch=pitch, line_width=line_width, pointer=pointer)
    fill_top, pockets = tray_pockets(room)
    wells = tray_wells(room, pockets, fill_top, joint=joint, pitch=pitch, half_feet=on_halves)
    walls = tray_walls(room)
    ledge = tray_ledge(room, walls)
    ramp = tray_ramp(room, walls, ledge)
    grips = tray_grips(room, walls, ramp, ledge, pockets, fill_top)
    return TrayShape(
        halves=halves,
        half_feet=on_halves,
        pitch=pitch,
        inset=joint.body_inset,
        foot_levels=levels,
        rim_levels=joint.rim_levels(tray.height - joint.height, toe_run(tray.wall, joint))
        if tray.rim == "stacking"
        else None,
        corner_radius=CORNER_RADIUS,
        height=tray.height,
        wall=tray.wall,
        floor_top=room.floor_top,
        fill_top=fill_top,
        walls=walls,
        ramp=ramp,
        ledge=ledge,
        magnets=tray_magnets(room, levels, pitch=pitch, half_feet=on_halves),
        pockets=pockets,
        letterings=(*tray_letterings(room, walls, ramp, ledge), *pocket_letterings(room)),
        wells=wells,
        grips=grips,
    )


def tray_size(shape: TrayShape) -> tuple[float, float, float]:
    """Return the bounding box ``(x, y, z)`` of a tray, in mm."""
    across, back = (on_grid(halves * shape.pitch / 2.0 - 2.0 * shape.inset) for halves in shape.halves)
    return across, back, shape.height
