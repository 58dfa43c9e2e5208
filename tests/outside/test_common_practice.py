"""Checks of the layout against what is common practice."""

import pytest
import shapely

from worker.layout.drawer.grid_placement import fit_lattice
from worker.layout.planner import lay_out
from worker.spec import load

pytestmark = pytest.mark.outside


def test_a_310_by_425_drawer_at_42_holds_7_by_10_and_leaves_16_and_5() -> None:
    # Common practice: worked example of the trade, 310 x 425 mm at a pitch of 42 mm, no gap.
    lattice = fit_lattice(shapely.box(0, 0, 310, 425), pitch=42.0)
    assert len(lattice.cells) == 70
    assert lattice.span == (14, 20)
    spec = {
        "spec": "1",
        "name": "workbench",
        "drawers": [{"name": "bench left, top", "width": 310, "depth": 425, "height": 70, "gap": 0}],
        "printer": {"bed": [256, 256, 256]},
    }
    (drawer,) = lay_out(load(spec)).drawers
    assert drawer.across == (7, 10)
    assert drawer.leftover == (16.0, 5.0)
    assert (drawer.whole, drawer.half) == (70, 0)
    # Even borders: half of what is left on each side.
    assert drawer.lattice.origin == (8.0, 2.5)
