"""Planning: a whole job laid out in numbers, drawer by drawer."""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial

from worker.layout.bed import Bed
from worker.layout.cautions import cautions
from worker.layout.changes import changes_of
from worker.layout.contents import Contents, Furniture, furnish, on_whole, reserved, site_of, spares, wanted
from worker.layout.coupon import clearance_name, coupon_shapes, coupon_size, plug_size
from worker.layout.document import plan_document
from worker.layout.effort import THOROUGH
from worker.layout.ground import FRAME_AIR
from worker.layout.lattice import fit_lattice
from worker.layout.lettering import mark_lettering
from worker.layout.marks import plug_mark, tray_mark
from worker.layout.outline import Outline, drawer_outline
from worker.layout.parts import Placement, TileShape, TrayShape
from worker.layout.placing import Footing, PlacedTray, Spot, place_trays, tray_halves
from worker.layout.plan import DrawerPlan, Lattice, Plan, SeamPair, Stored
from worker.layout.previous import Previous
from worker.layout.register import Register, box_of
from worker.layout.relayout import Relayout, Staying, require_fixed
from worker.layout.site import Site
from worker.layout.spaces import free_spaces
from worker.layout.tiling import Floor, tile_floor
from worker.layout.trays import tray_shape, tray_size
from worker.layout.unplaced import settle_unplaced
from worker.spec import Drawer, Spec
from worker.spec.errors import TrayError
from worker.spec.tolerances import LENGTH_EPSILON
from worker.spec.tray import Tray

__all__ = ["lay_out"]


def lay_out(spec: Spec) -> Plan:
    """Lay a whole job out.

    Marks are given in order of first use: drawers as they stand in the spec, tiles as their floor lists them, trays as
    the spec does. Equal shapes get one mark over all drawers, and a part's quantity counts the copies of its drawers.

    Raises:
        LayoutError: when a drawer or its floor cannot be laid out; `TrayError` when a tray cannot be made or placed.
    """
    job = _Job(spec)
    contents = job.furnished()
    unplaced = settle_unplaced(spec, contents.unplaced)
    drawers = tuple(job.drawer(index, trays) for index, trays in enumerate(contents.trays))
    if spec.coupon:
        job.add_coupon()
    register = job.register
    plan = Plan(
        name=spec.name,
        drawers=drawers,
        parts=register.parts(),
        warnings=register.warnings(),
        cautions=cautions(spec),
        unplaced=unplaced,
        numbering=register.numbers(),
    )
    return plan if spec.previous is None else replace(plan, changes=changes_of(plan_document(plan), spec.previous))


class _Job:
    """One job on the drawing board: what all drawers share."""

    def __init__(self, spec: Spec) -> None:
        self.spec = spec
        self.joint = spec.joint()
        self.previous = Previous.of(spec.previous)
        self.register = Register(self.previous.marks, self.previous.numbers)
        self._grounds: dict[int, tuple[Outline, Lattice]] = {}
        self._placed: dict[int, tuple[PlacedTray, ...]] = {}
        self._staying = (Staying(),) * len(spec.drawers)
        self._own = [wanted(drawer.items, f"/drawers/{index}/items") for index, drawer in enumerate(spec.drawers)]
        self._of_job = wanted(spec.items, "/items")
        self.bed = Bed.of_printer(spec.printer)

    def furnished(self) -> Contents:
        """Return the trays for items, each in its place, and the items without one.

        What is printed stays where it serves. When things would find no place so, all but what is fixed may move.

        Raises:
            LayoutError: when something fixed cannot stay; `TrayError` when a tray of the list finds no room.
        """
        if self.previous.manifest is None:
            return self._furnished()
        require_fixed((*itertools.chain(*self._own), *self._of_job), self._stay(movable=True))
        failed: TrayError | None = None
        try:
            found = self._furnished()
        except TrayError as no_room:
            failed = no_room
        else:
            if not found.unplaced:
                return found
        staying = self._staying
        self._stay(movable=False)
        other = self._furnished()
        if failed is not None or _missing(other) < _missing(found):
            return other
        self._set(staying)
        return found

    def _stay(self, *, movable: bool) -> tuple[Staying, ...]:
        """Let what is printed stay in its place, or only what is fixed; return it, drawer by drawer."""
        found: list[Staying] = []
        used: set[str] = set()
        for index, own in enumerate(self._own):
            left = [one for one in (*own, *self._of_job) if one[0] not in used]
            limit = self.spec.drawers[index].height - FRAME_AIR
            found.append(self._relayout(index).staying(left, limit=limit, movable=movable))
            used.update(pointer for kept in found[-1].kept for pointer, _, _ in kept.items)
        return self._set(tuple(found))

    def _set(self, staying: tuple[Staying, ...]) -> tuple[Staying, ...]:
        self._staying = staying
        self._placed.clear()
        return staying

    def _relayout(self, index: int) -> Relayout:
        def make(tray: Tray, half_feet: bool) -> TrayShape:  # noqa: FBT001 - the form that `Make` has
            return self._tray_shape(tray, f"/drawers/{index}", half_feet=half_feet)

        return Relayout(self.previous, self.spec.drawers[index], Footing(self._ground(index)[1]), make)

    def _furnished(self) -> Contents:
        """Return the trays for items: those that stay, and others for what is in none of them."""
        sites = [self._site(index) for index in range(len(self.spec.drawers))]
        used = {pointer for one in self._staying for kept in one.kept for pointer, _, _ in kept.items}
        own = [[one for one in its_own if one[0] not in used] for its_own in self._own]
        of_job = [one for one in self._of_job if one[0] not in used]
        found = furnish(self.spec, sites, of_job, own)
        lists = [("/items", len(of_job) / len(own))]
        lists += [(f"/drawers/{index}/items", float(len(its_own))) for index, its_own in enumerate(own)]
        for pointer, kinds in lists:
            if kinds > THOROUGH:
                message = (
                    f"Over {THOROUGH} kinds of items a drawer: fewer ways to share, pile and place trays were tried."
                )
                self.register.warn_at(pointer, message)
        filled = (self._filled(index, sites[index], trays) for index, trays in enumerate(found.trays))
        return replace(found, trays=tuple(filled))

    def _filled(self, index: int, site: Site, trays: tuple[Furniture, ...]) -> tuple[Furniture, ...]:
        """Return a drawer's trays and, where it is to be filled, spare ones: those that are printed first."""
        if not self.spec.drawers[index].fill:
            return trays
        pointer, kept = f"/drawers/{index}/fill", self._staying[index].kept
        standing = [one.tray for one in (*kept, *trays) if not one.z]
        bay = site.bay.less((one.at, tray_halves(one.tray)) for one in trays if not one.z)
        gone = {one.printed.index for one in kept}
        there = tuple(self._relayout(index).spares(bay, gone, limit=site.limit, pointer=pointer))
        bay = bay.less(one.rectangle for one in there)
        return (*trays, *there, *spares(site, bay, (tray.height for tray in standing), pointer))

    def _site(self, index: int) -> Site:
        """Return a drawer as far as items go: with what its own trays and those that stay leave free."""
        drawer = self.spec.drawers[index]
        taken = [(place.at, tray_halves(drawer.trays[place.tray])) for place in self._places(index)]
        taken += [kept.rectangle for kept in self._staying[index].kept]
        return site_of(self.spec, index, self._ground(index)[1], taken, self.bed)

    def _ground(self, index: int) -> tuple[Outline, Lattice]:
        """Return a drawer's outline and grid, worked out once."""
        if index not in self._grounds:
            drawer, pointer, grid = self.spec.drawers[index], f"/drawers/{index}", self.spec.grid
            outline = drawer_outline(drawer, pointer)
            lattice = fit_lattice(
                outline.usable,
                pitch=grid.pitch,
                half_cells=grid.half_cells,
                align=(drawer.align.x, drawer.align.y),
                pointer=pointer,
            )
            self._grounds[index] = outline, lattice
        return self._grounds[index]

    def _places(self, index: int) -> tuple[PlacedTray, ...]:
        """Return where the drawer's own trays stand, worked out once."""
        if index not in self._placed:
            drawer, lattice = self.spec.drawers[index], self._ground(index)[1]
            kept = self._staying[index].kept
            pins = self._relayout(index).pins(kept) if self.previous.manifest is not None else {}
            taken = [one.rectangle for one in kept]
            place = partial(place_trays, drawer, lattice, pointer=f"/drawers/{index}", pins=pins)
            try:
                self._placed[index] = place(taken=(*taken, *self._reserved(index, taken)))
            except TrayError:
                self._placed[index] = place(taken=taken)  # trays come before items
        return self._placed[index]

    def _reserved(self, index: int, taken: Sequence[tuple[Spot, Spot]]) -> tuple[tuple[Spot, Spot], ...]:
        """Return the places that items of a drawer are pinned to, which its trays without a place leave alone."""
        items = [*self._own[index], *(self._of_job if len(self.spec.drawers) == 1 else ())]
        pinned = [item for _, item in items if item.at is not None]
        return reserved(pinned, site_of(self.spec, index, self._ground(index)[1], taken, self.bed)) if pinned else ()

    def drawer(self, index: int, new: Sequence[Furniture]) -> DrawerPlan:
        """Return one drawer's plan; its parts are entered into the register.

        Args:
            index: the drawer's.
            new: trays for items, and spare ones, beside those that stay.
        """
        furnished: Sequence[Furniture] = (*self._staying[index].kept, *new)
        drawer, pointer, grid = self.spec.drawers[index], f"/drawers/{index}", self.spec.grid
        outline, lattice = self._ground(index)
        floor = tile_floor(
            outline.usable,
            lattice,
            joint=self.joint,
            seam=grid.seam,
            seam_gap=grid.seam_gap,
            printer=self.spec.printer_of("tile"),
        )
        self.register.warn(*outline.warnings, *floor.warnings)
        # Tiles come first: the seams count them.
        tiles = tuple(self._tiles(floor, drawer, pointer))
        places = self._places(index)
        trays = tuple(self._trays(places, lattice, drawer, pointer))
        for_items = tuple(self._item_trays(furnished, lattice, drawer.copies))
        keys = tuple(self._keys(floor, drawer))
        taken = [(place.at, tray_halves(drawer.trays[place.tray])) for place in places]
        taken += [(one.at, tray_halves(one.tray)) for one in furnished if not one.z]
        first = len(tiles) + len(trays)
        contents = tuple(
            stored
            for number, (one, placement) in enumerate(zip(furnished, for_items, strict=True))
            for stored in one.stored(first + number, placement.at)
        )
        placements = (*tiles, *trays, *for_items, *keys)
        return _summary(drawer, outline, lattice, floor.seams, placements=placements, taken=taken, contents=contents)

    def add_coupon(self) -> None:
        """Enter the coupon and its plug, or say why they are left out."""
        coupon, plug = coupon_shapes(self.joint, self.spec.grid.pitch, "C1")
        *names, own = coupon.letterings
        sizes = coupon_size(coupon), plug_size(plug)
        if not all(self._fits(size) for size in sizes):
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
        self.register.enter("plug", "coupon plug", plug, sizes[1], count=1, room=plug_mark, pointer="/coupon")

    def _tiles(self, floor: Floor, drawer: Drawer, pointer: str) -> Iterator[Placement]:
        room = partial(mark_lettering, line_width=self.spec.line_width_of("tile"))
        for piece in floor.pieces:
            shape = piece.shape
            name, size = _tile_name(shape, self.spec.grid.pitch), box_of(shape.outline, shape.height)
            mark = self.register.enter("tile", name, shape, size, count=drawer.copies, room=room, pointer=pointer)
            yield Placement(mark, (*piece.at, 0.0), piece.turn)

    def _trays(
        self, places: Iterable[PlacedTray], lattice: Lattice, drawer: Drawer, pointer: str
    ) -> Iterator[Placement]:
        """Yield where the trays stand, in the order of the drawer's list."""
        shapes: dict[tuple[int, bool], TrayShape] = {}
        for place in places:
            kind = (place.tray, place.half_feet)
            at = f"{pointer}/trays/{place.tray}"
            if kind not in shapes:
                shapes[kind] = self._tray_shape(drawer.trays[place.tray], at, half_feet=place.half_feet)
            yield self._stood(shapes[kind], drawer.trays[place.tray], at, place.at, lattice, copies=drawer.copies)

    def _item_trays(self, furnished: Iterable[Furniture], lattice: Lattice, copies: int) -> Iterator[Placement]:
        """Yield where the trays of items stand, in their order."""
        for one in furnished:
            half_feet = not on_whole(lattice, one.at, tray_halves(one.tray))
            shape = self._tray_shape(one.tray, one.pointer, half_feet=half_feet)
            yield self._stood(shape, one.tray, one.pointer, one.at, lattice, copies=copies, z=one.z)

    def _stood(
        self, shape: TrayShape, tray: Tray, at: str, spot: Spot, lattice: Lattice, *, copies: int, z: float = 0.0
    ) -> Placement:
        """Return a tray's placement; it is entered into the register."""
        own = tray.model_copy(update={"at": None, "quantity": 1})
        mark = self.register.enter(
            "tray", tray.name, shape, tray_size(shape), count=copies, room=tray_mark, pointer=at, tray=own
        )
        cell = spot[0] / 2.0, spot[1] / 2.0
        x, y = (round(lattice.origin[axis] + cell[axis] * lattice.pitch + shape.inset, 3) for axis in (0, 1))
        return Placement(mark, (x, y, z), cell=cell, name=tray.name)

    def _tray_shape(self, tray: Tray, pointer: str, *, half_feet: bool) -> TrayShape:
        """Return a tray's shape, checked against the bed."""
        printer = self.spec.printer
        shape = tray_shape(
            tray,
            joint=self.joint,
            pitch=self.spec.grid.pitch,
            line_width=self.spec.line_width_of("tray"),
            half_feet=half_feet,
            pointer=pointer,
        )
        size = tray_size(shape)
        if not self.bed.holds(size[0], size[1]):
            raise TrayError(
                f"Tray {tray.name!r} does not fit the printer's bed.",
                pointer=f"{pointer}/cells",
                value=[round(size[0], 3), round(size[1], 3)],
                limit=f"{printer.usable[0]:g} x {printer.usable[1]:g} mm, clear of forbidden rectangles, either way",
                remedy="Split it into smaller trays.",
            )
        if size[2] > printer.bed[2] + LENGTH_EPSILON:
            raise TrayError(
                f"Tray {tray.name!r} is taller than the printer can print.",
                pointer=f"{pointer}/height",
                value=size[2],
                limit=f"at most {printer.bed[2]:g} mm",
                remedy="Make the tray lower.",
            )
        return shape

    def _keys(self, floor: Floor, drawer: Drawer) -> Iterator[Placement]:
        """Yield where the loose keys go. A key is too small for a mark, and there is only one kind of it."""
        key = floor.key
        if key is None:
            return
        size = box_of(key.outline, key.height)
        for x, y, turn in floor.key_places:
            mark = self.register.enter("key", "seam key", key, size, count=drawer.copies)
            yield Placement(mark, (x, y, 0.0), turn)

    def _fits(self, size: tuple[float, float, float]) -> bool:
        """Return whether a box has room on the bed, as it is or turned."""
        return self.bed.holds(size[0], size[1]) and size[2] <= self.spec.printer.bed[2] + LENGTH_EPSILON


def _summary(
    drawer: Drawer,
    outline: Outline,
    lattice: Lattice,
    seams: tuple[SeamPair, ...],
    *,
    placements: tuple[Placement, ...],
    taken: Sequence[tuple[Spot, Spot]],
    contents: tuple[Stored, ...],
) -> DrawerPlan:
    """Return a drawer's plan with its counts."""
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
        free=quarters - sum(across * back for _, (across, back) in taken),
        placements=placements,
        seams=seams,
        copies=drawer.copies,
        contents=contents,
        spaces=free_spaces(lattice, taken),
    )


def _missing(contents: Contents) -> int:
    """Return how many things have no place."""
    return sum(one.count for one in contents.unplaced)


def _longest(lines: Iterable[int]) -> int:
    """Return how many cells the fullest row or column has."""
    return max((len(list(group)) for _, group in itertools.groupby(sorted(lines))), default=0)


def _tile_name(shape: TileShape, pitch: float) -> str:
    """Return a tile's name: the cells across and front to back of the box around its sockets."""
    if not shape.sockets:
        return "border"
    width = max(one.x + one.width for one in shape.sockets) - min(one.x for one in shape.sockets)
    depth = max(one.y + one.depth for one in shape.sockets) - min(one.y for one in shape.sockets)
    return f"tile {round(width / pitch, 1):g} x {round(depth / pitch, 1):g}"
