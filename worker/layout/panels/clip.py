"""The clip: a base with two cheeks that holds a panel from below, under a splice."""

from worker.layout.model.shapes import ClipShape, Lettering
from worker.layout.panels.profile import BASE, CLIP, CLIP_LEAD, CLIP_WIDTHS, PanelProfile
from worker.layout.tray.font import least_mark_cap
from worker.layout.tray.interior import on_grid
from worker.layout.tray.part_mark import CAP_HEIGHTS, MARK_DEPTH, text_size
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF, LEAST_RADIUS

__all__ = ["clip_mark", "clip_widths", "splice_clip"]

_CLEAR = 1.5


def clip_widths(thickness: float, profile: PanelProfile) -> tuple[float, ...]:
    """Return the widths of a clip's base, mm, the widest first; the last has the cheeks alone."""
    return (*CLIP_WIDTHS, on_grid(thickness + 2.0 * (profile.air + profile.cheek + FIRST_LAYER_RELIEF)))


def splice_clip(thickness: float, height: float, width: float, profile: PanelProfile) -> ClipShape:
    """Return the clip under a splice, which stands on the drawer's bottom.

    Args:
        thickness: of the panel, mm.
        height: of the panel, mm.
        width: of the base, mm.
        profile: of the panels.
    """
    slot = thickness / 2.0 + profile.air
    inner, outer, middle = slot, slot + profile.cheek, width / 2.0
    cheeks = tuple((on_grid(middle + low), on_grid(middle + high)) for low, high in ((-outer, -inner), (inner, outer)))
    return ClipShape(
        size=(width, CLIP),
        corner_radius=LEAST_RADIUS,
        levels=((FIRST_LAYER_RELIEF, 0.0), (0.0, FIRST_LAYER_RELIEF), (0.0, BASE)),
        cheeks=(cheeks[0], cheeks[1]),
        span=(FIRST_LAYER_RELIEF, CLIP - FIRST_LAYER_RELIEF),
        height=profile.clip_height(height),
        lead=CLIP_LEAD,
    )


def clip_mark(shape: ClipShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark under the base, along its longer side; None if there is no room.

    Args:
        shape: the clip without its mark.
        mark: the mark.
        line_width: width of a printed line, mm.
    """
    inset = shape.levels[0][0] + _CLEAR
    across, along = (side - 2.0 * inset for side in shape.size)
    for cap_height in (height for height in CAP_HEIGHTS if height >= least_mark_cap(line_width)):
        width, depth = text_size(mark, cap_height)
        if width <= along and depth <= across:
            at = on_grid(shape.size[0] / 2.0), on_grid(shape.size[1] / 2.0)
            return Lettering(mark, "bottom", at, cap_height, MARK_DEPTH, turn=90.0)
    return None
