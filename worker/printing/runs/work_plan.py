"""The work plan: the pieces of a job to print, packed into runs in the order of printing, on one or more printers."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from worker.layout.model.plan import Plan
from worker.printing.runs.alike_runs import pack_alike
from worker.printing.runs.calendar_runs import fitted_to_calendar
from worker.printing.runs.demand import AccessByTray, Need, PartSize, access_of, needs_of
from worker.printing.runs.printer_loads import EstimatesByPrinter
from worker.printing.runs.printer_shares import pack_shares
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, RunEntry, WorkEntry

__all__ = ["pack_needs", "runs_of"]

_NO_OTHERS: EstimatesByPrinter = MappingProxyType({})


def runs_of(
    spec: Spec,
    plan: Plan,
    estimates: Mapping[str, EstimateEntry] | None,
    *,
    others: EstimatesByPrinter = _NO_OTHERS,
    exact: bool = False,
) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs of a job in the order of `worker.printing.print_order`, and their totals.

    With a previous layout, only the new pieces are printed. Where the schedule's goal gains by it, runs are shorter
    than ``printing.max_run_hours`` allows.

    Args:
        spec: the job, for the printer that its parts are made for.
        plan: the job laid out.
        estimates: by mark; without them runs have no times and are not split by ``printing.max_run_hours``.
        others: see `pack_needs`.
        exact: whether more work may be done to save a run, see `pack_runs`.

    Raises:
        LayoutError: when a piece does not fit the bed.
    """
    access, needs = access_of(spec, plan.drawers), needs_of(plan)

    def pack(own: Spec, *, exact: bool = exact) -> tuple[tuple[RunEntry, ...], WorkEntry]:
        return pack_needs(own, plan.parts, needs, access, estimates, others=others, exact=exact)

    return fitted_to_calendar(spec, pack, pack(spec))


def pack_needs(
    spec: Spec,
    parts: Iterable[PartSize],
    needs: Iterable[Need],
    access: AccessByTray,
    estimates: Mapping[str, EstimateEntry] | None,
    *,
    others: EstimatesByPrinter = _NO_OTHERS,
    exact: bool = False,
) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs that meet these needs, in the order of `worker.printing.print_order`, and their totals.

    Args:
        spec: the job: its printers and its print settings; of several printers, for the one that the parts are made
            for.
        parts: at least those that are needed.
        needs: the pieces to print.
        access: see `access_of`.
        estimates: see `runs_of`.
        others: estimates on other printers by the first name of each class, then by mark; where there are none, the
            first ones hold.
        exact: see `runs_of`.

    Raises:
        LayoutError: when a piece does not fit the bed, or no printer can print it.
    """
    if not spec.printers:
        return pack_alike(spec, parts, needs, access, estimates, exact=exact)
    return pack_shares(spec, parts, needs, access, estimates, others=others, exact=exact)
