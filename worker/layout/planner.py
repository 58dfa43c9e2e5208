"""The planner: lays out a whole job, drawer by drawer."""

from copy import copy
from dataclasses import replace

from worker.layout.items.filling.drawer_task import Spread, one_by_one
from worker.layout.job_layout import JobLayout
from worker.layout.model.cautions import cautions
from worker.layout.model.changes import changes_of
from worker.layout.model.plan import Plan
from worker.layout.model.plan_document import plan_document
from worker.layout.model.tray_places import AS_ALL, MadeFor
from worker.layout.model.unplaced import settle_unplaced
from worker.spec import Spec
from worker.spec.items.layout import Effort
from worker.spec.printer.printer import NamedPrinter

__all__ = ["LaidOut", "lay_out"]


def lay_out(spec: Spec, effort: Effort = "quick", spread: Spread = one_by_one) -> Plan:
    """Return the plan of a whole job.

    Marks are assigned in order of first use: drawers in the order of the spec, tiles in the order of their floor, trays
    in the order of the spec. Identical shapes share a mark over all drawers, and a part's quantity includes the copies
    of its drawers.

    Args:
        spec: the job.
        effort: how far to search for the trays of items where the spec does not say.
        spread: runs the tasks of drawers, in this process or in several; the plan is the same.

    Raises:
        LayoutError: if a drawer or its floor cannot be laid out; `TrayError` if a tray cannot be made or placed.
    """
    return LaidOut(spec, effort, spread).plan()


class LaidOut:
    """A job with all in its places: its trays may be made for other printers without laying it out again."""

    def __init__(self, spec: Spec, effort: Effort = "quick", spread: Spread = one_by_one) -> None:
        """Lay the job out; arguments and errors are those of `lay_out`."""
        self.spec = spec
        self._layout = JobLayout(spec, spec.layout.effort or effort, spread)
        self._contents = self._layout.with_trays_on_panels(self._layout.furnished())
        for warning in self._contents.warnings:
            self._layout.register.warn(warning)

    def with_floors_of(self, spec: Spec) -> "LaidOut":
        """Return the layout for a job that differs in the printer of its floors only, and not in its joint."""
        other = copy(self)
        other.spec = spec
        return other

    def plan(self, made_for: MadeFor = AS_ALL) -> Plan:
        """Return the plan with some trays made for other printers, those that can be and hold their things then.

        Raises:
            LayoutError: as `lay_out`.
        """
        layout, contents, spec = self._layout, self._contents, self.spec
        entering = layout.entering_for(spec, made_for)
        unplaced = settle_unplaced(spec, (*layout.unheld(entering.made_for), *contents.unplaced))
        drawers = tuple(layout.drawer(entering, index, trays) for index, trays in enumerate(contents.trays))
        if spec.coupon:
            entering.add_coupon()
        register = entering.register
        kinds = {part.kind for part in register.parts()}
        plan = Plan(
            name=spec.name,
            drawers=drawers,
            parts=register.parts(),
            warnings=register.warnings(),
            cautions=cautions(spec, max((panel.height for drawer in drawers for panel in drawer.panels), default=0.0)),
            unplaced=unplaced,
            numbering=register.numbers(),
            made_for=spec.printer.name if isinstance(spec.printer, NamedPrinter) else None,
            made_for_kinds={kind: name for kind, name in spec.made_for_kinds.items() if kind in kinds},
        )
        manifest = layout.previous.manifest
        return plan if manifest is None else replace(plan, changes=changes_of(plan_document(plan), manifest))
