"""How the routes about printing are documented: events that a caller may send, and answers.

The framework leaves null out of what a route says itself, so the examples are referred to.
"""

from typing import Any, Final

__all__ = ["EVENT_BODY", "PRINT_EXAMPLES", "example_of"]

_JOB: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_AT: Final = "2026-03-07T18:42:00Z"

_EVENTS: Final[dict[str, Any]] = {
    "event-run": {"summary": "A run came out well", "value": {"outcome": "printed", "run": 3, "id": "printer-1.run-3"}},
    "event-part-of-a-run": {
        "summary": "One piece of a run came loose",
        "value": {"outcome": "printed", "run": 3, "failed": {"T4": 1}, "note": "a corner came loose"},
    },
    "event-failed-run": {"summary": "A run failed", "value": {"outcome": "failed", "run": 3, "at": _AT}},
    "event-pieces": {
        "summary": "Pieces of one mark",
        "value": {"outcome": "printed", "mark": "T4", "count": 2},
    },
    "event-placed": {"summary": "Pieces that stand in the drawer", "value": {"outcome": "placed", "run": 3}},
}

_PRINT: Final[dict[str, Any]] = {
    "number": 4,
    "id": "printer-1.run-3",
    "recorded": _AT,
    "at": _AT,
    "outcome": "printed",
    "run": 3,
    "mark": None,
    "count": None,
    "failed": {"T4": 1},
    "note": "a corner came loose",
    "pieces_left": 3,
    "runs_left": 2,
}

_FILAMENT: Final[list[dict[str, Any]]] = [
    {
        "material": "PETG",
        "colour": "#2E6F9E",
        "used": 212.4,
        "used_for_failed": 18.2,
        "needed": 54.6,
        "spools": [187.6, 1000.0],
    }
]

_PRINTS: Final[dict[str, Any]] = {
    "job": _JOB,
    "done": False,
    "pieces_left": 3,
    "runs_left": 2,
    "marks": [
        {
            "mark": "T4",
            "kind": "tray",
            "name": "bits",
            "needed": 4,
            "printed": 1,
            "placed": 0,
            "failed": 1,
            "left": 3,
        }
    ],
    "runs": [
        {"number": 3, "state": "printed", "planned": True, "pieces": 2, "failed": {"T4": 1}, "file": None},
        {"number": 4, "state": "open", "planned": True, "pieces": 2, "failed": {}, "file": None},
        {"number": 5, "state": "open", "planned": False, "pieces": 1, "failed": {}, "file": None},
    ],
    "files": {"state": "awaited", "problem": None, "retry": None},
    "filament": _FILAMENT,
    "events": [_PRINT],
    "next": None,
}

_RUNS: Final[dict[str, Any]] = {
    "job": _JOB,
    "done": False,
    "runs": [
        {
            "number": 5,
            "material": "PETG",
            "colour": "#2E6F9E",
            "layer": 0.2,
            "line_width": 0.44,
            "pieces": [{"mark": "T4", "at": [0.5, 0.5], "turn": 0, "drawer": "top"}],
            "seconds": 4210.0,
            "grams": 18.2,
            "metres": 6.0,
            "cost": 0.36,
            "file": "run-05.3mf",
        }
    ],
    "work": {
        "pieces": 1,
        "runs": 1,
        "least_runs": 1,
        "long_pieces": [],
        "grams": 18.2,
        "metres": 6.0,
        "cost": 0.36,
        "seconds": 4210.0,
        "time_uncertainty": 0.25,
        "filament_uncertainty": 0.08,
        "calibrated_time": 1.0,
        "calibrated_filament": 1.0,
        "alternatives": [],
    },
    "schedule": None,
    "purchases": [{"material": "PETG", "colour": "#2E6F9E", "grams": 18.2, "left": 1187.6, "spools": 0, "cost": None}],
    "files": {"state": "awaited", "problem": None, "retry": None},
    "filament": _FILAMENT,
}

#: The examples that the routes refer to, by name.
PRINT_EXAMPLES: Final[dict[str, Any]] = {
    **_EVENTS,
    "print": {"summary": "An event as it was recorded", "value": _PRINT},
    "prints": {"summary": "A job half printed", "value": _PRINTS},
    "runs": {"summary": "One run is left", "value": _RUNS},
}


def _refer(*names: str) -> dict[str, Any]:
    return {name: {"$ref": f"#/components/examples/{name}"} for name in names}


def example_of(name: str) -> dict[str, Any]:
    """Return what an answer's documentation says of its example."""
    return {"content": {"application/json": {"examples": _refer(name)}}}


#: The request body of an event, for a route's `openapi_extra`: it is read as bytes.
EVENT_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"$ref": "#/components/schemas/PrintEvent"},
                "examples": _refer(*_EVENTS),
            }
        },
    }
}
