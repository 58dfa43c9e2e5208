"""The summary of a drawer: its plan with the counts of its cells."""

import itertools
from collections.abc import Iterable, Sequence

from worker.layout.drawer.free_rectangles import free_spaces
from worker.layout.drawer.outline import Outline
from worker.layout.floor.floor_builder import Floor
from worker.layout.model.plan import DrawerPlan, JointedTray, LanePlan, Lattice, PanelPlan, Stored, UpperPlan
from worker.layout.model.shapes import Placement
from worker.layout.placement.bay import Spot
from worker.spec import Drawer

__all__ = ["summary"]


def summary(
    drawer: Drawer,
    outline: Outline,
    lattice: Lattice,
    floor: Floor,
    *,
    placements: tuple[Placement, ...],
    taken: Sequence[tuple[Spot, Spot]],
    contents: tuple[Stored, ...],
    jointed: tuple[JointedTray, ...],
    upper: tuple[UpperPlan, ...],
    panels: tuple[PanelPlan, ...],
    lanes: tuple[LanePlan, ...],
) -> DrawerPlan:
    """Return the plan of a drawer with its counts."""
    quarters = sum(cell.width * cell.depth for cell in lattice.cells)
    whole = [cell for cell in lattice.cells if cell.width * cell.depth == 4]  # noqa: PLR2004 - quarters of a cell
    across = _longest(cell.y for cell in whole), _longest(cell.x for cell in whole)
    width, depth = (round(outline.size[axis] - across[axis] * lattice.pitch, 3) for axis in (0, 1))
    return DrawerPlan(
        name=drawer.name,
        outline=outline.rings,
        size=outline.size,
        lattice=lattice,
        whole=len(whole),
        half=len(lattice.cells) - len(whole),
        across=across,
        leftover=(width, depth),
        free=quarters - len(_covered(taken) & lattice.half_cells),
        placements=placements,
        seams=floor.seams,
        copies=drawer.copies,
        contents=contents,
        spaces=free_spaces(lattice, taken),
        floor=floor.plan,
        jointed=jointed,
        upper=upper,
        panels=panels,
        lanes=lanes,
    )


def _covered(rectangles: Iterable[tuple[Spot, Spot]]) -> set[Spot]:
    """Return the half cells that rectangles cover, each once: a tray over others covers theirs."""
    return {
        (x + i, y + j) for (x, y), (across, back) in rectangles for i in range(across) for j in range(back)
    }  # fmt: skip


def _longest(lines: Iterable[int]) -> int:
    """Return the number of cells in the longest row or column."""
    return max((len(list(group)) for _, group in itertools.groupby(sorted(lines))), default=0)
