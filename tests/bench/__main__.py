"""Run benchmarks and print their figures: ``python -m tests.bench [solids] [jobs] ...``, on an idle machine.

``plans_build`` runs only if it is named: it takes minutes, and other load does not matter to it.
"""

import importlib
import sys

BENCHES = ("solids", "jobs", "layout", "service", "scale", "idle")


def main() -> None:
    """Run the benchmarks named on the command line, or all of them."""
    for name in [word for word in sys.argv[1:] if not word.isdigit()] or BENCHES:
        print(f"-- {name}")
        importlib.import_module(f"tests.bench.{name}").main()


if __name__ == "__main__":
    main()
