"""From printed parts to print runs and to filament, time and cost, in numbers only.

`worker.printing.estimating.estimate` measures meshes and loads the geometry kernel; import it from there, not here.
"""

from worker.printing.estimating.process import Process
from worker.printing.packing.pieces import Group, Piece, Placed, Run, Runs
from worker.printing.packing.run_packer import SPACING, pack_runs

__all__ = ["SPACING", "Group", "Piece", "Placed", "Process", "Run", "Runs", "pack_runs"]
