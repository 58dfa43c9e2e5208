"""The supervisor: starts the embedded broker and worker of `serve`, and restarts them when they are lost."""

import logging
import subprocess
import sys
import time
from threading import Event, Thread
from typing import Final, Self

from worker.jobs.common.errors import SettingsError
from worker.jobs.common.private_files import private_folder
from worker.jobs.common.settings import Settings
from worker.jobs.processes.child_environment import child_environment

__all__ = ["Supervisor"]

_log = logging.getLogger(__name__)

#: Seconds within which the worker must respond.
_START_SECONDS: Final = 60.0

#: Timeout in seconds of one ping of the worker.
_PING_SECONDS: Final = 0.5

#: Seconds before broker and worker are restarted after their host was lost.
_RESTART_SECONDS: Final = 1.0

#: Seconds within which everything must stop, in addition to the grace period for running jobs.
_STOP_SECONDS: Final = 15.0


class Supervisor:
    """Runs a broker and a worker in processes of their own, from `start` (or ``with``) to `close`.

    They end with this process, even if it is killed, and are restarted when their process host is lost. With an
    external broker (`Settings.broker_url`) nothing is started; its workers are deployed separately.
    """

    def __init__(self, settings: Settings) -> None:
        """Supervise the broker and worker of these settings; nothing is started yet."""
        self.settings = settings
        self._host: subprocess.Popen[str] | None = None
        self._closing = Event()
        self._watcher: Thread | None = None

    def __enter__(self) -> Self:
        """Start both and wait for the worker."""
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self.close()

    def start(self) -> None:
        """Start both and wait until the worker accepts jobs.

        Raises:
            SettingsError: if one of them does not start; the message names the folder of the logs.
        """
        self.launch()
        self.wait_until_ready()

    def launch(self) -> None:
        """Start both without waiting; `wait_until_ready` must follow.

        Raises:
            SettingsError: if the data folder cannot be created.
        """
        if not self.settings.embedded:
            return
        try:
            private_folder(self.settings.data_dir)
        except OSError as error:
            raise SettingsError("The data folder cannot be created.", value=str(self.settings.data_dir)) from error
        self._closing.clear()
        self._launch()

    def wait_until_ready(self) -> None:
        """Wait until the worker accepts jobs; from then on both are restarted when they are lost.

        Raises:
            SettingsError: if one of them does not start; the message names the folder of the logs.
        """
        if self._host is None:
            return
        self._wait_or_stop()
        self._watcher = Thread(target=self._restart_when_lost, name="supervisor", daemon=True)
        self._watcher.start()

    def close(self) -> None:
        """Stop both if they are running."""
        self._closing.set()
        self._stop()
        if self._watcher is not None:
            self._watcher.join()
            self._watcher = None
            self._stop()  # a restart may be in progress

    def _launch(self) -> None:
        settings = self.settings
        arguments = [str(settings.data_dir), str(settings.socket), str(settings.grace_seconds)]
        self._host = subprocess.Popen(  # noqa: S603 - our own interpreter and module
            [sys.executable, "-P", "-m", "worker.jobs.processes.process_host", *arguments],
            env=child_environment(settings),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def _wait_or_stop(self) -> None:
        try:
            self._wait_until_ready()
        except BaseException:
            self._stop()
            raise

    def _restart_when_lost(self) -> None:
        """Restart both whenever the process host ends before `close`."""
        while (host := self._host) is not None:
            host.wait()
            if self._closing.is_set():
                return
            _log.error("The embedded broker and worker were lost; restarting them.")
            self._stop()
            while self._host is None and not self._closing.wait(_RESTART_SECONDS):
                try:
                    self._launch()
                    self._wait_or_stop()
                except (SettingsError, OSError):
                    _log.exception("The embedded broker and worker do not start.")

    def _stop(self) -> None:
        host, self._host = self._host, None
        if host is None:
            return
        if host.stdin is not None:
            host.stdin.close()
        try:
            host.wait(timeout=self.settings.grace_seconds + _STOP_SECONDS)
        except subprocess.TimeoutExpired:
            host.kill()
            host.wait()
        if host.stdout is not None:
            host.stdout.close()

    def _wait_until_ready(self) -> None:
        from kombu.exceptions import OperationalError  # noqa: PLC0415 - while the processes start, not before
        from redis.exceptions import RedisError  # noqa: PLC0415 - as above

        from worker.jobs.queue.celery_app import make_app  # noqa: PLC0415 - as above

        host = self._host
        if host is None or host.stdout is None:
            return
        report = host.stdout.readline().strip()
        if report != "ready":
            raise SettingsError(
                "The embedded broker does not start.",
                value=report.removeprefix("failed ") or None,
                remedy=f"Check whether another service is running on {self.settings.data_dir}.",
            )
        app = make_app(self.settings, "work")
        deadline = time.monotonic() + _START_SECONDS
        try:
            while time.monotonic() < deadline and host.poll() is None:
                try:
                    if app.control.ping(timeout=_PING_SECONDS, limit=1):
                        return
                except (OperationalError, RedisError, OSError):
                    time.sleep(_PING_SECONDS)
        finally:
            app.close()
        raise SettingsError("The worker does not start.", remedy=f"See {self.settings.data_dir / 'logs'}.")
