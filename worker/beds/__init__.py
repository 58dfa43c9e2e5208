"""From printed parts to print runs, in numbers only."""

from worker.beds.pieces import Group, Piece, Placed, Run, Runs
from worker.beds.runs import SPACING, pack_runs

__all__ = ["SPACING", "Group", "Piece", "Placed", "Run", "Runs", "pack_runs"]
