"""Processes are killed with -9 while a job runs: it succeeds all the same, once, and nothing is left over."""

import pytest

from worker.spec import load

pytestmark = pytest.mark.service


def _large():
    trays = [{"name": f"tray {number}", "cells": [1, 1], "height": 20 + number / 4} for number in range(30)]
    drawer = {"name": "wide", "width": 300, "depth": 300, "height": 90, "trays": trays}
    return load({"spec": "1", "name": "large", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}})


def test_a_killed_worker_and_a_killed_broker_cost_an_attempt_at_most(plant, engine_of, until, ended):
    struck = plant()
    engine = engine_of(struck)
    struck.start_worker()
    job = engine.submit(_large())
    until(lambda: engine.job(job.id).progress.done > 1)
    struck.strike("worker")
    struck.strike_broker()
    assert engine.job(job.id).state == "running"  # nobody has noticed yet
    struck.start_broker()
    struck.start_worker("another")
    done = ended(engine, job)
    assert (done.state, done.attempts) == ("succeeded", 2)
    keys = {file.key for file in engine.files(job.id)}
    until(lambda: {one.key for one in engine._blobs.under("jobs")} <= keys, 20.0)  # the sweep was there
    assert {one.key for one in engine._blobs.under("parts")} <= keys
