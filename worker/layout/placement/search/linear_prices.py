"""Prices: what a place for each kind and a half cell of floor are worth, from the dual of a linear relaxation."""

from collections.abc import Mapping, Sequence
from importlib import import_module
from typing import Any

from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.tray_columns import Column

__all__ = ["linear_prices"]


def linear_prices(
    stock: Assortment, pool: Sequence[Column], left: Mapping[int, int], area: int
) -> tuple[dict[int, float], float]:
    """Return the price of a place for all things of each kind, and that of a half cell, in minutes.

    The relaxation takes any share of each column: no kind is placed more often than there are things, and no more floor
    is taken than there is.

    Args:
        stock: the things.
        pool: the columns.
        left: how many of each kind are to be placed.
        area: free half cells.
    """
    module: Any = import_module("ortools.linear_solver.pywraplp")  # without types; slow to load
    solver = module.Solver.CreateSolver("GLOP")
    floor = solver.Constraint(0.0, float(area))
    rows = {
        index: solver.Constraint(0.0, count / stock.items[index].count) for index, count in left.items() if count > 0
    }
    goal = solver.Objective()
    goal.SetMaximization()
    for column in pool:
        variable = solver.NumVar(0.0, solver.infinity(), "")
        goal.SetCoefficient(variable, column.value)
        floor.SetCoefficient(variable, float(column.area))
        shares: dict[int, float] = {}
        for index, count in column.counts:
            shares[index] = shares.get(index, 0.0) + count / stock.items[index].count
        for index, share in shares.items():
            rows[index].SetCoefficient(variable, share)
    if solver.Solve() != module.Solver.OPTIMAL:
        return {}, 0.0
    return {index: max(row.dual_value(), 0.0) for index, row in rows.items()}, max(floor.dual_value(), 0.0)
