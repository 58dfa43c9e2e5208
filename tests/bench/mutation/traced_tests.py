"""Which tests enter which blocks of which files, and how long they take."""

import ast
import json
import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from .changed_modules import ChangedModules, module_name, run_tests
from .mutants import Mutant, blocks, mentions

#: A block: the file and the line of its first statement. Line 0 stands for the import of the file.
Block = tuple[str, int]


@dataclass(frozen=True)
class TracedTest:
    """A test: its id, the blocks that it enters, and the seconds that it takes."""

    id: str
    entered: frozenset[Block]
    seconds: float

    @property
    def file(self) -> str:
        """The file that it is in."""
        return self.id.partition("::")[0]


@dataclass(frozen=True)
class TracedTests:
    """The tests of some places, and what is entered while they are collected."""

    tests: tuple[TracedTest, ...]
    collecting: frozenset[Block]

    def touching(self, mutant: Mutant, seconds: float) -> list[TracedTest]:
        """Return the tests that enter a mutant's block, then others of their files, together of these seconds at most.

        Those of the module's own test file come first, then the quickest. Other tests of a file, and of the module's
        own one, may rest on what the first of them computed, even in another file. A mutant that runs at import is
        tried with what enters a block that uses its names.
        """
        path = str(mutant.path)
        lines = {mutant.block}
        if mutant.function is None:
            lines = set(mentions(ast.parse(mutant.source), mutant.names))
        own = f"test_{mutant.path.stem}.py"
        entering = [test for test in self.tests if any((path, line) in test.entered for line in lines)]
        files = {test.file for test in entering} | {test.file for test in self.tests if Path(test.file).name == own}
        if mutant.function is None or (path, mutant.block) in self.collecting:
            files |= {test.file for test in self.tests if (path, 0) in test.entered}
        ordered = sorted(entering, key=lambda test: (Path(test.file).name != own, test.seconds))
        others = [test for test in self.tests if test.file in files and test not in entering]
        ordered += sorted(others, key=lambda test: (Path(test.file).name != own, test.seconds))
        chosen, total = [], 0.0
        for test in ordered:
            total += test.seconds
            if chosen and total > seconds:
                break
            chosen.append(test)
        return chosen


def trace(places: Sequence[str], files: Sequence[Path]) -> TracedTests | None:
    """Run the tests of these places once and return what each enters of these files; None where one fails."""
    with tempfile.NamedTemporaryFile("r") as answer:
        child = os.fork()
        if child == 0:
            status = 1
            try:
                recorder = _Recorder(files)
                sys.meta_path.insert(0, ChangedModules({file: _noting(file) for file in files}, recorder.names))
                status = run_tests(places, [recorder])
                Path(answer.name).write_text(json.dumps(recorder.records()))
            finally:
                os._exit(status)
        _, status = os.waitpid(child, 0)
        if os.waitstatus_to_exitcode(status) != 0:
            return None
        collecting, tests = json.loads(answer.read())
    return TracedTests(
        tuple(TracedTest(name, frozenset((file, line) for file, line in entered), s) for name, entered, s in tests),
        frozenset((file, line) for file, line in collecting),
    )


def _noting(path: Path) -> ast.Module:
    """Return a file in which each block notes that it was entered."""
    tree = ast.parse(path.read_text())
    functions = {id(node.body) for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    for block in {id(block): block for block in blocks(tree)}.values():
        first = block[0]
        text = id(block) in functions and isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
        block[int(text) : int(text)] = ast.parse(f"_entered.add(({str(path)!r}, {first.lineno}))").body
    return ast.fix_missing_locations(tree)


class _Recorder:
    """Plugin: notes what each test enters. What a shared fixture enters counts for all tests that use it."""

    def __init__(self, files: Sequence[Path]) -> None:
        self.files = files
        self.entered: set[Block] = set()
        self.names = {"_entered": self.entered}
        self.collecting: set[Block] = set()
        self.fixtures: dict[str, set[Block]] = {}
        self.tests: dict[str, tuple[set[Block], list[str]]] = {}
        self.seconds: dict[str, float] = {}

    def pytest_collection_finish(self):
        self.collecting |= self.entered
        self.entered.clear()

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef):
        before = set(self.entered)
        self.entered.clear()
        try:
            return (yield)
        finally:
            if fixturedef.scope != "function":
                self.fixtures.setdefault(fixturedef.argname, set()).update(self.entered)
            self.entered |= before

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item):
        self.entered.clear()
        try:
            return (yield)
        finally:
            self.tests[item.nodeid] = (set(self.entered), list(item.fixturenames))

    def pytest_runtest_logreport(self, report):
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration

    def records(self) -> tuple[list[Block], list[tuple[str, list[Block], float]]]:
        imported = {(str(file), 0) for file in self.files if module_name(file) in sys.modules}
        tests = []
        for name, (entered, fixtures) in self.tests.items():
            shared = set().union(*(self.fixtures.get(fixture, set()) for fixture in fixtures))
            tests.append((name, sorted(entered | shared | imported), self.seconds[name]))
        return sorted(self.collecting), tests
