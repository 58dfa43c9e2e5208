"""The spec of a job, and the rules that span several of its parts."""

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
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.tray import Tray
from worker.spec.items.item import Item
from worker.spec.items.item_list import Items
from worker.spec.items.layout import LayoutPreferences
from worker.spec.manifest import Manifest, PartKind, PlanDocument
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.printer.lettering import PAUSED_FACES, SOLID_FACES, LetteredFace
from worker.spec.printer.material import Material
from worker.spec.printer.printer import NamedPrinter, Printer
from worker.spec.printer.printing import Printing
from worker.spec.printer.schedule import Schedule, SchedulePrinter
from worker.spec.rules.design_rules import check_design
from worker.spec.rules.item_rules import check_holds, check_items
from worker.spec.rules.name_rules import check_names
from worker.spec.rules.printer_rules import check_printers, check_printing

__all__ = ["Spec"]

_NO_KINDS: Final[Mapping[PartKind, str]] = MappingProxyType({})


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
        return lettering.faces or (SOLID_FACES if self.printer.tool_changes else PAUSED_FACES)

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
        check_printers(self, refusals)
        check_names(self, refusals)
        check_printing(self, refusals)
        if not self.designs:
            check_design(self, refusals)
        check_items(self, refusals)
        check_holds(self, refusals)
        refusals.settle()
        return self

    def _unsuited(self) -> bool:
        """Return whether parts cannot be made for the lines and layers of the printer."""
        refusals = Refusals()
        check_design(self, refusals)
        return bool(refusals)

    def held_item(self, drawer: int, name: str) -> tuple[str, Item] | None:
        """Return the item that a tray of a drawer means by a name, after its JSON Pointer; None if there is none.

        The drawer's own items come first.
        """
        listed = chain(self.items_of(drawer), self.items_of(None))
        return next(((pointer, item) for pointer, item in listed if item.name == name), None)
