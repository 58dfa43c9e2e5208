"""Jobs of one drawer that is divided by panels."""

from worker.layout.planner import lay_out
from worker.spec import load


def panel_spec(*panels, width=420, depth=300, height=70, bed=(180, 180, 180), **fields):
    """Return the spec of a drawer without a floor."""
    grid = fields.pop("grid", {})
    drawer = {"name": "top", "width": width, "depth": depth, "height": height, "floor": "none", **fields}
    return load(
        {
            "spec": "1",
            "name": "panels",
            "coupon": False,
            "printer": {"bed": list(bed)},
            "grid": grid,
            "drawers": [{**drawer, "panels": list(panels)}],
        }
    )


def panel_plan(*panels, **fields):
    """Return the plan of a drawer without a floor."""
    return lay_out(panel_spec(*panels, **fields))


def floor_plan(*panels, **fields):
    """Return the plan of a drawer with a floor of tiles."""
    return lay_out(panel_spec(*panels, floor="tiles", **fields))
