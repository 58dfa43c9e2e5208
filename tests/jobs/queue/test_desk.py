"""The desk: a job that is taken at once is the same as any other, and nobody is held up by it."""

import sqlite3
import time
from contextlib import closing

import pytest
from sqlalchemy import create_engine, select
from sqlalchemy.exc import OperationalError

from worker.jobs.common.errors import QuotaReached, RequestRepeated, WebhookNotFound
from worker.jobs.common.principal import Quotas
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.database.tables import JobRow
from worker.jobs.job_service import JobService
from worker.jobs.queue.desk import Desk
from worker.jobs.records.api_keys import ApiKeys
from worker.jobs.records.idempotency import IdempotencyKey
from worker.jobs.records.jobs import JobRecords
from worker.spec import Spec


class _Clock:
    """Goes on by ``step`` seconds with every look."""

    def __init__(self):
        self.now = self.step = 0.0

    def __call__(self):
        self.now += self.step
        return self.now


@pytest.fixture
def path(tmp_path):
    return tmp_path / "jobs.sqlite3"


@pytest.fixture
def database(path):
    opened = open_database(f"sqlite:///{path}", durable=True)
    yield opened
    opened.dispose()


@pytest.fixture
def clock():
    return _Clock()


@pytest.fixture
def desk(database, clock):
    with closing(Desk(database, seconds=clock)) as made:
        yield made


@pytest.fixture
def other(path):
    """A connection of somebody else's."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        yield connection


def _rows(path):
    """Return all rows as SQLite has them, each value with its type."""
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        rows = connection.execute("SELECT * FROM jobs").fetchall()
    return {row["id"]: {name: (row[name], type(row[name])) for name in row.keys()} for row in rows}  # noqa: SIM118 - no dict


@pytest.mark.parametrize("more", [{}, {"owner": "k123456789"}])
def test_its_rows_are_as_the_record_writes_them(desk, database, path, more):
    made, known = desk.add("bench left", "{}", **more), JobRecords(database).add("bench left", "{}", **more)
    rows = _rows(path)
    mine, theirs = rows[made.id], rows[known.id]
    own = {"id", "created", "updated"}
    assert {name: value for name, value in mine.items() if name not in own} == {
        name: value for name, value in theirs.items() if name not in own
    }
    for name in ("created", "updated"):
        assert len(mine[name][0]) == len(theirs[name][0]) == len("2026-03-07 18:42:00.123456")
    assert JobRecords(database).job(made.id) == made
    assert made.created == made.updated < known.created


def test_many_are_taken_in_order(desk, database):
    made = [desk.add(f"drawer {index}", "{}").id for index in range(300)]
    assert made == sorted(set(made))
    assert [job.id for job in JobRecords(database).jobs(400, None)] == made[::-1]


def test_whoever_cannot_write_now_is_sent_to_the_record(desk, other, database):
    other.execute("BEGIN IMMEDIATE")
    begun = time.monotonic()
    assert desk.add("bench left", "{}") is None
    assert desk.add("bench left", "{}", repeat=IdempotencyKey.of("key", "job")) is None
    assert time.monotonic() - begun < 1.0  # the record itself would wait for 15 s
    other.execute("ROLLBACK")
    assert JobRecords(database).jobs(10, None) == []
    job = desk.add("bench left", "{}", repeat=IdempotencyKey.of("key", "job"))
    assert [one.id for one in JobRecords(database).jobs(10, None)] == [job.id]


def test_it_closes_for_a_while_after_a_slow_commit(desk, clock):
    assert desk.open
    clock.step = 0.015
    assert desk.add("bench left", "{}") is not None
    assert desk.open
    clock.step = 0.3
    assert desk.add("bench left", "{}") is not None
    clock.step = 0.0
    assert not desk.open
    clock.now += 5.9
    assert not desk.open
    clock.now += 0.2
    assert desk.open


def test_each_of_its_jobs_is_on_the_disk(desk):
    desk.add("bench left", "{}")
    with desk._database.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL


def test_quotas_webhooks_and_repeats_are_as_with_the_record(desk, database):
    first = desk.add("bench left", "{}", repeat=IdempotencyKey.of("key", "job", "{}"))
    assert desk.add("bench left", "{}", repeat=IdempotencyKey.of("key", "job", "{}")) == first
    with pytest.raises(RequestRepeated):
        desk.add("bench left", "{}", repeat=IdempotencyKey.of("key", "job", "[]"))
    key, _ = ApiKeys(database).create("first", ["submit"])
    quotas = Quotas(waiting=1)
    desk.add("bench left", "{}", owner=key.id, quotas=quotas)
    with pytest.raises(QuotaReached):
        desk.add("bench left", "{}", owner=key.id, quotas=quotas)
    with pytest.raises(WebhookNotFound):
        desk.add("bench left", "{}", webhooks=["0" * 26])
    assert len(JobRecords(database).jobs(10, None)) == 2


def test_what_else_is_wrong_is_told_and_it_goes_on_afterwards(desk, other, database):
    desk.add("bench left", "{}")
    other.execute("ALTER TABLE jobs RENAME TO away")
    with pytest.raises(OperationalError, match="no such table"):
        desk.add("bench left", "{}")
    other.execute("ALTER TABLE away RENAME TO jobs")
    assert desk.add("bench right", "{}") is not None
    assert len(JobRecords(database).jobs(10, None)) == 2


def test_postgresql_is_never_asked_at_once(postgresql):
    database = open_database(postgresql())
    with closing(Desk(database)) as desk:
        assert not desk.open
        assert desk.add("bench left", "{}") is None
    database.dispose()


def test_the_engine_wakes_a_worker_for_it(tmp_path, spec, monkeypatch):
    with JobService.open(Settings.read(data_dir=tmp_path)) as engine:
        woken = []
        monkeypatch.setattr(engine.dispatcher.waker, "wake", woken.append)
        asked = spec({"name": "bits", "cells": [2, 1], "height": 25})
        assert engine.at_once
        job = engine.submit_at_once(asked)
        assert woken == [job.id]
        with closing(sqlite3.connect(tmp_path / "jobs.sqlite3", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            assert engine.submit_at_once(asked) is None
        assert woken == [job.id]
        reader = create_engine(engine.settings.database)
        with reader.connect() as connection:
            (kept,) = connection.scalars(select(JobRow.spec))
        reader.dispose()
        assert Spec.model_validate_json(kept) == asked
        assert "engraved" not in kept  # nothing of what was left out
