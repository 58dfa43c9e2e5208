"""What `serve` takes at rest: memory of each of its processes (PSS), and seconds until it is ready.

PSS (proportional set size, proc_pid_smaps(5)) counts a page that n processes share as 1/n of a page in each, so the
sum is what the service takes from the machine. Linux only.
"""

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx

#: Goals of the project: MB of all processes together, and seconds from the command to a ready service.
MEMORY_GOAL = 250.0
READY_GOAL = 3.0

#: Seconds of rest before memory is read: every worker process has done its first periodic task by then.
REST_SECONDS = 15.0

_PATIENCE = 120.0


def main() -> None:
    """Start the service as a user does, wait until it is ready and at rest, and print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        begin = time.perf_counter()
        server = subprocess.Popen(
            [sys.executable, "-m", "api.command", "serve", "--port", "0", "--data", folder],
            env={**os.environ, "DRAWERWRIGHT_CONCURRENCY": "2"},
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            address = _address(server)
            ready = _seconds_until_ready(address, begin)
            time.sleep(REST_SECONDS)
            print(f"ready after {ready:.1f} s (goal {READY_GOAL:.0f} s)")
            total = 0.0
            for process in [server.pid, *_descendants(server.pid)]:
                megabytes = _pss(process)
                total += megabytes
                print(f"{megabytes:7.1f} MB  {_command(process)}")
            print(f"{total:7.1f} MB  PSS in all (goal {MEMORY_GOAL:.0f} MB)")
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(_PATIENCE)


def _address(server: "subprocess.Popen[str]") -> str:
    """Return the service's address, which it writes to standard error when it listens."""
    for line in server.stderr or ():
        if "listens on" in line:
            return next(word for word in line.split() if word.startswith("http")).rstrip(",;")
    raise RuntimeError("the service ended before it was ready")


def _seconds_until_ready(address: str, begin: float) -> float:
    while time.perf_counter() - begin < _PATIENCE:
        try:
            if httpx.get(f"{address}/readyz").is_success:
                return time.perf_counter() - begin
        except httpx.TransportError:
            pass
        time.sleep(0.02)
    raise RuntimeError(f"{address}/readyz did not answer 200 within {_PATIENCE:.0f} s")


def _descendants(process: int) -> list[int]:
    """Return the processes that this one started, and those that they started."""
    parents: dict[int, list[int]] = {}
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        parents.setdefault(int(fields[1]), []).append(int(status.parent.name))
    below = sorted(parents.get(process, []))
    return [member for child in below for member in (child, *_descendants(child))]


def _pss(process: int) -> float:
    """Return the proportional set size of a process in MB."""
    lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def _command(process: int) -> str:
    words = Path(f"/proc/{process}/cmdline").read_bytes().decode().split("\0")
    return " ".join(Path(word).name if word.startswith("/") else word for word in words)[:90]
