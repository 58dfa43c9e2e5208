"""From printed parts to print runs and to filament, time and cost, in numbers only."""

from worker.beds.estimate import Estimate, estimate
from worker.beds.pieces import Group, Piece, Placed, Run, Runs
from worker.beds.process import Process
from worker.beds.runs import SPACING, pack_runs

__all__ = ["SPACING", "Estimate", "Group", "Piece", "Placed", "Process", "Run", "Runs", "estimate", "pack_runs"]
