"""``drawerwright backup`` and ``drawerwright restore``: the data folder as one archive, and back."""

from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import Machine
from api.command.terminal.display import note, watching
from worker.jobs.common.settings import Settings

__all__ = ["backup", "restore"]

_Archive: TypeAlias = Annotated[Path, typer.Argument(metavar="FILE.zip", help="The archive.", show_default=False)]
_Data: TypeAlias = Annotated[
    Path | None, typer.Option("--data", metavar="FOLDER", help="The data folder; left out, the one that `serve` has.")
]


def backup(file: _Archive, *, data: _Data = None, machine: Machine = False) -> None:
    """Write the record and all files that it names into an archive; the service may run meanwhile.

    Each file is compared with its digest. Keep the archive as safe as the service: who has it, has what is in it.
    """
    from worker.jobs.maintenance.backup import back_up  # noqa: PLC0415 - the other commands need no store

    with ending(machine=machine):
        settings = _settings(data)
        with watching(quiet=machine) as watcher:
            kept = back_up(settings, file, watcher.files)
        if machine:
            print_json({"file": str(file), "jobs": kept.jobs, "files": kept.files, "bytes": kept.bytes})
        else:
            note(f"{kept.jobs} jobs with {kept.files} files ({kept.bytes / 1e6:.1f} MB) are in {file}.")


def restore(file: _Archive, *, data: _Data = None, machine: Machine = False) -> None:
    """Put an archive into a data folder that is empty or not there; `serve` then goes on from it."""
    from worker.jobs.maintenance.backup import restore as put_back  # noqa: PLC0415 - as above

    with ending(machine=machine):
        settings = _settings(data)
        with watching(quiet=machine) as watcher:
            kept = put_back(settings, file, watcher.files)
        if machine:
            print_json({"data": str(settings.data_dir), "jobs": kept.jobs, "files": kept.files, "bytes": kept.bytes})
        else:
            note(f"{kept.jobs} jobs with {kept.files} files are in {settings.data_dir}.")


def _settings(data: Path | None) -> Settings:
    return Settings.read(**({} if data is None else {"data_dir": data}))
