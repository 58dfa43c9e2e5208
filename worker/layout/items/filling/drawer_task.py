"""The drawer task: one drawer to be filled, a pure function of its fields, so that several are filled in parallel."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from worker.layout.items.filling.drawer_as_before import fill_as_before
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Stock, fill_drawer
from worker.layout.items.filling.stacked_trays import UpperTray
from worker.layout.placement.search.region_solver import Standing
from worker.spec.items.item import Item

__all__ = ["DrawerTask", "PlacedColumns", "Spread", "filled_stocks", "one_by_one"]

#: The trays of a drawer: those on its floor, and those on others; and whether counted work cut the search short.
PlacedColumns: TypeAlias = tuple[tuple[Standing, ...], tuple[UpperTray, ...], bool]


@dataclass(frozen=True)
class DrawerTask:
    """A drawer, its items in the order of the list, and how many regions the search clears.

    After ``stages`` of these moves the drawer is finished too, and the best finished one counts.

    ``split`` says whether things of which no tray takes all are split over several: not while another drawer may serve.
    """

    site: Site
    items: tuple[Item, ...]
    moves: int
    split: bool = True
    stages: tuple[int, ...] = ()

    def run(self) -> PlacedColumns:
        """Return the trays of the drawer; equal tasks give equal trays in every process."""
        if self.site.earlier:
            stock = fill_as_before(self.site, self.items, moves=self.moves)
        else:
            stock = fill_drawer(self.site, self.items, moves=self.moves, stages=self.stages, split=self.split)
        return stock.standing, stock.upper, stock.cut_short


#: Runs tasks, in this process or in several, and returns the trays of each in the order of the tasks.
Spread: TypeAlias = Callable[[Sequence[DrawerTask]], Sequence[PlacedColumns]]


def one_by_one(tasks: Sequence[DrawerTask]) -> list[PlacedColumns]:
    """Run tasks one after another in this process."""
    return [task.run() for task in tasks]


def filled_stocks(tasks: Sequence[DrawerTask], spread: Spread) -> list[Stock]:
    """Return the drawers of tasks as they are filled, with the items of the tasks themselves."""
    return [
        Stock(task.site, task.site.assortment(task.items), *placed)
        for task, placed in zip(tasks, spread(tasks), strict=True)
    ]
