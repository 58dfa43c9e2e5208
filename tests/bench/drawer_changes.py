"""One more of one thing in a printed drawer of 12, 30 and 60 things: how many of its pieces stay, move and are new.

What must change is at most the tray that holds the thing: nothing if it has room for one more, otherwise this tray is
retired and a larger one printed. Everything beyond that is counted as needless. Things without a place are counted
before and after: the drawers of `tests.bench.stability` are overfull, and there larger ones follow in which all fit.
"""

import itertools
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

from tests.bench.layout import thing
from tests.bench.stability import SIZES
from tests.layout.relayout.printed_manifest import printed
from worker.jobs.database.connection import open_database
from worker.jobs.household.drawer_changes import drawer_changes
from worker.jobs.household.household import Household
from worker.jobs.household.layouts import PrintedJob
from worker.layout.model.plan_document import plan_document
from worker.layout.placement.search.region_solver import load_solver
from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.manifest import ContentEntry, DrawerEntry
from worker.spec.requests.household import ChangesRequest, DrawerRequest, ThingRequest

#: Things of each drawer of which one more is added, one after another, each to the drawer as it was.
CHANGES = 4

#: By how much the sides of the drawers are longer than those of `tests.bench.stability`.
ROOMS = (1.0, 1.35)

_JOB = "7" * 26


@dataclass(frozen=True, slots=True)
class PrintedDrawer:
    """A drawer whose pieces are all in place, with its things."""

    household: Household
    drawer_id: str
    things: dict[str, ThingRequest]
    entry: DrawerEntry
    unplaced: int

    def contents(self, thing_id: str) -> list[ContentEntry]:
        """Return where a thing lies."""
        numbers = self.household.things.in_drawer(self.drawer_id)
        return [content for number, content in enumerate(self.entry.contents) if numbers.get(number) == thing_id]


def printed_drawer(household: Household, kinds: int, width: int, depth: int) -> PrintedDrawer:
    """Add a drawer with this many things, laid out, printed and placed."""
    random = Random(0)
    drawer = household.drawers.create(
        "local", DrawerRequest(name=f"{kinds}", width=width, depth=depth, height=60, printer={"bed": [256, 256, 256]})
    )
    fields = ThingRequest.model_fields
    requests = [
        ThingRequest(
            **{name: value for name, value in thing(random, number).items() if name in fields}, drawer=drawer.id
        )
        for number in range(kinds)
    ]
    things = {household.things.create("local", request).id: request for request in requests}
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer.id}]}
    loaded = load(household.resolve(spec, "local"))
    manifest = printed(lay_out(loaded))
    household.lay_out(drawer.id, "local", PrintedJob(_JOB, loaded, manifest), None)
    unplaced = sum(entry.count for entry in manifest.unplaced)
    return PrintedDrawer(household, drawer.id, things, manifest.drawers[0], unplaced)


def one_more(drawer: PrintedDrawer, thing_id: str) -> Counter[str]:
    """Return what happens to the pieces with one more of a thing."""
    before = drawer.contents(thing_id)
    room = any(content.count < content.capacity for content in before)
    request = ChangesRequest(counts={thing_id: drawer.things[thing_id].count + 1})
    change = drawer.household.change(drawer.drawer_id, "local", request)
    document = plan_document(lay_out(change.spec))
    if document.changes is None:
        raise SystemExit("The plan has no changes.")
    changes = drawer_changes(document.changes, change.spares)
    counts = Counter(
        stay=sum(entry.count for entry in changes.stay),
        move=sum(entry.count for entry in changes.move),
        new=sum(entry.count for entry in changes.new),
        retire=sum(entry.count for entry in changes.retire),
        unplaced=sum(entry.count for entry in document.unplaced),
    )
    must = 0 if room else 1
    counts["needless"] = counts["move"] + max(0, counts["new"] - must) + max(0, counts["retire"] - must)
    counts["room"] = int(room)
    return counts


def main(sizes: Sequence[tuple[int, int, int]] = SIZES, rooms: Sequence[float] = ROOMS) -> None:
    """Print the counts."""
    load_solver()
    with tempfile.TemporaryDirectory() as folder:
        database = open_database(f"sqlite:///{Path(folder) / 'jobs.sqlite3'}")
        household = Household(database)
        for room, (kinds, width, depth) in itertools.product(rooms, sizes):
            drawer = printed_drawer(household, kinds, round(room * width), round(room * depth))
            placed = [thing_id for thing_id in drawer.things if drawer.contents(thing_id)]
            total: Counter[str] = Counter()
            for thing_id in placed[:: max(1, len(placed) // CHANGES)][:CHANGES]:
                counts = one_more(drawer, thing_id)
                total += counts
                print(f"  {kinds} things, one more of {drawer.things[thing_id].name}: {dict(counts)}", flush=True)
            print(
                f"{kinds} things in {round(room * width)} x {round(room * depth)} mm, {len(drawer.entry.placements)} "
                f"pieces, {drawer.unplaced} without a place, {CHANGES} changes: {total['stay']} stay, {total['move']} "
                f"move, {total['new']} new, {total['retire']} retired; {total['needless']} needless; "
                f"{total['unplaced'] / CHANGES:g} without a place after a change",
                flush=True,
            )
        database.dispose()


if __name__ == "__main__":
    main()
