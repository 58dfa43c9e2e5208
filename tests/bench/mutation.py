"""Mutation testing: which small faults in a file would its room's tests let through?

``python -m tests.bench.mutation worker/output/checks [--tests tests/output/checks] [--sample 100] [--jobs 2]`` prints
each mutant that survives, with its line, and the share that was killed. Every mutant has one change: a comparison, a
condition, a term of a sum, a factor, a constant. It runs in a forked process in which that one module is compiled from
the changed source, so no file is written; the tests of the module's own name go first. A mutant that hangs counts as
killed. Survivors are to be read by a person: some change nothing that can be seen.
"""

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import os
import signal
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

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
    """One changed source: the path, the line, what was there and what is there now."""

    path: Path
    line: int
    before: str
    after: str
    tree: ast.Module


def mutants(path: Path) -> list[Mutant]:
    """Return every mutant of a file, in the order of its lines."""
    source = ast.parse(path.read_text())
    made = []
    for number, node in enumerate(_changeable(source)):
        for change in range(len(list(_changes(node)))):
            tree = copy.deepcopy(source)
            target = list(_changeable(tree))[number]
            before = ast.unparse(target)
            after = list(_changes(target))[change]
            _replace(tree, target, after)
            made.append(Mutant(path, node.lineno, before, ast.unparse(after), ast.fix_missing_locations(tree)))
    return made


def _changeable(tree: ast.AST) -> Iterator[ast.expr]:
    """Yield the expressions that may be changed: none of annotations, texts and decorators."""
    for field, value in ast.iter_fields(tree):
        if field in {"annotation", "returns", "decorator_list", "type_params", "bases"} or isinstance(
            tree, ast.JoinedStr
        ):
            continue
        if (
            isinstance(tree, ast.AnnAssign)
            and isinstance(tree.annotation, ast.Name)
            and tree.annotation.id == "TypeAlias"
        ):
            continue
        for node in value if isinstance(value, list) else [value]:
            if isinstance(node, ast.expr) and any(True for _ in _changes(node)):
                yield node
            if isinstance(node, ast.AST):
                yield from _changeable(node)


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
    """Importer of one module from a changed tree."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant = mutant
        self.name = ".".join(mutant.path.with_suffix("").parts).removesuffix(".__init__")

    def find_spec(self, fullname, path=None, target=None):  # noqa: ARG002 - the protocol of importers
        if fullname == self.name:
            return importlib.util.spec_from_file_location(fullname, self.mutant.path, loader=self)
        return None

    def create_module(self, spec):  # noqa: ARG002 - the protocol of importers
        return None

    def exec_module(self, module):
        exec(compile(self.mutant.tree, str(self.mutant.path), "exec"), module.__dict__)  # noqa: S102 - the mutant


def _run(mutant: Mutant | None, tests: list[str]) -> None:
    """Run the tests in this process and end it: 0 when all passed."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    if mutant is not None:
        sys.meta_path.insert(0, _Changed(mutant))
    options = ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-m", "not service"]
    os._exit(int(pytest.main([*options, *tests])))


def _start(mutant: Mutant | None, tests: list[str]) -> int:
    """Start a process for a mutant; return its number."""
    child = os.fork()
    if child == 0:
        signal.alarm(_LIMIT)
        try:
            _run(mutant, tests)
        finally:
            os._exit(1)
    return child


def _ordered(path: Path, tests: str) -> list[str]:
    """Return the room's test files, that of the module's own name first."""
    files = sorted(Path(tests).rglob("test_*.py")) if Path(tests).is_dir() else [Path(tests)]
    return [str(file) for file in sorted(files, key=lambda file: file.name != f"test_{path.stem}.py")]


def survivors(every: list[Mutant], tests: str, jobs: int) -> Iterator[Mutant]:
    """Yield the mutants that no test notices, as they are found."""
    running: dict[int, Mutant] = {}
    waiting = list(every)
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop(0)
            running[_start(mutant, _ordered(mutant.path, tests))] = mutant
        child, status = os.wait()
        mutant = running.pop(child)
        if status == 0:
            yield mutant


def main() -> None:
    """Print the survivors of the files named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.mutation")
    parser.add_argument("paths", nargs="+", type=Path, help="files or folders of worker")
    parser.add_argument("--tests", help="tests to run; default: those of the folder's own place under tests")
    parser.add_argument("--sample", type=int, help="no more mutants than these of a file, chosen evenly at random")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    files = [file for path in options.paths for file in (sorted(path.rglob("*.py")) if path.is_dir() else [path])]
    for file in files:
        every = mutants(file)
        if options.sample is not None and len(every) > options.sample:
            chosen = sorted(Random(0).sample(range(len(every)), options.sample))
            every = [every[place] for place in chosen]
        tests = options.tests or str(Path("tests", *file.parent.parts[1:]))
        if os.waitpid(_start(None, _ordered(file, tests)), 0)[1] != 0:
            sys.exit(f"{tests} fails without a mutant")
        alive = 0
        for mutant in survivors(every, tests, options.jobs):
            alive += 1
            print(f"{mutant.path}:{mutant.line}: {mutant.before}  ->  {mutant.after}", flush=True)
        print(f"-- {file}: {len(every) - alive} of {len(every)} killed", flush=True)


if __name__ == "__main__":
    # a fork is fast when what the tests need is loaded, all but the rooms themselves and what pytest wants to rewrite
    for library in ("manifold3d", "numpy", "pydantic", "shapely", "trimesh"):
        importlib.import_module(library)
    main()
