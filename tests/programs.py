"""Programs and libraries of the system that tests use and pip does not bring: located, or installed on the spot."""

import fcntl
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest

__all__ = ["program", "shared_library"]

#: Where daemons lie on systems that keep them off a user's PATH.
_PATH: Final = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"])

_APT: Final = ("apt-get", "-qq", "-y", "-o", "DPkg::Lock::Timeout=300")


def program(name: str, package: str | None = None) -> Path:
    """Return the path of a program, after installing its package where it is missing."""
    return _located(lambda: shutil.which(name, path=_PATH), name, package or name)


def shared_library(pattern: str, package: str) -> Path:
    """Return the path of a shared library by its glob below ``/``, after installing its package where it is missing."""
    return _located(lambda: next(iter(Path("/").glob(pattern)), None), pattern, package)


def _located(locate: Callable[[], str | Path | None], name: str, package: str) -> Path:
    path = locate()
    if path is None:
        # tests run in several processes, and each package is installed once
        with (Path(tempfile.gettempdir()) / "drawerwright-tests-install.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            path = locate() or (_install(package) or locate())
    if path is None:
        pytest.fail(
            f"{name} is missing and could not be installed: install your system's package {package}", pytrace=False
        )
    return Path(path)


def _install(package: str) -> None:
    """Install a package where that needs no password: as root with APT, or by Homebrew."""
    if shutil.which("apt-get") and os.geteuid() == 0:
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        subprocess.run([*_APT, "update"], env=environment, check=False, capture_output=True)
        command = [*_APT, "install", "--no-install-recommends", package]
        subprocess.run(command, env=environment, check=False, capture_output=True)
    elif shutil.which("brew"):
        subprocess.run(["brew", "install", "--quiet", package], check=False, capture_output=True)
