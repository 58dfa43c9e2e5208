"""From a drawer's readings and a list of trays to a plan: tiles, trays and their places, in numbers only."""

from worker.layout.planner import lay_out

__all__ = ["lay_out"]
