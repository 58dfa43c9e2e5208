"""Print the figures. Nothing else should run beside it: ``python -m tests.bench [solids] [jobs] ...``."""

import importlib
import sys

BENCHES = ("solids", "jobs", "layout", "service", "scale", "idle")


def main() -> None:
    """Run the benches that are named, or all."""
    for name in sys.argv[1:] or BENCHES:
        print(f"-- {name}")
        importlib.import_module(f"tests.bench.{name}").main()


if __name__ == "__main__":
    main()
