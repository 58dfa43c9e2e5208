"""Layout: from a spec to a plan of tiles, trays and their positions, in numbers only."""

from worker.layout.planner import lay_out

__all__ = ["lay_out"]
