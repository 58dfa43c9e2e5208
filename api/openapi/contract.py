"""The published contract in ``openapi/``: written from the code, and checked against it."""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from api.app import create_app
from api.openapi import examples
from worker.spec.manifest import manifest_schema
from worker.spec.requests.household_document import household_schema

__all__ = ["files", "main", "stale"]

_FOLDER: Final = Path(__file__).resolve().parents[2] / "openapi"


def files() -> dict[str, bytes]:
    """Return every file of the contract by its path below ``openapi/``; the same code gives the same bytes."""
    made = {
        "openapi.json": _json(create_app().openapi()),
        "manifest.schema.json": _json(manifest_schema()),
        "household.schema.json": _json(household_schema()),
    }
    return made | {f"examples/{name}.json": examples.text(name) for name in examples.names()}


def stale(folder: Path = _FOLDER) -> list[str]:
    """Return the paths of files that are missing, superfluous or different from what the code generates."""
    made = files()
    there = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*.json")}
    return sorted(
        name for name in made.keys() | there.keys() if name not in there or there[name].read_bytes() != made.get(name)
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the contract, or check that what is written is current; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m api.openapi.contract", description=__doc__)
    parser.add_argument("action", choices=["check", "write"])
    action = parser.parse_args(arguments).action
    old = stale()
    if action == "check":
        for name in old:
            sys.stderr.write(f"openapi/{name} is out of date: run python -m api.openapi.contract write\n")
        return 1 if old else 0
    made = files()
    for name in old:
        path = _FOLDER / name
        if name in made:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(made[name])
        else:
            path.unlink()
    return 0


def _json(document: dict[str, Any]) -> bytes:
    return json.dumps(document, indent=2, ensure_ascii=False).encode() + b"\n"


if __name__ == "__main__":
    sys.exit(main())
