"""Runnable specs. `python -m api.openapi.contract write` copies them to ``openapi/examples``."""

import json
from importlib.resources import files
from typing import Any, Final

__all__ = ["DEMO", "document", "names", "text"]

#: The example that `drawerwright demo` builds.
DEMO: Final = "bench-drawer"


def names() -> list[str]:
    """Return the names of all examples, in order."""
    return sorted(file.name.removesuffix(".json") for file in files(__name__).iterdir() if file.name.endswith(".json"))


def text(name: str) -> bytes:
    """Return the example's JSON.

    Raises:
        FileNotFoundError: when there is none of this name.
    """
    return files(__name__).joinpath(f"{name}.json").read_bytes()


def document(name: str) -> dict[str, Any]:
    """Return the example as read.

    Raises:
        FileNotFoundError: when there is none of this name.
    """
    read: dict[str, Any] = json.loads(text(name))
    return read
