"""The embedded broker and worker: what `serve` runs beside itself when no broker is given."""

import logging
import subprocess
import sys
import time
from threading import Event, Thread
from typing import Final, Self

from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.processes.process_host import child_environment
from worker.jobs.queue.celery_app import make_app

__all__ = ["Supervisor"]

_log = logging.getLogger(__name__)

#: Seconds in which the worker must have answered.
_PATIENCE: Final = 60.0

#: Seconds that one look for a worker takes at most.
_LOOK: Final = 0.5

#: Seconds before broker and worker are started again after their keeper was lost.
_PAUSE: Final = 1.0

#: Seconds in which everything must have stopped, beside those that the worker gives the jobs it is at.
_STOP: Final = 15.0


class Supervisor:
    """A broker and a worker in processes of their own, from `start` (or ``with``) to `close`.

    They end with this process, however it ends, and are started again when their keeper is lost. With a broker of one's
    own (`Settings.broker_url`) there is nothing to start; workers are somebody else's then.
    """

    def __init__(self, settings: Settings) -> None:
        """Keep the settings."""
        self.settings = settings
        self._keeper: subprocess.Popen[str] | None = None
        self._closing = Event()
        self._watch: Thread | None = None

    def __enter__(self) -> Self:
        """Start and wait for the worker."""
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self.close()

    def start(self) -> None:
        """Start both and wait until the worker takes jobs.

        Raises:
            SettingsError: when one of them does not come up; the message says where the log is.
        """
        if not self.settings.embedded:
            return
        try:
            self.settings.data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise SettingsError("The data folder cannot be made.", value=str(self.settings.data_dir)) from error
        self._closing.clear()
        self._start()
        self._watch = Thread(target=self._restart, name="watch over the keeper", daemon=True)
        self._watch.start()

    def close(self) -> None:
        """Stop both, if they run."""
        self._closing.set()
        self._stop()
        if self._watch is not None:
            self._watch.join()
            self._watch = None
            self._stop()  # one that was being started meanwhile

    def _start(self) -> None:
        self._keeper = subprocess.Popen(
            [sys.executable, "-P", "-m", "worker.jobs.processes.process_host"],
            env=child_environment(self.settings),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        try:
            self._wait()
        except BaseException:
            self._stop()
            raise

    def _restart(self) -> None:
        """Start again whenever the keeper ends before its time."""
        while (keeper := self._keeper) is not None:
            keeper.wait()
            if self._closing.is_set():
                return
            _log.error("The embedded broker and worker were lost; they are started again.")
            self._stop()
            while self._keeper is None and not self._closing.wait(_PAUSE):
                try:
                    self._start()
                except (SettingsError, OSError):
                    _log.exception("The embedded broker and worker do not start.")

    def _stop(self) -> None:
        keeper, self._keeper = self._keeper, None
        if keeper is None:
            return
        if keeper.stdin is not None:
            keeper.stdin.close()
        try:
            keeper.wait(timeout=self.settings.grace_seconds + _STOP)
        except subprocess.TimeoutExpired:
            keeper.kill()
            keeper.wait()
        if keeper.stdout is not None:
            keeper.stdout.close()

    def _wait(self) -> None:
        keeper = self._keeper
        if keeper is None or keeper.stdout is None:
            return
        said = keeper.stdout.readline().strip()
        if said != "ready":
            raise SettingsError(
                "The embedded broker does not start.",
                value=said.removeprefix("failed ") or None,
                remedy=f"Is another service running on {self.settings.data_dir}?",
            )
        app = make_app(self.settings, "work")
        until = time.monotonic() + _PATIENCE
        try:
            while time.monotonic() < until and keeper.poll() is None:
                try:
                    if app.control.ping(timeout=_LOOK, limit=1):
                        return
                except (OperationalError, RedisError, OSError):
                    time.sleep(_LOOK)
        finally:
            app.close()
        raise SettingsError("The worker does not start.", remedy=f"See {self.settings.data_dir / 'logs'}.")
