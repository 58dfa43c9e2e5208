"""Run benchmarks and print their figures: ``python -m tests.bench [solids] [jobs] ...``, on an idle machine.

``plans_build``, ``worst_plans``, ``practice``, ``gallery``, ``drawer_changes`` and ``mutated_files`` run only if they
are named: they take minutes, and other load does not matter to them. ``practice`` takes options, see there.
"""

import importlib
import sys
from pathlib import Path

BENCHES = (
    "floors",
    "solids",
    "jobs",
    "layout",
    "service",
    "scale",
    "household",
    "idle",
    "many_drawers",
    "packing",
    "estimates",
    "timetables",
    "page",
    "stability",
)


def main() -> None:
    """Run the benchmarks named on the command line, or all of them."""
    modules = {path.stem for path in Path(__file__).parent.glob("*.py")}
    for name in [word for word in sys.argv[1:] if word in modules] or BENCHES:
        print(f"-- {name}")
        importlib.import_module(f"tests.bench.{name}").main()


if __name__ == "__main__":
    main()
