"""Plain trays to build on, made from the joint without the layout's rules."""

from worker.layout.model.shapes import TrayShape
from worker.spec.drawer.joint import CORNER_RADIUS, Joint, default_profile

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)


def plain(halves=(6, 4), height=60.0, *, stacking=True, half_feet=False, pitch=42.0, joint=JOINT, **changes):
    """Return the shape of a tray without features; ``changes`` replace fields."""
    floor_top = round(joint.foot_height + 1.2, 3)
    fields = {
        "halves": halves,
        "half_feet": half_feet,
        "pitch": pitch,
        "inset": joint.body_inset,
        "foot_levels": joint.foot_levels(),
        "rim_levels": joint.rim_levels(height - joint.height) if stacking else None,
        "corner_radius": CORNER_RADIUS,
        "height": height,
        "wall": 1.2,
        "floor_top": floor_top,
        "fill_top": floor_top,
    }
    return TrayShape(**(fields | changes))
