"""The print calendar and the filament to buy."""

from pydantic import AwareDatetime

from worker.spec.manifest.fields import Amount, Colour, Count, OutputModel, RunNumber


class SwapEntry(OutputModel):
    """A change to another spool: before the run starts, or where a spool runs out during it."""

    material: str
    colour: Colour | None
    after_grams: Amount
    """Grams extruded in this run before the change; 0 is before it starts."""
    at: AwareDatetime | None = None
    """Estimated time of the change."""
    attended: bool = True
    """Whether somebody is present then. The schedule avoids others where a spool lasts for the run."""
    onto: Amount | None = None
    """Grams on the spool that comes next."""


class StepEntry(OutputModel):
    """A scheduled run."""

    run: RunNumber
    printer: str
    begin: AwareDatetime
    attended_until: AwareDatetime
    """End of the first layer, until which somebody watches the printer."""
    end: AwareDatetime
    free: AwareDatetime
    """When the bed has cooled down and been cleared."""
    swaps: tuple[SwapEntry, ...] = ()
    spool: Amount | None = None
    """Grams on the spool with which the run starts."""
    pauses: tuple[AwareDatetime, ...] = ()
    """Estimated times of the run's pauses after its start, all of them in attended hours."""


class PurchaseEntry(OutputModel):
    """Filament of one material and colour: the amount needed and the spools to buy."""

    material: str
    colour: Colour | None
    grams: Amount
    """Needed for all runs."""
    left: Amount
    """Left on spools in stock."""
    spools: Count
    """Number of spools to buy."""
    by: AwareDatetime | None = None
    """When the first of them is put on a printer; null without a schedule, or when there is none to buy."""
    cost: Amount | None
    """Price of the spools to buy."""


class WaitingEntry(OutputModel):
    """A run that could not be scheduled."""

    run: RunNumber
    reason: str


class DrawerFinishEntry(OutputModel):
    """When a drawer is complete."""

    drawer: str
    complete: AwareDatetime
    """End of the last run with a piece for it."""


class ScheduleEntry(OutputModel):
    """Start and end of each run on each printer. All times are in one time zone."""

    timezone: str
    begin: AwareDatetime | None
    finish: AwareDatetime | None
    """End of the last run; null if no run could be scheduled."""
    steps: tuple[StepEntry, ...]
    waiting: tuple[WaitingEntry, ...] = ()
    goal: str = "finish"
    """What the schedule achieves first: finish, drawers, visits or quiet_nights."""
    earliest_finish: AwareDatetime | None = None
    """Lower bound: no schedule of these runs ends earlier."""
    late_finish: AwareDatetime | None = None
    """End if print times are off by their uncertainty and as many runs fail as the printers' records let expect."""
    proven: bool = False
    """Whether no schedule is better in what the goal counts first."""
    visits: Count = 0
    """Number of clock hours in which a run is started or a bed is cleared."""
    nights: Count = 0
    """Number of quiet spells in which a printer is at work."""
    drawers: tuple[DrawerFinishEntry, ...] = ()
    cautions: tuple[str, ...] = ()
    """What can go wrong with spools that run out during a run."""
