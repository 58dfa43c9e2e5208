"""Columns of given sides, to try the packing alone."""

from worker.layout.placement.columns.tray_columns import Column, LaneBand
from worker.layout.storage.lane import Lane
from worker.layout.storage.poses import Pose

_CUBE = Pose("box", (10.0, 10.0, 10.0))


def plain_column(kind, halves, *, worth=1.0, cost=0.0):
    """Return a tray of these half cells for one thing of a kind."""
    lane = Lane("row", _CUBE, 1, 1, 1, 1, 12.0, 5.0, 30.0, 10.0, 0.5)
    return Column(
        tuple(halves),
        0,
        (LaneBand(40.0, ((kind, lane),)),),
        10.0,
        16.0,
        16.0,
        ledge=False,
        plastic=1000.0,
        worth=worth,
        cost=cost,
    )
