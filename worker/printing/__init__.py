"""Printing: print runs, their order and timetable, and estimates of filament, time and cost, in numbers only.

`worker.printing.estimating.estimate` measures meshes and loads the geometry kernel, so it is not exported here.
"""

from worker.printing.estimating.process import Process
from worker.printing.packing.pieces import Group, Piece, PlacedPiece, Run, Runs
from worker.printing.packing.run_packer import SPACING, pack_runs

__all__ = ["SPACING", "Group", "Piece", "PlacedPiece", "Process", "Run", "Runs", "pack_runs"]
