"""Placing trays on cells: greedy orders, a constraint solver, stacks."""
