"""``drawerwright backup`` and ``drawerwright restore``: the data folder to and from one archive."""

from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import Machine
from api.command.terminal.display import note, watching
from worker.jobs.common.settings import Settings

__all__ = ["backup", "restore"]

_Archive: TypeAlias = Annotated[
    Path, typer.Argument(metavar="FILE.zip", help="Path of the archive.", show_default=False)
]
_Data: TypeAlias = Annotated[
    Path | None, typer.Option("--data", metavar="FOLDER", help="Data folder. Default: the one `serve` uses.")
]


def backup(file: _Archive, *, data: _Data = None, machine: Machine = False) -> None:
    """Back up the database and all files to one archive. The service can keep running.

    Every file is verified against its checksum. The archive contains keys and secrets: protect it as you protect the
    service.
    """
    from worker.jobs.maintenance.backup import back_up  # noqa: PLC0415 - the other commands need no store

    with ending(machine=machine):
        settings = _settings(data)
        with watching(quiet=machine) as watcher:
            kept = back_up(settings, file, watcher.files)
        if machine:
            print_json({"file": str(file), "jobs": kept.jobs, "files": kept.files, "bytes": kept.bytes})
        else:
            note(f"Backed up {kept.jobs} jobs with {kept.files} files ({kept.bytes / 1e6:.1f} MB) to {file}.")


def restore(file: _Archive, *, data: _Data = None, machine: Machine = False) -> None:
    """Restore an archive to a data folder that is empty or does not exist. Then start `serve` with that folder."""
    from worker.jobs.maintenance.backup import restore as put_back  # noqa: PLC0415 - as above

    with ending(machine=machine):
        settings = _settings(data)
        with watching(quiet=machine) as watcher:
            kept = put_back(settings, file, watcher.files)
        if machine:
            print_json({"data": str(settings.data_dir), "jobs": kept.jobs, "files": kept.files, "bytes": kept.bytes})
        else:
            note(f"Restored {kept.jobs} jobs with {kept.files} files to {settings.data_dir}.")


def _settings(data: Path | None) -> Settings:
    return Settings.read(**({} if data is None else {"data_dir": data}))
