"""From printed parts to print runs and to filament, time and cost, in numbers only.

`worker.beds.estimate` measures meshes and so loads the geometry kernel; import it from there, not from here.
"""

from worker.beds.pieces import Group, Piece, Placed, Run, Runs
from worker.beds.process import Process
from worker.beds.runs import SPACING, pack_runs

__all__ = ["SPACING", "Group", "Piece", "Placed", "Process", "Run", "Runs", "pack_runs"]
