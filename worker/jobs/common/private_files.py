"""Files that no other user of the machine can read: specs, results, digests of keys, secrets of webhooks."""

import os
import stat
from contextlib import suppress
from pathlib import Path
from typing import Final

__all__ = ["create_private", "keep_files_private", "private_folder"]

_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO


def keep_files_private() -> None:
    """Have this process create files with mode 600 and folders with 700, whatever its umask was.

    Only for processes of the service itself: it also holds for what a command saves for its user.
    """
    os.umask(_OTHERS)


def private_folder(folder: Path) -> None:
    """Create a folder with mode 700; close an existing one of this user to others.

    Raises:
        OSError: if it cannot be created.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    status = folder.stat()
    if status.st_mode & _OTHERS and status.st_uid == os.getuid():
        with suppress(OSError):  # a file system without modes
            folder.chmod(0o700)


def create_private(path: Path) -> None:
    """Create an empty file with mode 600; close an existing one of this user to others.

    Raises:
        OSError: if it cannot be created.
    """
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    status = path.stat()
    if stat.S_ISREG(status.st_mode) and status.st_mode & _OTHERS and status.st_uid == os.getuid():
        with suppress(OSError):  # as above
            path.chmod(0o600)
