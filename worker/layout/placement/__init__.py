"""Placement of trays on cells: greedy heuristics, a constraint solver, and stacks."""
