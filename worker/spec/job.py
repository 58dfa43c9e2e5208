"""The spec of a job, and the rules that span several of its parts."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain
from types import MappingProxyType
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import (
    BeforeValidator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    PrivateAttr,
    model_validator,
)
from pydantic_core import CoreSchema, PydanticKnownError, core_schema

from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.grid import Grid
from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_FOOT, Joint
from worker.spec.drawer.tray import Tray
from worker.spec.errors import JointError, SpecError, TrayError
from worker.spec.items.item import Item
from worker.spec.items.item_list import Items
from worker.spec.items.layout import LayoutPreferences
from worker.spec.manifest import Manifest, PartKind, PlanDocument
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name
from worker.spec.primitives.pydantic_errors import Refusals, Step
from worker.spec.printer.lettering import LetteredFace
from worker.spec.printer.material import Material
from worker.spec.printer.printer import NamedPrinter, Printer, refused_layer, refused_line
from worker.spec.printer.printing import Printing
from worker.spec.printer.schedule import Schedule, SchedulePrinter
from worker.spec.tolerances import LENGTH_EPSILON, LINES_IN_A_WALL

__all__ = ["Spec"]

_LAYERS_IN_A_FLOOR = 2
_NO_KINDS: Final[Mapping[PartKind, str]] = MappingProxyType({})
#: Faces whose lettering lies in a few layers, and those of them on which nothing else of a part need lie in these.
_SOLID_FACES: Final[tuple[LetteredFace, ...]] = ("top", "bottom", "floor")
_PAUSED_FACES: Final[tuple[LetteredFace, ...]] = ("top", "bottom")
#: Minimum straight edge in mm between the rounded corners of a half cell; without one, points of its rings coincide.
_STRAIGHT = 0.5


def _largest(fields: dict[str, Any]) -> Printer | None:
    """Return the printer with the largest bed, the first of several; None without printers."""
    printers: tuple[NamedPrinter, ...] = fields["printers"]
    if not printers:
        return None
    return _as_all(max(printers, key=lambda printer: printer.bed[0] * printer.bed[1]), printers)


def _given(printer: object) -> object:
    """Refuse a spec without any printer as pydantic does where a required field is missing."""
    if printer is None:
        raise PydanticKnownError("missing")
    return printer


def _as_all(printer: NamedPrinter, printers: Sequence[Printer]) -> NamedPrinter:
    """Return the printer with what all can do, for a part is the same on all: changes of filament, and bridges."""
    shared = {
        "tool_changes": all(each.tool_changes for each in printers),
        "max_bridge": min(each.max_bridge for each in printers),
    }
    return printer.model_copy(update=shared)


def _previous(data: Any) -> Manifest | PlanDocument:
    """Return a previous manifest, or a previous plan document: each says which it is."""
    if isinstance(data, PlanDocument) or (isinstance(data, dict) and "plan" in data):
        return PlanDocument.model_validate(data)
    return Manifest.model_validate(data)


class _AsDocument:
    """Annotation for a document inside a spec: its schema is published on its own, so the spec's does not repeat it."""

    def __get_pydantic_core_schema__(self, _source: Any, _handler: GetCoreSchemaHandler) -> CoreSchema:
        """Validate and serialize it as what it is."""
        write = core_schema.plain_serializer_function_ser_schema(lambda document: document.model_dump(mode="json"))
        return core_schema.no_info_plain_validator_function(_previous, serialization=write)

    def __get_pydantic_json_schema__(self, _schema: CoreSchema, _handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe it as a plain object."""
        return {"type": "object"}


Previous: TypeAlias = Annotated[Manifest | PlanDocument, _AsDocument()]


class Spec(Noun):
    """A job: drawers, and the grid, printers and material that they share."""

    # that `printer` or `printers` is required is in their descriptions only: of an object with `anyOf`, generators of
    # clients make a union, and no class Spec

    spec: Literal["1"] = Field(description="Version of this contract.")
    name: Name = Field(description="Name of the job.")
    drawers: tuple[Drawer, ...] = Field(min_length=1, max_length=100, description="Drawers of the job.")
    grid: Grid = Field(default=Grid(), description="Grid of all drawers.")
    printers: tuple[NamedPrinter, ...] = Field(
        default=(),
        max_length=20,
        description="Printers that need not be alike, instead of `printer`. Each part is printed where it fits; "
        "floors, panels and each large tray are made for the printer with which all is printed sooner.",
    )
    printer: Annotated[Printer, BeforeValidator(_given)] = Field(
        default_factory=_largest, validate_default=True, description="Printer; required without `printers`."
    )
    material: Material = Field(default=Material(), description="Filament.")
    joints: bool = Field(
        default=True, strict=True,
        description="Print trays that are larger than the bed in pieces that join into one tray.",
    )  # fmt: skip
    printing: Printing = Field(default=Printing(), description="Print settings: layers, line widths, runs and profile.")
    schedule: Schedule | None = Field(default=None, description="Printers and working hours; null for no calendar.")
    coupon: bool = Field(
        default=True, strict=True, description="Add a small test print that shows which clearance fits."
    )
    items: Items = Field(default=(), description="Items to distribute over all drawers of the job.")
    layout: LayoutPreferences = Field(
        default=LayoutPreferences(), description="Preferences for the trays that are chosen for items."
    )
    strict: bool = Field(default=False, strict=True, description="Refuse the job if an item cannot be placed.")
    previous: Previous | None = Field(
        default=None,
        description="Manifest (manifest.schema.json) of the job as printed: parts that can be reused stay in place. Or "
        "the plan document of a job that is not printed yet: its trays stay where they are as far as possible.",
    )

    #: Names of the printers that kinds of parts are made for, where it is not ``printer``. See `for_printer`.
    _printers_of_kinds: dict[PartKind, str] = PrivateAttr(default_factory=dict)

    def to_json(self) -> str:
        """Return the spec as JSON, with lengths in mm and without fields that were not given."""
        return self.model_dump_json(exclude_unset=True)

    def layer_of(self, kind: PartKind) -> float:
        """Return the layer height for a kind of part, in mm."""
        return self.printing.of(kind).layer or self._made_on(kind).layer

    def line_width_of(self, kind: PartKind) -> float:
        """Return the line width for a kind of part, in mm."""
        return self.printing.of(kind).line_width or self._made_on(kind).line_width

    def material_of(self, kind: PartKind) -> Material:
        """Return the filament for a kind of part."""
        return self.printing.of(kind).material or self.material

    def materials_of(self, kinds: Iterable[PartKind]) -> tuple[Material, ...]:
        """Return the filaments of some kinds of parts, each once, that of the lettering last."""
        own = [self.material_of(kind) for kind in kinds]
        lettering = [] if self.printing.lettering is None else [self.printing.lettering.material]
        return tuple(dict.fromkeys([*own, *lettering]))

    @property
    def lettering_faces(self) -> tuple[LetteredFace, ...]:
        """Faces whose lettering is in the second filament; empty without one."""
        lettering = self.printing.lettering
        if lettering is None:
            return ()
        return lettering.faces or (_SOLID_FACES if self.printer.tool_changes else _PAUSED_FACES)

    @property
    def body_faces(self) -> tuple[LetteredFace, ...]:
        """Faces whose lettering is a body of its own: all that are lettered, if the printer changes filaments."""
        return self.lettering_faces if self.printer.tool_changes else ()

    def printer_of(self, kind: PartKind, name: str | None = None) -> Printer:
        """Return the printer that a kind of part is made for, with the layer height and line width for it.

        Args:
            kind: the kind of part.
            name: the printer that a part of this kind is made for instead.
        """
        own = {"layer": self.layer_of(kind), "line_width": self.line_width_of(kind)}
        return (self._made_on(kind) if name is None else self.printer_named(name)).model_copy(update=own)

    def _made_on(self, kind: PartKind) -> Printer:
        return self.printer_named(self._printers_of_kinds.get(kind))

    def for_printer(self, name: str | None, kinds: Mapping[PartKind, str] = _NO_KINDS) -> Self:
        """Return the job with ``printer`` as the one of this name; for None, the job as it is.

        Args:
            name: the printer that parts are made for.
            kinds: names of other printers, by the kinds of parts that are made for them.

        Raises:
            KeyError: if there is none of this name.
        """
        if name is None:
            return self
        made = self.model_copy(update={"printer": self.printer_named(name)})
        unlike = {kind: own for kind, own in kinds.items() if own != name}
        made._printers_of_kinds = unlike  # noqa: SLF001 - a copy of itself
        return made

    @property
    def made_for_kinds(self) -> Mapping[PartKind, str]:
        """Names of the printers that kinds of parts are made for, where it is not ``printer``."""
        return dict(self._printers_of_kinds)

    def printer_named(self, name: str | None) -> Printer:
        """Return one of the printers; for None, the job's only one.

        Raises:
            KeyError: if there is none of this name.
        """
        if name is None:
            return self.printer
        by_name = {printer.name: printer for printer in self.printers}
        return _as_all(by_name[name], self.printers)

    @property
    def calendar(self) -> Schedule | None:
        """The schedule with all of ``printers``: those that it does not list have no hours and spools of their own."""
        if self.schedule is None or not self.printers:
            return self.schedule
        given = self.schedule.printers if "printers" in self.schedule.model_fields_set else ()
        listed = {own.name for own in given}
        others = [SchedulePrinter(name=own.name) for own in self.printers if own.name not in listed]
        return self.schedule.model_copy(update={"printers": (*given, *others)})

    @property
    def designs(self) -> tuple[str, ...]:
        """Names of printers for whose bed, lines and layers all parts can be made, the largest bed first.

        Those that are alike in all three are represented by the first.
        """
        alike: dict[tuple[object, ...], str] = {}
        for printer in sorted(self.printers, key=lambda own: -own.bed[0] * own.bed[1]):
            areas = tuple((area.at, area.size) for area in printer.forbidden)
            key = printer.bed, printer.margin, areas, printer.line_width, printer.layer
            if key not in alike and not self.for_printer(printer.name)._unsuited():  # noqa: SLF001 - a copy of itself
                alike[key] = printer.name
        return tuple(alike.values())

    def joint(self) -> Joint:
        """Return the checked joint of this grid and clearance, for the widest line of tiles, trays and panels."""
        return self.grid.to_joint(max(self.line_width_of(kind) for kind in ("tile", "tray", "panel")))

    def trays(self) -> Iterator[tuple[int, int, Tray]]:
        """Yield each tray with its drawer's and its own index."""
        for drawer_index, drawer in enumerate(self.drawers):
            for tray_index, tray in enumerate(drawer.trays):
                yield drawer_index, tray_index, tray

    def items_of(self, drawer: int | None) -> Iterator[tuple[str, Item]]:
        """Yield the items of a drawer, or for None those of the job, each after its JSON Pointer."""
        pointer, items = ("", self.items) if drawer is None else (f"/drawers/{drawer}", self.drawers[drawer].items)
        for index, item in enumerate(items):
            yield f"{pointer}/items/{index}", item

    def every_item(self) -> Iterator[tuple[str, Item]]:
        """Yield the items of the job, then those of each drawer, each after its JSON Pointer."""
        yield from self.items_of(None)
        for drawer in range(len(self.drawers)):
            yield from self.items_of(drawer)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        self._check_printers(refusals)
        self._check_names(refusals)
        self._check_printing(refusals)
        if not self.designs:
            self._check_design(refusals)
        self._check_items(refusals)
        self._check_holds(refusals)
        refusals.settle()
        return self

    def _check_names(self, refusals: Refusals) -> None:
        seen: set[str] = set()
        for index, drawer in enumerate(self.drawers):
            if drawer.name in seen:
                error = SpecError(
                    "Two drawers have the same name.",
                    value=drawer.name, limit="unique in the job", remedy="Rename one of them, or use `copies`.",
                )  # fmt: skip
                refusals.add(error, "drawers", index, "name")
            seen.add(drawer.name)
        ids = [drawer.id for drawer in self.drawers]
        for index, drawer in enumerate(self.drawers):
            if drawer.id is not None and drawer.id in ids[:index]:
                error = SpecError(
                    "A drawer of the household is named twice.",
                    value=drawer.id, limit="each drawer once", remedy="Remove one of them.",
                )  # fmt: skip
                refusals.add(error, "drawers", index, "id")

    def _check_design(self, refusals: Refusals) -> None:
        """Check what depends on the lines and layers of the printer that the parts are made for."""
        self._check_joint(refusals)
        self._check_trays(refusals)

    def _unsuited(self) -> bool:
        """Return whether parts cannot be made for the lines and layers of the printer."""
        refusals = Refusals()
        self._check_design(refusals)
        return bool(refusals)

    def _check_printers(self, refusals: Refusals) -> None:
        """Check the names of printers, and that each filament and layer of the job has a printer."""
        if self.printers and "printer" in self.model_fields_set:
            error = SpecError(
                "The job has both one printer and several.",
                value=None, limit="printer or printers", remedy="Remove printer, or list it in printers.",
            )  # fmt: skip
            refusals.add(error, "printer")
        names = [printer.name for printer in self.printers]
        for index, name in enumerate(names):
            if name in names[:index]:
                error = SpecError(
                    "Two printers have the same name.",
                    value=name, limit="unique in the job", remedy="Rename one of them.",
                )  # fmt: skip
                refusals.add(error, "printers", index, "name")
        if self.schedule is not None and self.printers and "printers" in self.schedule.model_fields_set:
            for index, own in enumerate(self.schedule.printers):
                if own.name not in names:
                    error = SpecError(
                        "The job has no printer of this name.",
                        value=own.name, limit=", ".join(names),
                        remedy="Correct the name, or list the printer in /printers.",
                    )  # fmt: skip
                    refusals.add(error, "schedule", "printers", index, "name")
        for material, *at in self._filaments():
            if not any(printer.takes(material.name) for printer in self._every_printer):
                allowed = dict.fromkeys(name for own in self._every_printer for name in own.materials or ())
                error = SpecError(
                    "No printer takes this material.",
                    value=material.name, limit=", ".join(allowed),
                    remedy="Use another material, or add it to the materials of a printer.",
                )  # fmt: skip
                refusals.add(error, *at)

    @property
    def _every_printer(self) -> Sequence[Printer]:
        """All printers of the job."""
        return self.printers or (self.printer,)

    def _filaments(self) -> Iterator[tuple[Material, *tuple[Step, ...]]]:
        """Yield the job's filaments, each before its path."""
        if self.printing.tile.material is None or self.printing.tray.material is None:
            at: tuple[Step, ...] = ("material", "name") if "name" in self.material.model_fields_set else ("material",)
            yield self.material, *at
        for name, own in (("tile", self.printing.tile), ("tray", self.printing.tray)):
            if own.material is not None:
                yield own.material, "printing", name, "material", "name"
        if self.printing.lettering is not None:
            yield self.printing.lettering.material, "printing", "lettering", "material", "name"

    def _check_printing(self, refusals: Refusals) -> None:
        """Check that lines and layers suit the nozzle of a printer; layers to compare, those of all."""
        nozzle = max(printer.nozzle for printer in self._every_printer)
        for name, own in (("tile", self.printing.tile), ("tray", self.printing.tray)):
            if own.line_width is not None:
                refused = [refused_line(own.line_width, printer.nozzle) for printer in self._every_printer]
                if refused[0] is not None and all(refused):
                    refusals.add(refused[0], "printing", name, "line_width")
            if own.layer is not None and (coarse := refused_layer(own.layer, nozzle)) is not None:
                refusals.add(coarse, "printing", name, "layer")
        self._check_lettering(refusals)
        for index, process in enumerate(self.printing.layer_processes):
            if (coarse := refused_layer(process.layer, nozzle)) is not None:
                refusals.add(coarse, "printing", "layer_processes", index, "layer")
        finest = min(printer.nozzle for printer in self._every_printer)
        for index, layer in enumerate(self.printing.compare):
            if (coarse := refused_layer(layer, finest)) is not None:
                refusals.add(coarse, "printing", "compare", index)

    def _check_lettering(self, refusals: Refusals) -> None:
        lettering = self.printing.lettering
        if lettering is None:
            return
        for index, face in enumerate(lettering.faces or ()):
            if not self.printer.tool_changes and face not in _PAUSED_FACES:
                error = SpecError(
                    f"A pause cannot colour lettering on the {face}: other lines lie in the same layers.",
                    value=face, limit="top or bottom without printer.tool_changes",
                    remedy="Leave the face out, or set printer.tool_changes if the printer can change filaments.",
                )  # fmt: skip
                refusals.add(error, "printing", "lettering", "faces", index)
        key = lettering.material.name, lettering.material.colour
        if key == (self.material.name, self.material.colour):
            error = SpecError(
                "The lettering has the same filament as the parts.",
                value=lettering.material.colour, limit="another colour, or another name",
                remedy="Give both filaments a colour, #RRGGBB.",
            )  # fmt: skip
            refusals.add(error, "printing", "lettering", "material", "colour")

    def _check_joint(self, refusals: Refusals) -> None:
        try:
            joint = self.joint()
        except JointError as refused:
            steps = (refused.pointer or "").split("/")[1:]
            refusals.add(refused, *(int(step) if step.isdigit() else step for step in steps))
            return
        if self.grid.half_cells and self.grid.pitch < (least := 4.0 * CORNER_RADIUS + 2.0 * _STRAIGHT) - LENGTH_EPSILON:
            error = SpecError(
                "At this pitch a half cell is smaller than its rounded corners.",
                value=self.grid.pitch, limit=f"at least {least:g} mm with half cells",
                remedy="Use a larger pitch, or no half cells.",
            )  # fmt: skip
            refusals.add(error, "grid", "pitch")
            return
        foot = self.grid.pitch / (2.0 if self.grid.half_cells else 1.0) - 2.0 * joint.foot_levels()[0][0]
        if foot < LEAST_FOOT - LENGTH_EPSILON:
            at: tuple[Step, ...] = ("grid", "pitch") if self.grid.joint is None else ("grid", "joint", 0, 0)
            error = JointError(
                "The foot in a half cell is too narrow." if self.grid.half_cells else
                "The foot is too narrow.",
                value=round(foot, 3), limit=f"a foot at least {LEAST_FOOT:g} mm wide at its bottom",
                remedy="Use a larger pitch or smaller insets.",
            )  # fmt: skip
            refusals.add(error, *at)

    def _check_items(self, refusals: Refusals) -> None:
        for index, item in enumerate(self.items):
            if item.at is not None and len(self.drawers) > 1:
                error = SpecError(
                    "The position does not say which drawer is meant.",
                    value=item.at, limit="null, or a job of one drawer", remedy="List the item in its drawer.",
                )  # fmt: skip
                refusals.add(error, "items", index, "at")
            self._check_item(item, ("items", index), refusals)
        for drawer_index, drawer in enumerate(self.drawers):
            for index, item in enumerate(drawer.items):
                self._check_item(item, ("drawers", drawer_index, "items", index), refusals)

    def _check_item(self, item: Item, at: tuple[Step, ...], refusals: Refusals) -> None:
        if item.fixed and self.previous is None:
            error = SpecError(
                f"{item.name} cannot stay in place without a previous manifest.",
                value=True, limit="false without a previous manifest", remedy="Add the previous manifest.",
            )  # fmt: skip
            refusals.add(error, *at, "fixed")
        for axis, along in enumerate(item.at or ()):
            if along % 1.0 and not self.grid.half_cells:
                error = SpecError(
                    f"The position of {item.name} uses half cells, but the grid has none.",
                    value=along, limit="whole cells", remedy="Set grid.half_cells to true.",
                )  # fmt: skip
                refusals.add(error, *at, "at", axis)

    def held_item(self, drawer: int, name: str) -> tuple[str, Item] | None:
        """Return the item that a tray of a drawer means by a name, after its JSON Pointer; None if there is none.

        The drawer's own items come first.
        """
        listed = chain(self.items_of(drawer), self.items_of(None))
        return next(((pointer, item) for pointer, item in listed if item.name == name), None)

    def _check_holds(self, refusals: Refusals) -> None:
        """Check that held items exist, and that no more of one are held than there are."""
        counts: Counter[str] = Counter()
        whole: set[str] = set()
        for drawer_index, tray_index, tray in self.trays():
            for index, hold in enumerate(tray.hold):
                at = ("drawers", drawer_index, "trays", tray_index, "hold", index)
                listed = self.held_item(drawer_index, hold.item)
                if listed is None:
                    error = SpecError(
                        "There is no item with this name.",
                        value=hold.item, limit="the name of an item of the drawer or of the job",
                        remedy="Correct the name, or list the item.",
                    )  # fmt: skip
                    refusals.add(error, *at, "item")
                    continue
                pointer, item = listed
                if item.storage == "lane":
                    error = SpecError(
                        f"{item.name} is kept in a lane, without a tray.",
                        value=hold.item, limit="an item without the storage `lane`",
                        remedy=f"Remove {pointer}/storage, or the entry.",
                    )  # fmt: skip
                    refusals.add(error, *at, "item")
                for field in (name for name in ("at", "fixed") if getattr(item, name)):
                    error = SpecError(
                        f"{item.name} is held by a tray and has a place of its own.",
                        value=hold.item, limit=f"an item without `{field}`", remedy=f"Remove {pointer}/{field}.",
                    )  # fmt: skip
                    refusals.add(error, *at, "item")
                left = item.count - counts[pointer]
                if hold.count is not None and hold.count > left:
                    error = SpecError(
                        f"The trays hold more of {item.name} than there are.",
                        value=hold.count, limit=f"at most {left}", remedy="Reduce the count.",
                    )  # fmt: skip
                    refusals.add(error, *at, "count")
                if hold.count is None and pointer in whole:
                    error = SpecError(
                        f"Two trays hold the rest of {item.name}.",
                        value=None, limit="null for one of them", remedy="Give the counts.",
                    )  # fmt: skip
                    refusals.add(error, *at, "count")
                if hold.count is None:
                    whole.add(pointer)
                counts[pointer] += hold.count or 0
        self._check_rests(counts, refusals)

    def _check_rests(self, counts: Mapping[str, int], refusals: Refusals) -> None:
        """Check that something is left for each tray that holds the rest of an item."""
        for drawer_index, tray_index, tray in self.trays():
            for index, hold in enumerate(tray.hold):
                listed = self.held_item(drawer_index, hold.item)
                if hold.count is None and listed is not None and counts[listed[0]] >= listed[1].count:
                    error = SpecError(
                        f"Other trays hold all of {hold.item}.",
                        value=None, limit=f"under {listed[1].count} in other trays", remedy="Reduce their counts.",
                    )  # fmt: skip
                    refusals.add(error, "drawers", drawer_index, "trays", tray_index, "hold", index, "count")

    def _check_trays(self, refusals: Refusals) -> None:
        wall = LINES_IN_A_WALL * self.line_width_of("tray")
        floor = _LAYERS_IN_A_FLOOR * self.layer_of("tray")
        for drawer_index, tray_index, tray in self.trays():
            at = ("drawers", drawer_index, "trays", tray_index)
            self._check_tray(tray, wall, floor, at, refusals)

    def _check_tray(self, tray: Tray, wall: float, floor: float, at: tuple[Step, ...], refusals: Refusals) -> None:
        if tray.wall < wall - LENGTH_EPSILON:
            error = TrayError(
                f"The walls of {tray.name} are too thin.",
                value=tray.wall, limit=f"at least {wall:g} mm (two lines)", remedy="Make the walls thicker.",
            )  # fmt: skip
            refusals.add(error, *at, "wall")
        if tray.floor < floor - LENGTH_EPSILON:
            error = TrayError(
                f"The floor of {tray.name} is too thin.",
                value=tray.floor, limit=f"at least {floor:g} mm (two layers)", remedy="Make the floor thicker.",
            )  # fmt: skip
            refusals.add(error, *at, "floor")
        if self.grid.half_cells:
            return
        for field, pair in (("cells", tray.cells), ("at", tray.at or ())):
            for axis, along in enumerate(pair):
                if along % 1.0:
                    error = TrayError(
                        f"{tray.name} uses half cells, but the grid has none.",
                        value=along, limit="whole cells", remedy="Set grid.half_cells to true.",
                    )  # fmt: skip
                    refusals.add(error, *at, field, axis)
