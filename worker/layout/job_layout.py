"""The layout of a job: where its things, trays, lanes and panels are, drawer by drawer."""

import itertools
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from worker.layout.drawer.grid_placement import fit_lattice
from worker.layout.drawer.other_pitches import other_pitches
from worker.layout.drawer.outline import Area, Outline, drawer_outline
from worker.layout.drawer_assembly import Entering
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_task import Spread
from worker.layout.items.held.held_trays import HeldTray, held_things, not_held
from worker.layout.items.held.suited_ramp import held_tray, missing
from worker.layout.items.item_trays import Contents, Furniture, ListedItem, furnish, reserved, site_of, spares
from worker.layout.items.trays_on_panels import (
    PanelDrawer,
    TraysOnPanels,
    area_of,
    less,
    levels_of,
    may_lie_on_panels,
    panel_site,
    trays_on_panels,
)
from worker.layout.items.upper_grips import with_grips
from worker.layout.lanes.job_lanes import JobLanes, floor_area, lay_lanes
from worker.layout.model.part_registry import Register
from worker.layout.model.plan import DrawerPlan, Lattice, Unplaced
from worker.layout.model.tray_places import AS_ALL, MadeFor, TrayPlace
from worker.layout.panels.panel_layout import PanelLayout
from worker.layout.panels.sockets import FloorSockets
from worker.layout.placement.bay import Anchor, Spot, related
from worker.layout.placement.layers.upper_placement import DrawerRoom, place_upper_trays
from worker.layout.placement.layers.upper_trays import ceilings, layered
from worker.layout.placement.tray_placement import Footing, PlacedTray, check_clear, place_trays, tray_halves
from worker.layout.relayout.keep_printed import Relayout, Staying, anchors, require_fixed
from worker.layout.relayout.planned_trays import earlier_trays, left_out, shared_out
from worker.layout.relayout.previous_layout import Previous
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.layout.tray.made_tray import MadeTray
from worker.spec import Spec
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.items.item import Item
from worker.spec.items.layout import Effort

if TYPE_CHECKING:
    from worker.layout.items.filling.earlier_layout import EarlierTray

__all__ = ["JobLayout"]


class JobLayout:
    """Layout of one job: the state that its drawers share."""

    def __init__(self, spec: Spec, effort: Effort, spread: Spread) -> None:
        """Find the outlines and lanes; arguments are those of `worker.layout.planner.lay_out`."""
        self.spec = spec
        self.spread = spread
        self.effort = effort
        self.joint = spec.joint()
        self.previous = Previous.of(spec.previous)
        self.register = Register(self.previous.marks, self.previous.numbers)
        self._outlines_and_lattices: dict[int, tuple[Outline, Lattice]] = {}
        self._placed: dict[int, tuple[PlacedTray, ...]] = {}
        self._laid: dict[int, PanelLayout] = {}
        self._staying = (Staying(),) * len(spec.drawers)
        self._holdings, self._counts_held = held_things(spec)
        self._held: dict[tuple[int, int, str | None], HeldTray] = {}
        self.entering = Entering(spec, self.joint, self.register)
        self.bed = self.entering.tray_bed
        self._outlines = [drawer_outline(drawer, f"/drawers/{index}") for index, drawer in enumerate(spec.drawers)]
        self._lanes = self._laid_lanes({})
        self._own, self._of_job = list(self._lanes.own), self._lanes.of_job
        self._earlier: tuple[tuple[EarlierTray, ...], ...] = ()

    def _laid_lanes(self, raised: Mapping[int, float]) -> JobLanes:
        """Return the lanes of the job; panels of some drawers reach up to a height, for trays on them."""
        spec, held = self.spec, self._counts_held
        return lay_lanes(
            spec,
            [outline.usable for outline in self._outlines],
            [not_held(spec.items_of(index), held) for index in range(len(spec.drawers))],
            not_held(spec.items_of(None), held),
            self.entering.panel_bed,
            [
                self.entering.panel_bands(index, outline, self._sockets(index))
                for index, outline in enumerate(self._outlines)
            ],
            lambda index, lanes: self.entering.panel_fault(index, self._outlines[index], lanes, self._sockets(index)),
            [
                self.previous.as_printed(drawer.name, outline)
                for drawer, outline in zip(spec.drawers, self._outlines, strict=True)
            ],
            [self._sockets(index) for index in range(len(spec.drawers))],
            raised,
        )

    def furnished(self) -> Contents:
        """Return the trays for items with their positions, and the items that could not be placed.

        Printed trays that can be reused stay in place. If items would then find no place, all trays but the fixed ones
        may move; what the previous manifest had no place for moves nothing.

        Raises:
            LayoutError: if a fixed item cannot stay; `TrayError` if a listed tray cannot be placed.
        """
        if self.previous.manifest is None:
            return self._furnished()
        require_fixed((*itertools.chain(*self._own), *self._of_job), self._stay(movable=True))
        failed: TrayError | None = None
        try:
            furnished = self._furnished()
        except TrayError as no_room:
            failed = no_room
        else:
            if not self._missing(furnished):
                return furnished
        staying = self._staying
        self._stay(movable=False)
        other = self._furnished()
        if failed is not None or self._missing(other) < self._missing(furnished):
            return other
        self._set(staying)
        return furnished

    def _missing(self, contents: Contents) -> int:
        """Return the number of things without a place, not counting items that the previous manifest had none for."""
        manifest = self.previous.manifest
        earlier = set() if manifest is None else {entry.item for entry in manifest.unplaced}
        return sum(entry.count for entry in contents.unplaced if entry.item not in earlier)

    def with_trays_on_panels(self, contents: Contents) -> Contents:
        """Return the contents with what has no lane, and with trays on panels for what finds no place otherwise."""
        unplaced = (*self._lanes.unplaced, *contents.unplaced)
        trays = list(contents.trays)
        for index in range(len(self.spec.drawers)):
            best = self._best_on_panels(index, trays[index], unplaced)
            if best is not None:
                lanes, added = best
                self._lanes, self._laid = lanes, {}
                make = partial(self.entering.made_tray, half_feet=True)
                limit = self.spec.drawers[index].height - FRAME_AIR
                trays[index] = (*trays[index], *with_grips(added.trays, limit, make))
                unplaced = tuple(less(unplaced, added.held))
        return replace(contents, trays=tuple(trays), unplaced=unplaced)

    def _best_on_panels(
        self, index: int, standing: Sequence[Furniture], unplaced: Sequence[Unplaced]
    ) -> tuple[JobLanes, TraysOnPanels] | None:
        """Return the best trays on a drawer's panels, with the lanes that carry them; None where none is worth it."""
        drawer, items = self.spec.drawers[index], dict(self.spec.every_item())
        left = [
            ((lack.pointer, items[lack.pointer].model_copy(update={"count": lack.count})), lack.count)
            for lack in unplaced
            if lack.drawer in {None, drawer.name} and may_lie_on_panels(items[lack.pointer])
        ]
        if not left or not self._panels(index).parts:
            return None
        best: tuple[JobLanes, TraysOnPanels] | None = None
        for level in levels_of(self._panel_drawer(index, standing, self._lanes)):
            lanes = self._laid_lanes({index: level}) if self._lanes.drawers[index].panels else self._lanes
            if (
                lanes.unplaced == self._lanes.unplaced
                and self.entering.panel_fault(index, self._outlines[index], lanes.drawers[index], self._sockets(index))
                is None
            ):
                added = trays_on_panels(self._panel_drawer(index, standing, lanes), left, level)
                if added.trays and (best is None or added.value > best[1].value):
                    best = lanes, added
        return best

    def _panel_drawer(self, index: int, standing: Sequence[Furniture], lanes: JobLanes) -> PanelDrawer:
        """Return a drawer with its panels and all that stands and lies in it."""
        drawer, (outline, lattice) = self.spec.drawers[index], self._outline_and_lattice(index)
        own, added = lanes.drawers[index], (*self._staying[index].kept, *standing)
        items, places, held = dict(self.spec.every_item()), self._places(index), self._held_trays(index)
        first = len(drawer.trays)
        panels = self.entering.panels(index, outline, own, self._sockets(index))

        def corner(at: Spot, z: float) -> tuple[float, float, float]:
            x, y = (lattice.origin[axis] + at[axis] * lattice.pitch / 2.0 for axis in (0, 1))
            return x, y, z

        stored = [*own.contents, *(lot for tray in added for lot in tray.stored(0, corner(tray.at, tray.z)))]
        for place in places:
            if place.tray in held:
                stored += held[place.tray].stored(0, corner(place.at, place.z))
        return PanelDrawer(
            drawer=drawer.model_copy(update={"trays": (*drawer.trays, *(tray.tray for tray in added))}),
            lattice=lattice,
            joint=self.joint,
            room=self.entering.room(outline, own, panels),
            site=panel_site(self._site(index, ()), drawer, lattice, outline.usable),
            trays=(
                *places,
                *(PlacedTray(first + k, tray.at, half_feet=False, z=tray.z) for k, tray in enumerate(added)),
            ),
            below=tuple((area_of(lot), items[lot.pointer], lot.at[2] + lot.size[2]) for lot in stored),
            top=max((stored.at[2] + stored.size[2] for stored in own.contents), default=0.0),
        )

    def unheld(self, made_for: MadeFor) -> tuple[Unplaced, ...]:
        """Return what trays of the list are said to hold and have no room for."""
        trays = (self._held_trays(index, made_for) for index in range(len(self.spec.drawers)))
        return tuple(lack for held in trays for tray in held.values() for lack in tray.unplaced)

    def _held_trays(self, index: int, made_for: MadeFor = AS_ALL) -> dict[int, HeldTray]:
        """Return what the trays of a drawer hold, by their index.

        Raises:
            TrayError: if such a tray cannot be made.
        """
        numbers = [number for of, number in self._holdings if of == index]
        if not numbers:
            return {}
        printers = {place.tray: made_for.get(TrayPlace.of(index, place.at, place.z)) for place in self._places(index)}
        return {number: self._held_tray(index, number, printers[number]) for number in numbers}

    def _held_tray(self, index: int, number: int, printer: str | None) -> HeldTray:
        """Return what a tray holds, worked out once; made for a printer if it holds as much then."""
        key = index, number, printer
        if key not in self._held:
            tray, height = self.spec.drawers[index].trays[number], self._ceilings(index)[number]
            holdings = self._holdings[index, number]

            def fill(name: str | None) -> HeldTray:
                return held_tray(self.spec, index, tray, holdings, height, self._make(index, number, name))

            if printer is None:
                self._held[key], _ = self.entering.as_all(fill)
            else:
                self._held[key] = as_all = self._held_tray(index, number, None)
                with suppress(TrayError):
                    self._held[key] = min(fill(printer), as_all, key=missing)
        return self._held[key]

    def _make(self, index: int, number: int, printer: str | None) -> Callable[[Tray], MadeTray]:
        """Return what makes the part of a drawer's tray."""
        pointer = f"/drawers/{index}/trays/{number}"
        return partial(self.entering.made_tray, pointer=pointer, half_feet=False, printer=printer)

    def _ceilings(self, index: int) -> Mapping[int, float]:
        """Return how high the things in each tray of a drawer may reach above its feet, by the tray's index."""
        drawer = self.spec.drawers[index]
        if not any(tray.raised for tray in drawer.trays):
            return dict.fromkeys(range(len(drawer.trays)), drawer.height)
        places = self._places(index)
        trays = [layered(drawer.trays[place.tray], place) for place in places]
        heights = ceilings(trays, drawer.height, self.joint.nesting_depth)
        return {place.tray: height for place, height in zip(places, heights, strict=True)}

    def _stay(self, *, movable: bool) -> tuple[Staying, ...]:
        """Return the printed trays that stay, drawer by drawer; without ``movable``, only those of fixed items."""
        staying: list[Staying] = []
        used: set[str] = set()
        for index, own in enumerate(self._own):
            left = [listed for listed in (*own, *self._of_job) if listed[0] not in used]
            limit = self.spec.drawers[index].height - FRAME_AIR
            staying.append(self._relayout(index).staying(left, limit=limit, movable=movable))
            used.update(pointer for kept in staying[-1].kept for pointer, _, _ in kept.items)
        return self._set(tuple(staying))

    def _set(self, staying: tuple[Staying, ...]) -> tuple[Staying, ...]:
        self._staying = staying
        self._placed.clear()
        return staying

    def _relayout(self, index: int) -> Relayout:
        def make(tray: Tray, half_feet: bool, printer: str | None) -> MadeTray:  # noqa: FBT001 - the form of `Make`
            return self.entering.made_tray(tray, f"/drawers/{index}", half_feet=half_feet, printer=printer)

        footing = Footing(self._outline_and_lattice(index)[1])
        return Relayout(self.previous, self.spec.drawers[index], footing, make, (None, *self.entering.other_printers))

    def _furnished(self) -> Contents:
        """Return the trays for items: those that stay, and new ones for all other items.

        What an earlier plan had in several drawers stays in all of them, unless it has no room there any more.
        """
        used = {pointer for staying in self._staying for kept in staying.kept for pointer, _, _ in kept.items}
        own = [[listed for listed in its_own if listed[0] not in used] for its_own in self._own]
        of_job = [listed for listed in self._of_job if listed[0] not in used]
        shared, rest = shared_out(self.previous, self.spec, own, of_job)
        if shared == own:
            return self._furnished_with(own, of_job)
        result = self._furnished_with(shared, rest)
        fixed = {pointer for items in own for pointer, _ in items}
        lacking = any(lack.drawer is not None and lack.pointer not in fixed for lack in result.unplaced)
        return self._furnished_with(own, of_job) if lacking else result

    def _furnished_with(self, own: Sequence[Sequence[ListedItem]], of_job: Sequence[ListedItem]) -> Contents:
        """Return the trays for these items, those of each drawer and those of the job."""
        self._earlier = tuple(earlier_trays(self.previous, self.spec, own, of_job))
        sites = [self._site(index, [item for _, item in (*its_own, *of_job)]) for index, its_own in enumerate(own)]
        result = furnish(self.spec, sites, of_job, own, self.effort, spread=self.spread, repitched=self._repitched())
        filled = (self._filled(index, sites[index], trays) for index, trays in enumerate(result.trays))
        return replace(result, trays=tuple(filled))

    def _filled(self, index: int, site: Site, trays: tuple[Furniture, ...]) -> tuple[Furniture, ...]:
        """Return a drawer's trays, followed by spare trays if it is to be filled; printed spare trays come first.

        Those on others have grips where there is room.
        """
        trays = with_grips(trays, site.limit, partial(self.entering.made_tray, half_feet=False))
        if not self.spec.drawers[index].fill:
            return trays
        pointer, kept = f"/drawers/{index}/fill", self._staying[index].kept
        on_floor = [tray.tray for tray in (*kept, *trays) if not tray.z]
        bay = site.bay.less((tray.at, tray_halves(tray.tray)) for tray in trays)
        gone = {piece.printed.index for piece in kept}
        there = tuple(self._relayout(index).spares(bay, gone, limit=site.limit, pointer=pointer))
        bay = bay.less(piece.rectangle for piece in there)
        return (*trays, *there, *spares(site, bay, (tray.height for tray in on_floor), pointer))

    def _site(self, index: int, new: Collection[Item]) -> Site:
        """Return the cells of a drawer that its own trays and those that stay leave free for new items."""
        drawer, kept = self.spec.drawers[index], self._staying[index].kept
        taken = [(place.at, tray_halves(drawer.trays[place.tray])) for place in self._places(index)]
        taken += [piece.rectangle for piece in kept]
        taken += self._shut(index)
        site = site_of(self.spec, index, self._outline_and_lattice(index)[1], taken, self.bed)
        held = [
            Anchor(self._held_trays(index)[place.tray].items, place.at, tray_halves(drawer.trays[place.tray]))
            for place in self._places(index)
            if place.tray in self._held_trays(index)
        ]
        return replace(
            site,
            anchors=(*anchors(kept, new, site.bay.step), *related(held, new, site.bay.step)),
            earlier=self._earlier[index],
            left_out=left_out(self.previous),
        )

    def _outline_and_lattice(self, index: int) -> tuple[Outline, Lattice]:
        """Return a drawer's outline and grid, computed once."""
        if index not in self._outlines_and_lattices:
            self._outlines_and_lattices[index] = self._outlines[index], self._lattice(index, self.spec.grid.pitch)
        return self._outlines_and_lattices[index]

    def _lattice(self, index: int, pitch: float) -> Lattice:
        """Return a drawer's grid with cells of a side; without a floor it has none."""
        drawer, area = self.spec.drawers[index], self._floor_area(index)
        if area is None:
            return Lattice((0.0, 0.0), pitch, ())
        return fit_lattice(
            area,
            pitch=pitch,
            half_cells=self.spec.grid.half_cells,
            align=(drawer.align.x, drawer.align.y),
            pointer=f"/drawers/{index}",
        )

    def _sockets(self, index: int) -> FloorSockets | None:
        """Return the sockets that a drawer's panels stand on; None for panels on the bare bottom."""
        if not self.spec.drawers[index].tiled_throughout:
            return None
        return FloorSockets(self._outline_and_lattice(index)[1], self.joint)

    def _panels(self, index: int) -> PanelLayout:
        """Return the panels of a drawer in their places, worked out once."""
        if index not in self._laid:
            outline, lanes = self._outlines[index], self._lanes.drawers[index]
            self._laid[index] = self.entering.panels(index, outline, lanes, self._sockets(index))
        return self._laid[index]

    def _shut(self, index: int) -> tuple[tuple[Spot, Spot], ...]:
        """Return the cells or half cells of a drawer in which no tray can stand: below panels and lanes on tiles."""
        sockets = self._sockets(index)
        if sockets is None:
            return ()
        lanes = self._lanes.drawers[index].lanes
        boxes = [(*lane.at, lane.at[0] + lane.size[0], lane.at[1] + lane.size[1]) for lane in lanes]
        covered = sockets.covered((*boxes, *self._panels(index).covered))
        side = 1 if self.spec.grid.half_cells else 2  # of a whole cell no half is free for a tray
        return tuple((spot, (side, side)) for spot in sorted({(x - x % side, y - y % side) for x, y in covered}))

    def _floor_area(self, index: int) -> Area | None:
        """Return what a drawer's floor covers; None without one."""
        drawer = self.spec.drawers[index]
        if drawer.floor == "none":
            return None
        if drawer.tiled_throughout:
            return self._outlines[index].usable
        return floor_area(self._outlines[index].usable, self._lanes.drawers[index])

    def _repitched(self) -> Iterator[Site]:
        """Yield the drawer of a job on grids of other pitches, where nothing stands that these would move."""
        spec, grid, area = self.spec, self.spec.grid, self._floor_area(0)
        pinned = any(item.at is not None for _, item in (*spec.items_of(None), *spec.items_of(0)))
        stands = pinned or spec.drawers[0].trays or self._lanes.drawers[0].lanes or self.previous.manifest is not None
        if len(spec.drawers) > 1 or area is None or stands:
            return
        for pitch in other_pitches(area, grid.pitch, half_cells=grid.half_cells):
            changed = spec.model_copy(update={"grid": grid.model_copy(update={"pitch": pitch})})
            yield site_of(changed, 0, self._lattice(0, pitch), (), self.bed)

    def _places(self, index: int) -> tuple[PlacedTray, ...]:
        """Return the positions of the drawer's own trays, computed once."""
        if index not in self._placed:
            drawer, lattice = self.spec.drawers[index], self._outline_and_lattice(index)[1]
            kept = self._staying[index].kept
            pins = self._relayout(index).pins(kept) if self.previous.document is not None else {}
            taken = [*self._shut(index), *(piece.rectangle for piece in kept)]
            place = partial(place_trays, drawer, lattice, pointer=f"/drawers/{index}", pins=pins)
            try:
                placed = place(taken=(*taken, *self._reserved(index, taken)))
            except TrayError:
                placed = place(taken=taken)  # trays come before items
            check_clear(drawer, placed, self._shut(index), f"/drawers/{index}")
            self._placed[index] = place_upper_trays(
                drawer, lattice, self.joint, placed, pointer=f"/drawers/{index}", room=self._room(index)
            )
        return self._placed[index]

    def _room(self, index: int) -> DrawerRoom:
        """Return a drawer as its trays on others and on panels find it."""
        if not any(tray.raised for tray in self.spec.drawers[index].trays):
            return DrawerRoom()
        return self.entering.room(self._outlines[index], self._lanes.drawers[index], self._panels(index))

    def _reserved(self, index: int, taken: Sequence[tuple[Spot, Spot]]) -> tuple[tuple[Spot, Spot], ...]:
        """Return the positions that items of a drawer are pinned to, which trays without a position must leave free."""
        items = [*self._own[index], *(self._of_job if len(self.spec.drawers) == 1 else ())]
        pinned = [item for _, item in items if item.at is not None]
        if not pinned:
            return ()
        return reserved(pinned, site_of(self.spec, index, self._outline_and_lattice(index)[1], taken, self.bed))

    def entering_for(self, spec: Spec, made_for: MadeFor) -> Entering:
        """Return what makes the parts of the drawers.

        Args:
            spec: the job, its floors perhaps for another printer.
            made_for: the printers that some trays are made for instead.
        """
        register = Register(self.previous.marks, self.previous.numbers)
        register.warn(*self.register.warnings())
        return replace(self.entering, spec=spec, register=register, made_for=made_for)

    def drawer(self, entering: Entering, index: int, new: Sequence[Furniture]) -> DrawerPlan:
        """Return the plan of one drawer.

        Args:
            entering: makes its parts, and enters them into its register.
            index: index of the drawer in the spec.
            new: trays for items and spare trays, besides those that stay.
        """
        items, places = (*self._staying[index].kept, *new), self._places(index)
        held = self._held_trays(index, entering.made_for)
        outline, lattice = self._outline_and_lattice(index)
        lanes, panels = self._lanes.drawers[index], self._panels(index)
        return entering.drawer(index, outline, lattice, places, items, held, lanes, panels)
