import asyncio
import os
import signal
from pathlib import Path

import pytest

from api.http.problems.errors import PlanTooCostly
from api.planning import planner
from api.planning.planner_pool import PlannerPool
from api.planning.planner_process import PlannerProcess
from tests.api.planning.specs import endless
from tests.coroutines import run_coroutine
from worker.jobs.common.errors import InternalError
from worker.jobs.common.principal import LOCAL
from worker.jobs.common.settings import Settings
from worker.spec import load
from worker.spec.errors import TrayError
from worker.spec.manifest import PlanDocument

_ENDLESS = load(endless()).to_json().encode()


@pytest.fixture
def run(tmp_path):
    """Give a function that runs a coroutine with a pool of these settings."""

    def with_pool(use, *, idle_seconds=60.0, **settings):
        async def main():
            pool = PlannerPool(Settings.read(data_dir=tmp_path, **settings), idle_seconds=idle_seconds)
            try:
                return await use(pool)
            finally:
                await pool.close()

        return run_coroutine(main())

    return with_pool


def _alive(pid):
    return Path(f"/proc/{pid}").exists()


async def _until(condition):
    async with asyncio.timeout(60.0):
        while not condition():  # noqa: ASYNC110 - what ends is another process
            await asyncio.sleep(0.02)


def test_one_planner_makes_plan_after_plan_and_ends_when_idle(run, spec):
    async def use(pool):
        text = load(spec).to_json().encode()
        first = await pool.plan(text, LOCAL)
        pids = pool.pids
        assert len(pids) == 1
        assert await pool.plan(text, LOCAL) == first
        assert pool.pids == pids
        await _until(lambda: not pool.pids and not _alive(pids[0]))
        return first

    assert PlanDocument.model_validate_json(run(use, idle_seconds=1.0)).name == spec["name"]


def test_an_error_of_the_spec_comes_back_whole_and_the_planner_stays(run, spec):
    spec["drawers"][0]["trays"] = [{"name": "saws", "cells": [9, 1], "height": 20}]

    async def use(pool):
        with pytest.raises(TrayError) as refused:
            await pool.plan(load(spec).to_json().encode(), LOCAL)
        return refused.value, len(pool.pids)

    error, planners = run(use)
    with pytest.raises(TrayError) as direct:
        planner.make_plan(load(spec))
    assert error.fields() == direct.value.fields()
    assert planners == 1


def test_a_plan_that_takes_too_long_ends_with_its_planner(run, spec):
    async def use(pool):
        with pytest.raises(PlanTooCostly) as refused:
            await pool.plan(_ENDLESS, LOCAL)
        assert pool.pids == []
        await pool.plan(load(spec).to_json().encode(), LOCAL)
        return refused.value

    error = run(use, plan_seconds=1.0)
    assert error.limit == "1 s"
    assert "POST /v1/jobs" in error.remedy


def test_a_plan_that_takes_too_much_memory_is_answered_as_such(spec, monkeypatch):
    def exhausted(_, **_options):
        raise MemoryError

    monkeypatch.setattr(planner, "make_plan", exhausted)
    assert planner.answer(load(spec).to_json().encode()) == (b"M", b"")


def test_a_defect_is_answered_with_its_traceback(spec, monkeypatch):
    def defect(_, **_options):
        raise ZeroDivisionError("of our own")

    monkeypatch.setattr(planner, "make_plan", defect)
    kind, content = planner.answer(load(spec).to_json().encode())
    assert kind == b"X"
    assert b"ZeroDivisionError: of our own" in content


def test_a_planner_that_is_killed_fails_its_plan_only(run, spec, monkeypatch):
    pids, start = [], PlannerProcess.start

    async def note(settings):
        process = await start(settings)
        pids.append(process.pid)
        return process

    monkeypatch.setattr(PlannerProcess, "start", note)

    async def use(pool):
        struck = asyncio.create_task(pool.plan(_ENDLESS, LOCAL))
        await _until(lambda: pids)
        os.kill(pids[0], signal.SIGKILL)
        with pytest.raises(InternalError):
            await struck
        await pool.plan(load(spec).to_json().encode(), LOCAL)

    run(use, plan_seconds=300.0)
    assert len(pids) == 2


def test_a_planner_that_was_killed_at_rest_is_replaced(run, spec):
    async def use(pool):
        text = load(spec).to_json().encode()
        first = await pool.plan(text, LOCAL)
        pid = pool.pids[0]
        os.kill(pid, signal.SIGKILL)
        await _until(lambda: not _alive(pid))
        assert await pool.plan(text, LOCAL) == first
        assert pool.pids != [pid]

    run(use)


def test_an_abandoned_plan_is_stopped_and_frees_its_turn(run, spec):
    async def use(pool):
        abandoned = asyncio.create_task(pool.plan(_ENDLESS, LOCAL))
        await asyncio.sleep(0.1)
        abandoned.cancel()
        with pytest.raises(asyncio.CancelledError):
            await abandoned
        await pool.plan(load(spec).to_json().encode(), LOCAL)  # there is one planner only

    run(use, planners=1, plan_seconds=300.0)


def test_closing_ends_plans_under_way(run):
    async def use(pool):
        task = asyncio.create_task(pool.plan(_ENDLESS, LOCAL))
        await asyncio.sleep(0.1)
        await pool.close()
        with pytest.raises(asyncio.CancelledError):
            await task

    run(use, plan_seconds=300.0)
