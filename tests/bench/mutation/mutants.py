"""Mutation testing: which small faults in a file would its room's tests let through?

``python -m tests.bench.mutation worker/output/checks [--tests tests/output/checks] [--sample 100] [--jobs 2]`` prints
each mutant that survives, with its line, and the share that was killed. Every mutant has one change: a comparison, a
condition, a term of a sum, a factor, a constant. It runs in a forked process in which that one module is compiled from
the changed source, so no file is written. The tests are first run once, each file in a process of its own, to see which
of them enter which function and how long they take: a mutant is tried with those files only, the shortest first, and
none that takes longer than ``--slowest`` seconds. A mutant that hangs counts as killed. Survivors are to be read by a
person: some change nothing that can be seen.
"""

import argparse
import ast
import importlib
import importlib.abc
import importlib.util
import json
import os
import signal
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.machinery import SourceFileLoader
from importlib.readers import FileReader
from pathlib import Path
from random import Random
from typing import Any

import pytest

#: What a comparison is replaced by: its neighbour, and its opposite.
_COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
#: What an operator is replaced by.
_OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
}  # fmt: skip
#: Seconds after which a mutant counts as hanging.
_LIMIT = 600


@dataclass(frozen=True)
class Mutant:
    """One change: the file, the line, what was there and what is there now, and the line of the function around it.

    ``place`` is the number of the expression among those that may be changed, ``change`` that of its change.
    """

    path: Path
    line: int
    before: str
    after: str
    function: int
    place: int
    change: int

    def tree(self) -> ast.Module:
        """Return the changed source."""
        tree = ast.parse(self.path.read_text())
        target, _ = list(_changeable(tree))[self.place]
        _replace(tree, target, list(_changes(target))[self.change])
        return ast.fix_missing_locations(tree)


def mutants(path: Path) -> list[Mutant]:
    """Return every mutant of a file, in the order of its lines."""
    made = []
    for place, (node, function) in enumerate(_changeable(ast.parse(path.read_text()))):
        before = ast.unparse(node)
        for change, after in enumerate(_changes(node)):
            made.append(Mutant(path, node.lineno, before, ast.unparse(after), function, place, change))
    return made


def _changeable(tree: ast.AST, function: int = 0) -> Iterator[tuple[ast.expr, int]]:
    """Yield the expressions that may be changed, none of annotations, texts and decorators, and their function's line.

    The line is 0 for what runs when the module is imported.
    """
    if isinstance(tree, ast.JoinedStr):
        return
    if isinstance(tree, ast.AnnAssign) and isinstance(tree.annotation, ast.Name) and tree.annotation.id == "TypeAlias":
        return
    for field, value in ast.iter_fields(tree):
        if field in {"annotation", "returns", "decorator_list", "type_params", "bases"}:
            continue
        inside = tree.lineno if isinstance(tree, ast.FunctionDef) and field == "body" else function
        for node in value if isinstance(value, list) else [value]:
            if isinstance(node, ast.expr) and any(True for _ in _changes(node)):
                yield node, inside
            if isinstance(node, ast.AST):
                yield from _changeable(node, inside)


def _changes(node: ast.expr) -> Iterator[ast.expr]:
    """Yield what an expression may be changed to."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        for other in _COMPARISONS[type(node.ops[0])]:
            yield ast.Compare(node.left, [other()], node.comparators)
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        for left_out in range(len(node.values)):
            kept = [value for place, value in enumerate(node.values) if place != left_out]
            yield kept[0] if len(kept) == 1 else ast.BoolOp(node.op, kept)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield node.operand
    elif (
        isinstance(node, ast.BinOp)
        and type(node.op) in _OPERATORS
        and not isinstance(node.left, ast.Constant | ast.JoinedStr)
    ):
        yield node.left
        yield ast.BinOp(node.left, _OPERATORS[type(node.op)](), node.right)
    elif isinstance(node, ast.IfExp):
        yield ast.IfExp(node.test, node.orelse, node.body)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        yield ast.Constant(node.value + 1)
        yield ast.Constant(node.value - 1)
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)


def _replace(tree: ast.AST, old: ast.expr, new: ast.expr) -> None:
    for parent in ast.walk(tree):
        for field, value in ast.iter_fields(parent):
            if value is old:
                setattr(parent, field, new)
            elif isinstance(value, list) and any(item is old for item in value):
                setattr(parent, field, [new if item is old else item for item in value])


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Importer of modules from trees of their own, by the module's name."""

    def __init__(self, trees: dict[str, tuple[Path, ast.Module]], names: dict[str, Any]) -> None:
        self.trees = trees
        self.names = names

    def find_spec(self, fullname, path=None, target=None):  # noqa: ARG002 - the protocol of importers
        if fullname not in self.trees:
            return None
        file, _ = self.trees[fullname]
        package = [str(file.parent)] if file.name == "__init__.py" else None
        return importlib.util.spec_from_file_location(fullname, file, loader=self, submodule_search_locations=package)

    def create_module(self, spec):  # noqa: ARG002 - the protocol of importers
        return None

    def get_resource_reader(self, name):
        return FileReader(SourceFileLoader(name, str(self.trees[name][0])))

    def exec_module(self, module):
        file, tree = self.trees[module.__name__]
        module.__dict__.update(self.names)
        exec(compile(tree, str(file), "exec"), module.__dict__)  # noqa: S102 - the mutant


def _module(path: Path) -> str:
    return ".".join(path.with_suffix("").parts).removesuffix(".__init__")


def _traced(path: Path) -> ast.Module:
    """Return a file in which each function notes that it was entered."""
    tree = ast.parse(path.read_text())
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            note = ast.parse(f"_entered.add(({str(path)!r}, {node.lineno}))").body
            first = node.body[0]
            texts = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
            node.body[int(texts) : int(texts)] = note
    return ast.fix_missing_locations(tree)


def _run(trees: dict[str, tuple[Path, ast.Module]], names: dict[str, Any], tests: Sequence[str]) -> int:
    """Run the tests in this process, in which modules come from these trees; return pytest's exit status."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    os.environ["CI"] = "1"  # each mutant is tried with the same random examples
    sys.meta_path.insert(0, _Changed(trees, names))
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # loading all of them takes longer than most files of tests
    options = ["-p", "xdist", "-p", "pytest_rerunfailures", "-p", "no:cacheprovider"]
    options += ["-x", "-q", "-n", "0", "-m", "not service"]
    return int(pytest.main([*options, *tests]))


def _start(mutant: Mutant, tests: Sequence[str]) -> int:
    """Start a process for a mutant; return its number."""
    child = os.fork()
    if child == 0:
        signal.alarm(_LIMIT)
        status = 1
        try:
            status = _run({_module(mutant.path): (mutant.path, mutant.tree())}, {}, tests)
        finally:
            os._exit(status)
    return child


@dataclass(frozen=True)
class Tests:
    """A file of tests: the functions that it enters, by file and line, and the seconds that it takes."""

    path: str
    entered: frozenset[tuple[str, int]]
    seconds: float

    @staticmethod
    def traced(path: str, files: Sequence[Path]) -> "Tests | None":
        """Return what a file of tests enters of these files; None where it fails."""
        with tempfile.NamedTemporaryFile("r") as answer:
            start = time.perf_counter()
            child = os.fork()
            if child == 0:
                status = 1
                try:
                    entered: set[tuple[str, int]] = set()
                    trees = {_module(file): (file, _traced(file)) for file in files}
                    status = _run(trees, {"_entered": entered}, [path])
                    entered |= {(str(file), 0) for file in files if _module(file) in sys.modules}
                    Path(answer.name).write_text(json.dumps(sorted(entered)))
                finally:
                    os._exit(status)
            _, status = os.waitpid(child, 0)
            if os.waitstatus_to_exitcode(status) not in {0, 5}:  # 5: every test of it starts servers
                return None
            entries = json.loads(answer.read() or "[]")
            return Tests(path, frozenset((file, line) for file, line in entries), time.perf_counter() - start)


def _touching(mutant: Mutant, every: Sequence[Tests]) -> list[str]:
    """Return the test files that enter a mutant's function, that of the module's own name first, then the shortest."""
    own = f"test_{mutant.path.stem}.py"
    touching = [tests for tests in every if (str(mutant.path), mutant.function) in tests.entered]
    return [tests.path for tests in sorted(touching, key=lambda tests: (Path(tests.path).name != own, tests.seconds))]


def survivors(mutated: Sequence[Mutant], every: Sequence[Tests], jobs: int) -> Iterator[Mutant]:
    """Yield the mutants that no test notices, as they are found."""
    running: dict[int, Mutant] = {}
    waiting = list(mutated)
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop(0)
            tests = _touching(mutant, every)
            if tests:
                running[_start(mutant, tests)] = mutant
            else:
                yield mutant
        if running:
            child, status = os.wait()
            mutant = running.pop(child)
            if status == 0:
                yield mutant


def main() -> None:
    """Print the survivors of the files named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.mutation")
    parser.add_argument("paths", nargs="+", type=Path, help="files or folders of worker")
    parser.add_argument("--tests", nargs="+", help="tests to run; default: those of the paths' own places under tests")
    parser.add_argument("--sample", type=int, help="no more mutants than these in all, chosen evenly at random")
    parser.add_argument("--seed", type=int, default=0, help="of the choice")
    parser.add_argument(
        "--slowest", type=float, default=60.0, help="files of tests that take more seconds are left out"
    )
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    files = [file for path in options.paths for file in (sorted(path.rglob("*.py")) if path.is_dir() else [path])]
    places = options.tests or sorted({str(_tests_of(path)) for path in options.paths})
    every: list[Tests] = []
    for place in places:
        for file in sorted(Path(place).rglob("test_*.py")) if Path(place).is_dir() else [Path(place)]:
            traced = Tests.traced(str(file), files)
            if traced is None:
                sys.exit(f"{file} fails without a mutant")
            if traced.seconds <= options.slowest:
                every.append(traced)
            else:
                print(f"-- left out: {file}, {traced.seconds:.0f} s", flush=True)
    chosen = [mutant for file in files for mutant in mutants(file)]
    whole = len(chosen)
    if options.sample is not None and whole > options.sample:
        chosen = [chosen[place] for place in sorted(Random(options.seed).sample(range(whole), options.sample))]
    alive = 0
    for mutant in survivors(chosen, every, options.jobs):
        alive += 1
        print(f"{mutant.path}:{mutant.line}: {mutant.before}  ->  {mutant.after}", flush=True)
    named = " ".join(map(str, options.paths))
    print(f"-- {named}: {len(chosen) - alive} of {len(chosen)} killed, of {whole} mutants", flush=True)


def _tests_of(path: Path) -> Path:
    """Return the folder of tests that mirrors a file's folder, or a folder."""
    folder = path if path.is_dir() else path.parent
    return Path("tests", *folder.parts[1:])


if __name__ == "__main__":
    # a fork is fast when what the tests need is loaded, all but the rooms themselves and what pytest wants to rewrite
    for library in ("manifold3d", "numpy", "pydantic", "shapely", "trimesh"):
        importlib.import_module(library)
    main()
