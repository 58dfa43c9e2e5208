"""Assembly of a drawer: enters its parts into the register and gives each its position."""

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any, NamedTuple

from worker.layout.drawer.outline import Outline
from worker.layout.drawer_summary import summary
from worker.layout.floor.floor_builder import Floor, tile_floor
from worker.layout.floor.print_bed import Bed
from worker.layout.floor.tile_mark import mark_lettering
from worker.layout.items.held.held_trays import HeldTray
from worker.layout.items.item_trays import Furniture, on_whole
from worker.layout.job_trays import JobTrays
from worker.layout.lanes.drawer_lanes import DrawerLanes
from worker.layout.lanes.free_rectangle import Rectangle
from worker.layout.lanes.job_lanes import floor_area
from worker.layout.lanes.shelves import DIVIDER
from worker.layout.model.part_registry import box_of
from worker.layout.model.plan import DrawerPlan, Lattice, UpperPlan
from worker.layout.model.shapes import Lettering, PieceShape, Placement, TileShape
from worker.layout.model.tray_places import TrayPlace
from worker.layout.panels.drawer_panels import enter_panels
from worker.layout.panels.lines import panel_lines
from worker.layout.panels.panel_layout import PanelLayout, panel_layout
from worker.layout.panels.profile import PanelProfile
from worker.layout.panels.sockets import FloorSockets
from worker.layout.placement.layers.panel_seats import Obstruction
from worker.layout.placement.layers.upper_placement import DrawerRoom, panel_seats
from worker.layout.placement.layers.upper_trays import LayeredTray, carriers, layered, on_half_feet, support
from worker.layout.placement.tray_placement import PlacedTray, tray_halves
from worker.layout.relayout.keep_printed import KeptTray
from worker.layout.tray.coupon import clearance_name, coupon_shapes, coupon_size, plug_size
from worker.layout.tray.joints.jointed_tray import piece_size
from worker.layout.tray.joints.placed_pieces import joined
from worker.layout.tray.made_tray import MadeTray
from worker.layout.tray.part_mark import piece_mark, plug_mark, tray_mark
from worker.layout.tray.ramp_and_ledge import ramp_as_made
from worker.layout.tray.tray_builder import tray_size
from worker.spec import Drawer
from worker.spec.drawer.tray import Tray
from worker.spec.errors import PanelError
from worker.spec.manifest import PartKind
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Entering"]


class PlacedParts(NamedTuple):
    """A tray and the placements of its parts."""

    made: MadeTray
    placements: tuple[Placement, ...]


@dataclass(frozen=True)
class Entering(JobTrays):
    """Makes the parts of all drawers of a job: its trays, and all else with print beds."""

    @cached_property
    def tray_bed(self) -> Bed:
        """The bed that trays are made for."""
        return Bed.of_printer(self.spec.printer_of("tray"))

    @cached_property
    def panel_bed(self) -> Bed:
        """The bed that the strips of panels are made for."""
        return Bed.of_printer(self.spec.printer_of("panel"))

    def drawer(  # noqa: PLR0917 - what a drawer is made of
        self,
        index: int,
        outline: Outline,
        lattice: Lattice,
        places: Sequence[PlacedTray],
        items: Sequence[Furniture],
        held: Mapping[int, HeldTray],
        lanes: DrawerLanes,
        laid: PanelLayout,
    ) -> DrawerPlan:
        """Return the plan of one drawer; its parts are entered into the register.

        Args:
            index: index of the drawer in the spec.
            outline: its usable outline.
            lattice: its grid.
            places: positions of its own trays.
            items: trays for items, those that stay first, and spare trays.
            held: what its own trays hold, by their index.
            lanes: its lanes, with the panels between them.
            laid: its panels.
        """
        drawer, pointer, grid = self.spec.drawers[index], f"/drawers/{index}", self.spec.grid
        bare = drawer.floor == "tiles" and not drawer.tiled_throughout
        area = floor_area(outline.usable, lanes) if bare else outline.usable
        floor = tile_floor(
            outline.usable if area is None else area,
            lattice,
            joint=self.joint,
            seam=grid.seam,
            seam_gap=grid.seam_gap,
            printer=self.spec.printer_of("tile"),
        )
        self.register.warn(*outline.warnings, *floor.warnings)
        # Tiles come first: seams refer to them by index.
        tiles = tuple(self._tiles(floor, drawer, pointer))
        trays = tuple(self._trays(index, places, lattice, held))
        self.register.warn(*(warning for tray in held.values() for warning in tray.warnings))
        room = DrawerRoom(panels=laid.tops)
        half_feet = tuple(self._half_feet(items, lattice, room))
        for_items = tuple(self._item_trays(index, items, lattice, half_feet))
        standing = (*trays, *for_items)
        starts = tuple(itertools.accumulate((len(tray.placements) for tray in standing), initial=len(tiles)))
        keys = tuple(self._keys(floor, drawer))
        taken = [(place.at, tray_halves(drawer.trays[place.tray])) for place in places]
        taken += [(item.at, tray_halves(item.tray)) for item in items]
        contents = (
            *(
                stored
                for number, (place, tray) in zip(starts, zip(places, trays, strict=True), strict=False)
                if place.tray in held
                for stored in held[place.tray].stored(number, tray.placements[0].at)
            ),
            *(
                stored
                for number, (item, tray) in zip(starts[len(trays) :], zip(items, for_items, strict=True), strict=False)
                for stored in item.stored(number, tray.placements[0].at)
            ),
        )
        placements = (*tiles, *(placement for tray in standing for placement in tray.placements), *keys)
        panels = enter_panels(laid, self.register)
        jointed = tuple(
            joined(tray.made.jointed, tray.placements, start)
            for start, tray in zip(starts, standing, strict=False)
            if tray.made.jointed is not None
        )
        upper = self._upper(
            [
                *((layered(drawer.trays[place.tray], place), place.half_feet) for place in places),
                *((_layered(item), half) for item, half in zip(items, half_feet, strict=True)),
            ],
            [
                (start, tray.placements[0].name or "", at)
                for start, tray, at in zip(
                    starts,
                    standing,
                    [*(f"{pointer}/trays/{place.tray}" for place in places), *(item.pointer for item in items)],
                    strict=False,
                )
            ],
            lattice,
            room,
        )
        self._warn_of_loose(floor, tiles, pointer)
        return summary(
            drawer, outline, lattice, floor, placements=(*placements, *panels.placements), taken=taken,
            contents=(*contents, *lanes.contents), jointed=jointed, upper=upper, panels=panels.shifted(len(placements)),
            lanes=lanes.lanes,
        )  # fmt: skip

    def _upper(
        self,
        trays: Sequence[tuple[LayeredTray, bool]],
        placed: Sequence[tuple[int, str, str]],
        lattice: Lattice,
        room: DrawerRoom,
    ) -> tuple[UpperPlan, ...]:
        """Return the trays on others and on panels.

        Args:
            trays: in their places, each with whether it has half feet.
            placed: for each tray the index of its first placement, its name and its JSON Pointer.
            lattice: the drawer's grid.
            room: the drawer with its panels.
        """
        upper: list[UpperPlan] = []
        every = [tray for tray, _ in trays]
        for (tray, half_feet), (placement, name, pointer) in zip(trays, placed, strict=True):
            if not tray.z:
                continue
            below = carriers(tray, every, self.joint.nesting_depth)
            seats = panel_seats(room, lattice, self.joint, tray, half_feet=half_feet)
            stands = support(tray, [every[number] for number in below], [seat.contact for seat in seats.values()])
            balance = None if stands is None else stands.balance
            on = tuple(placed[number][0] for number in below)
            upper.append(UpperPlan(name, placement, on, tray.z, balance, tuple(seats)))
            if seats and not below and all(seat.line is None for seat in seats.values()):
                self.register.warn_at(
                    pointer,
                    f"Only friction keeps tray {name!r} from sliding on its panels. Put a panel on a line between its "
                    "cells: its feet stand on both sides of it then.",
                )
        return tuple(upper)

    def room(self, outline: Outline, lanes: DrawerLanes, panels: PanelLayout) -> DrawerRoom:
        """Return a drawer as trays on others and on panels find it."""
        things: list[Obstruction] = []
        for stored in lanes.contents:
            (x, y, z), (wide, deep, high) = stored.at, stored.size
            things.append(Obstruction(f"{stored.item!r} in its lane", (x, y, x + wide, y + deep), z + high))
        return DrawerRoom(outline.usable, panels.tops, (*panels.obstructions, *things))

    def panels(self, index: int, outline: Outline, lanes: DrawerLanes, sockets: FloorSockets | None) -> PanelLayout:
        """Return the panels of a drawer in their places, those of its lanes last.

        Args:
            index: index of the drawer in the spec.
            outline: its usable outline.
            lanes: its lanes, with the panels between them.
            sockets: those that panels stand on; None on the bare bottom.

        Raises:
            PanelError: if a panel has no place, does not stand, or cannot be printed.
        """
        drawer = self.spec.drawers[index]
        divided = drawer.model_copy(update={"panels": (*drawer.panels, *lanes.panels)})
        beside = None if drawer.floor == "none" or drawer.tiled_throughout else floor_area(outline.usable, lanes)
        return panel_layout(
            divided, outline.usable, f"/drawers/{index}", self._panel_profile, self.panel_bed, self._panel_layer,
            floor=beside, sockets=sockets, listed=len(drawer.panels),
        )  # fmt: skip

    def panel_bands(self, index: int, outline: Outline, sockets: FloorSockets | None) -> list[Rectangle]:
        """Return the rectangles that the panels of a drawer's list take, mm.

        Raises:
            PanelError: if a panel has no place or does not stand.
        """
        drawer = self.spec.drawers[index]
        lines = panel_lines(
            drawer, outline.usable, f"/drawers/{index}", self._panel_profile, self._panel_layer,
            sockets=sockets,
        )  # fmt: skip
        return [line.across(max(line.thickness, DIVIDER) / 2.0, line.start, line.end) for line in lines]

    def panel_fault(self, index: int, outline: Outline, lanes: DrawerLanes, sockets: FloorSockets | None) -> str | None:
        """Return why the panels between the lanes of a drawer cannot be set up; None if they can."""
        if not lanes.panels:
            return None
        try:
            self.panels(index, outline, lanes, sockets)
        except PanelError as fault:
            return fault.message
        return None

    @property
    def _panel_profile(self) -> PanelProfile:
        return PanelProfile(self.spec.line_width_of("panel"), self.joint.clearance)

    @property
    def _panel_layer(self) -> float:
        return self.spec.layer_of("panel")

    def _warn_of_loose(self, floor: Floor, tiles: Sequence[Placement], pointer: str) -> None:
        """Warn of tiles that no tab or key joins to those they meet, unless the spec asks for plain seams."""
        loose = [tiles[index] for index in floor.plan.loose]
        if loose and floor.plan.hold is not None:
            names = ", ".join(f"{tile.mark} (at {tile.at[0]:g}, {tile.at[1]:g})" for tile in loose)
            self.register.warn_at(pointer, f"Only the drawer's sides hold {names}: there is no room for a tab.")

    def add_coupon(self) -> None:
        """Enter the coupon and its plug, or warn why they are left out."""
        coupon, plug = coupon_shapes(self.joint, self.spec.grid.pitch, "C1")
        *names, own = coupon.letterings
        sizes = coupon_size(coupon), plug_size(plug)
        if not (self._fits("coupon", sizes[0]) and self._fits("plug", sizes[1])):
            width, depth, _ = sizes[0]
            self.register.warn_at("/coupon", f"The coupon of {width:g} x {depth:g} mm does not fit the bed: left out.")
            return
        first, last = (clearance_name(coupon.ladder[end][0]) for end in (0, -1))
        self.register.enter(
            "coupon",
            f"coupon {first} to {last}",
            replace(coupon, letterings=tuple(names)),
            sizes[0],
            count=1,
            room=lambda _, mark: replace(own, text=mark),
        )
        self.register.enter(
            "plug", "coupon plug", plug, sizes[1], count=1, room=self._mark(plug_mark), pointer="/coupon"
        )

    def _tiles(self, floor: Floor, drawer: Drawer, pointer: str) -> Iterator[Placement]:
        room = partial(mark_lettering, line_width=self.spec.line_width_of("tile"))
        for piece in floor.pieces:
            shape = piece.shape
            name, size = _tile_name(shape, self.spec.grid.pitch), box_of(shape.outline, shape.height)
            mark = self.register.enter("tile", name, shape, size, count=drawer.copies, room=room, pointer=pointer)
            yield Placement(mark, (*piece.at, 0.0), piece.turn)

    def _trays(
        self, index: int, places: Iterable[PlacedTray], lattice: Lattice, held: Mapping[int, HeldTray]
    ) -> Iterator[PlacedParts]:
        """Yield the trays with the placements of their parts, in the order of the drawer's list."""
        drawer = self.spec.drawers[index]
        for place in places:
            at = f"/drawers/{index}/trays/{place.tray}"
            own = held.get(place.tray)
            tray = drawer.trays[place.tray] if own is None else own.tray
            stored = () if own is None else own.stored(0, (0.0, 0.0, 0.0))
            where = TrayPlace.of(index, place.at, place.z)
            made, printer = self.made_at(where, tray, at, stored, half_feet=place.half_feet)
            yield self._stood(made, tray, at, where, lattice, drawer.copies, printer)

    def _half_feet(self, furnished: Sequence[Furniture], lattice: Lattice, room: DrawerRoom) -> Iterator[bool]:
        """Yield whether each tray for items has half feet: as cells, walls below or panels ask for it."""
        trays = [_layered(item) for item in furnished]
        for item, own in zip(furnished, trays, strict=True):
            half_feet = not on_whole(lattice, item.at, tray_halves(item.tray))
            if item.z:
                below = carriers(own, trays, self.joint.nesting_depth)
                half_feet = half_feet or on_half_feet(own, [trays[number] for number in below])
                half_feet = half_feet or (
                    not below and bool(panel_seats(room, lattice, self.joint, own, half_feet=True))
                )
            yield half_feet

    def _item_trays(
        self, index: int, furnished: Sequence[Furniture], lattice: Lattice, half_feet: Sequence[bool]
    ) -> Iterator[PlacedParts]:
        """Yield the trays for items with the placements of their parts, in their order."""
        copies = self.spec.drawers[index].copies
        for item, half in zip(furnished, half_feet, strict=True):
            where = TrayPlace.of(index, item.at, item.z)
            if isinstance(item, KeptTray):
                printer = item.made_for
                made = self.made_tray(item.tray, item.pointer, half_feet=half, printer=printer)
            else:
                stored = item.stored(0, (0.0, 0.0, 0.0))
                made, printer = self.made_at(where, item.tray, item.pointer, stored, half_feet=half)
            yield self._stood(made, item.tray, item.pointer, where, lattice, copies, printer)

    def _stood(  # noqa: PLR0917 - a tray and its place
        self,
        made: MadeTray,
        tray: Tray,
        at: str,
        place: TrayPlace,
        lattice: Lattice,
        copies: int,
        printer: str | None,
    ) -> PlacedParts:
        """Enter the parts of a tray into the register and return their placements."""
        own = tray.model_copy(
            update={
                "at": None,
                "on": (),
                "z": None,
                "quantity": 1,
                "hold": (),
                "finger_ramp": ramp_as_made(tray, made.shape.ramp),
            }
        )
        _, cell, z = place
        corner = tuple(lattice.origin[axis] + cell[axis] * lattice.pitch + made.shape.inset for axis in (0, 1))
        placements: list[Placement] = []
        for number, shape in enumerate(made.parts, start=1):
            piece = shape if isinstance(shape, PieceShape) else None
            mark = self.register.enter(
                "tray",
                tray.name if piece is None else f"{tray.name} {number}/{len(made.parts)}",
                shape,
                tray_size(made.shape) if piece is None else piece_size(piece),
                count=copies,
                room=self._mark(tray_mark if piece is None else piece_mark),
                pointer=at,
                tray=own,
                made_for=printer,
            )
            offset = (0.0, 0.0) if piece is None else piece.corner
            x, y = (round(corner[axis] + offset[axis], 3) for axis in (0, 1))
            placements.append(Placement(mark, (x, y, z), cell=cell, name=tray.name))
        return PlacedParts(made, tuple(placements))

    def _mark(self, lettering: Callable[..., Lettering | None]) -> Callable[[Any, str], Lettering | None]:
        """Return the function for the mark of a part that is printed as trays are."""
        return partial(lettering, line_width=self.spec.line_width_of("tray"))

    def _keys(self, floor: Floor, drawer: Drawer) -> Iterator[Placement]:
        """Yield the placements of loose keys, which are too small to carry a mark."""
        for key in floor.keys:
            size = box_of(key.shape.outline, key.shape.height)
            mark = self.register.enter("key", "seam key", key.shape, size, count=drawer.copies)
            yield Placement(mark, (*key.at, 0.0), key.turn)

    def _fits(self, kind: PartKind, size: tuple[float, float, float]) -> bool:
        """Return whether a box (mm) fits on the bed for a kind of part, as it is or turned by 90 degrees."""
        printer = self.spec.printer_of(kind)
        return Bed.of_printer(printer).holds(size[0], size[1]) and size[2] <= printer.bed[2] + LENGTH_EPSILON


def _layered(item: Furniture) -> LayeredTray:
    return LayeredTray(item.at, tray_halves(item.tray), item.z, item.tray.height, item.tray.rim)


def _tile_name(shape: TileShape, pitch: float) -> str:
    """Return the name of a tile: the size in cells of the bounding box of its sockets."""
    if not shape.sockets:
        return "border"
    width = max(socket.x + socket.width for socket in shape.sockets) - min(socket.x for socket in shape.sockets)
    depth = max(socket.y + socket.depth for socket in shape.sockets) - min(socket.y for socket in shape.sockets)
    return f"tile {round(width / pitch, 1):g} x {round(depth / pitch, 1):g}"
