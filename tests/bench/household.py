"""Search and lists among 10,000 things: 95 of 100 searches are to take less than 20 ms.

A page of things is compared with a page of jobs among 20,000. All times are processor time, as SQLite runs in this
process.
"""

import random
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from sqlalchemy import Engine, insert

from worker.jobs.common.ids import new_id
from worker.jobs.database.connection import open_database
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import JobRow
from worker.jobs.household.household import Household
from worker.jobs.household.thing_search import index_thing
from worker.jobs.household.things import THINGS, ThingFilters
from worker.jobs.records.job_filters import JobFilters
from worker.jobs.records.jobs import JobRecords
from worker.spec.items.catalogue import catalogue
from worker.spec.requests.household import ThingRequest

THINGS_IN_ALL = 10_000
JOBS_IN_ALL = 20_000
SEARCHES = 300
PAGES = 100
PAGE = 50

_KINDS = (
    *("adapter", "battery", "blade", "bolt", "brush", "cable", "calliper", "charger", "chisel", "clamp", "compass"),
    *("drill", "file", "glue", "hammer", "hinge", "hook", "iron", "ladle", "lens", "marker", "nail", "needle", "nut"),
    *("pencil", "pliers", "ruler", "saw", "scissors", "screw", "screwdriver", "spatula", "spool", "stapler", "tape"),
)
_ADJECTIVES = ("black", "blue", "brass", "garden", "kitchen", "large", "left", "long", "new", "old", "red", "steel")


def _requests(chance: random.Random) -> list[ThingRequest]:
    kinds = [*_KINDS, *(word for entry in catalogue() for word in entry.name.split())]
    return [
        ThingRequest(
            name=f"{chance.choice(_ADJECTIVES)} {chance.choice(kinds)} {chance.choice(kinds)} {number % 97}"[:80],
            tags=(chance.choice(_ADJECTIVES),),
        )
        for number in range(THINGS_IN_ALL)
    ]


def _queries(chance: random.Random) -> list[str]:
    """Return names of things, alone and with an adjective, of which every second one lacks a letter."""
    queries = []
    for number in range(SEARCHES):
        word = chance.choice(_KINDS)
        if number % 2:
            place = chance.randrange(len(word))
            word = word[:place] + word[place + 1 :]
        queries.append(f"{chance.choice(_ADJECTIVES)} {word}" if number % 3 else word)
    return queries


def _add_jobs(database: Engine) -> list[str]:
    """Add jobs as they are listed; return their ids, newest first."""
    now = utc_now()
    ids = [new_id() for _ in range(JOBS_IN_ALL)]
    rows = [
        {"id": row_id, "name": f"job {number % 97}", "state": "succeeded", "spec": "{}", "created": now, "updated": now}
        for number, row_id in enumerate(ids)
    ]
    with database.begin() as connection:
        connection.execute(insert(JobRow), rows)
    return ids[::-1]


def _p95(ask: Callable[[str], object], after: Sequence[str]) -> float:
    """Return the milliseconds of processor time within which 95 of 100 pages are read."""
    seconds = []
    for row_id in after:
        begin = time.process_time()
        ask(row_id)
        seconds.append(time.process_time() - begin)
    return 1e3 * statistics.quantiles(seconds, n=20)[18]


def _print_pages(database: Engine, household: Household) -> None:
    jobs, chance = _add_jobs(database), random.Random(2)
    things = [thing.id for thing in household.things.list("local", THINGS_IN_ALL)]
    of_jobs, of_things = (chance.sample(ids[: len(ids) - PAGE], PAGES) for ids in (jobs, things))
    records = JobRecords(database)
    for what, list_jobs, list_things in (
        (
            "any page",
            lambda after: records.jobs(PAGE, after, owner="local"),
            lambda after: household.things.list("local", PAGE, after),
        ),
        (
            "a page by part of a name",
            lambda after: records.jobs(PAGE, after, owner="local", filters=JobFilters(name="4")),
            lambda after: household.things.list("local", PAGE, after, ThingFilters(name="4")),
        ),
    ):
        own, other = _p95(list_things, of_things), _p95(list_jobs, of_jobs)
        print(
            f"{what}: p95 {own:.1f} ms of {THINGS_IN_ALL} things, {other:.1f} ms of {JOBS_IN_ALL} jobs; "
            f"ratio {own / other:.2f}"
        )


def main() -> None:
    """Print the figures."""
    chance = random.Random(1)
    with tempfile.TemporaryDirectory() as folder:
        database = open_database(f"sqlite:///{Path(folder) / 'jobs.sqlite3'}")
        begin = time.perf_counter()
        with database.begin() as connection:
            for request in _requests(chance):
                values = {
                    "name": request.name,
                    "document": request.model_dump_json(),
                    "tags": "",
                    "access": "sometimes",
                }
                index_thing(connection, THINGS.add(connection, "local", values), "local", request)
        print(f"{THINGS_IN_ALL} things added in {time.perf_counter() - begin:.1f} s")
        household, seconds, empty = Household(database), [], 0
        for query in _queries(chance):
            begin = time.process_time()
            empty += not household.locate(query, "local", 10)
            seconds.append(time.process_time() - begin)
        share = statistics.quantiles(seconds, n=20)
        print(f"search: median {share[9] * 1e3:.1f} ms, p95 {share[18] * 1e3:.1f} ms, {empty} without a match")
        _print_pages(database, household)
        database.dispose()


if __name__ == "__main__":
    main()
