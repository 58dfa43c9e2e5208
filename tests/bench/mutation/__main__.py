"""Mutation testing: which small faults in a file would its room's tests let through?

``python -m tests.bench.mutation worker/output/checks [--tests tests/output/checks] [--sample 100] [--jobs 2]`` prints
each mutant that survives, with its line, and the share that was killed. Every mutant has one change: a comparison, a
condition, a term of a sum, a factor, a constant. No file is written. The tests are run once to see which of them enter
which lines and how long they take: a mutant is tried with those tests only, the quickest first, as many as take
``--seconds`` together. A mutant that hangs counts as killed. Survivors are to be read by a person: some change nothing
that can be seen.
"""

import argparse
import importlib
import sys
import time
from pathlib import Path
from random import Random

from .mutants import mutants
from .traced_tests import trace
from .trials import survivors


def main() -> None:
    """Print the survivors of the files named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.mutation")
    parser.add_argument("paths", nargs="+", type=Path, help="files or folders of worker")
    parser.add_argument("--tests", nargs="+", help="tests to run; default: those of the paths' own places under tests")
    parser.add_argument("--sample", type=int, help="no more mutants than these in all, chosen evenly at random")
    parser.add_argument("--seed", type=int, default=0, help="of the choice")
    parser.add_argument("--seconds", type=float, default=60.0, help="of tests, for each mutant")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    files = [file for path in options.paths for file in (sorted(path.rglob("*.py")) if path.is_dir() else [path])]
    places = options.tests or sorted({str(_tests_of(path)) for path in options.paths})
    start = time.perf_counter()
    traced = trace(places, files)
    if traced is None:
        sys.exit("a test fails without a mutant")
    print(f"-- {len(traced.tests)} tests traced in {time.perf_counter() - start:.0f} s", flush=True)
    chosen = [mutant for file in files for mutant in mutants(file)]
    whole = len(chosen)
    if options.sample is not None and whole > options.sample:
        chosen = [chosen[place] for place in sorted(Random(options.seed).sample(range(whole), options.sample))]
    alive = 0
    for mutant in survivors(chosen, traced, options.seconds, options.jobs):
        alive += 1
        print(mutant, flush=True)
    named = " ".join(map(str, options.paths))
    killed = len(chosen) - alive
    took = time.perf_counter() - start
    print(f"-- {named}: {killed} of {len(chosen)} killed, of {whole} mutants ({took:.0f} s)", flush=True)


def _tests_of(path: Path) -> Path:
    """Return the folder of tests that mirrors a file's folder, or a folder."""
    folder = path if path.is_dir() else path.parent
    return Path("tests", *folder.parts[1:])


if __name__ == "__main__":
    # a fork is fast when what the tests need is loaded, all but the rooms themselves and what pytest wants to rewrite
    for library in ("manifold3d", "numpy", "pydantic", "shapely", "trimesh"):
        importlib.import_module(library)
    main()
