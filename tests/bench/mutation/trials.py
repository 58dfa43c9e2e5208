"""Trials of mutants: which of them does no test notice?

A mutant of a function is tried in a fork of a process that has collected all tests: the function's code is exchanged
there, and nothing is imported again. What takes effect at import is tried in a process that imports everything anew.
"""

import gc
import json
import os
import resource
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from types import CodeType, FunctionType

import pytest

from .changed_modules import ChangedModules, run_tests
from .mutants import Mutant
from .traced_tests import TracedTest, TracedTests

#: Seconds, and seconds of a processor for each second that the tests take, after which a mutant counts as hanging.
_MOST_SECONDS = 900
_LEAST_CPU_SECONDS = 30
_CPU_SECONDS_EACH = 4
#: Bytes of memory over which a mutant counts as killed.
_MOST_MEMORY = 8 << 30


def survivors(mutated: Sequence[Mutant], traced: TracedTests, seconds: float, jobs: int) -> Iterator[Mutant]:
    """Yield the mutants that no test notices, as they are found; each is tried with tests of these seconds at most."""
    at_import = []
    within = []
    for mutant in mutated:
        if not traced.touching(mutant, seconds):
            yield mutant
        elif mutant.function is None or (str(mutant.path), mutant.block) in traced.collecting:
            at_import.append(mutant)
        else:
            within.append(mutant)
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            files = sorted({test.file for test in traced.tests})
            run_tests(files, [_Trials(within, traced, seconds, jobs, writing)])
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as answers:
        for line in answers:
            place, again = json.loads(line)
            if again:
                at_import.append(within[place])
            else:
                yield within[place]
    os.waitpid(child, 0)
    yield from _alive(
        at_import, lambda mutant: _start(lambda: _import_anew(mutant, traced.touching(mutant, seconds)), seconds), jobs
    )


def _alive(mutated: Sequence[Mutant], start: Callable[[Mutant], int], jobs: int) -> Iterator[Mutant]:
    """Yield the mutants whose processes end well."""
    running: dict[int, Mutant] = {}
    waiting = list(mutated)
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop(0)
            running[start(mutant)] = mutant
        child, status = os.wait()
        mutant = running.pop(child)
        if status == 0:
            yield mutant


def _start(work: Callable[[], int], seconds: float) -> int:
    """Start a process that works and exits with the answer; return its number."""
    child = os.fork()
    if child == 0:
        signal.alarm(_MOST_SECONDS)
        cpu = int(_LEAST_CPU_SECONDS + _CPU_SECONDS_EACH * seconds)
        resource.setrlimit(resource.RLIMIT_CPU, (cpu, cpu))
        resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
        status = 1
        try:
            status = work()
        finally:
            os._exit(status)
    return child


def _import_anew(mutant: Mutant, tests: Sequence[TracedTest]) -> int:
    sys.meta_path.insert(0, ChangedModules({mutant.path: mutant.tree()}, {}))
    return run_tests([test.id for test in tests])


class _Trials:
    """Plugin: tries mutants instead of running the tests that were collected, and writes which of them survive.

    Each line of the answer has the place of a mutant, and whether no function takes its code, so it is tried again.
    """

    def __init__(self, mutated: Sequence[Mutant], traced: TracedTests, seconds: float, jobs: int, answer: int) -> None:
        self.mutated = mutated
        self.traced = traced
        self.seconds = seconds
        self.jobs = jobs
        self.answer = answer

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session):
        items = {item.nodeid: item for item in session.items}
        functions = _functions({str(mutant.path.absolute()) for mutant in self.mutated})
        gc.freeze()  # what is left alone is not copied in each fork
        place = {mutant: number for number, mutant in enumerate(self.mutated)}

        def start(mutant: Mutant) -> int:
            tests = self.traced.touching(mutant, self.seconds)
            return _start(
                lambda: self._try(session, mutant, functions, [items[test.id] for test in tests]),
                sum(test.seconds for test in tests),
            )

        with os.fdopen(self.answer, "w") as answers:
            for mutant in _alive(self.mutated, start, self.jobs):
                again = _new_code(mutant, functions) is None
                print(json.dumps([place[mutant], again]), file=answers, flush=True)
        return True

    @staticmethod
    def _try(session, mutant: Mutant, functions: dict[tuple[str, str, int], list[FunctionType]], items) -> int:
        code = _new_code(mutant, functions)
        if code is None:
            return 0
        for function in functions[_key(mutant)]:
            function.__code__ = code
        for item, following in zip(items, [*items[1:], None], strict=True):
            item.ihook.pytest_runtest_protocol(item=item, nextitem=following)
            if session.testsfailed:
                return 1
        return 0


def _key(mutant: Mutant) -> tuple[str, str, int]:
    name, line = mutant.function or ("", 0)
    return str(mutant.path.absolute()), name, line


def _functions(paths: set[str]) -> dict[tuple[str, str, int], list[FunctionType]]:
    """Return all functions of some files by file, name and first line."""
    functions: dict[tuple[str, str, int], list[FunctionType]] = {}
    for thing in gc.get_objects():
        if type(thing) is FunctionType and thing.__code__.co_filename in paths:
            key = (thing.__code__.co_filename, thing.__code__.co_name, thing.__code__.co_firstlineno)
            functions.setdefault(key, []).append(thing)
    return functions


def _new_code(mutant: Mutant, functions: dict[tuple[str, str, int], list[FunctionType]]) -> CodeType | None:
    """Return the changed code of a mutant's function; None if no function can have it."""
    path, name, line = _key(mutant)
    codes = [compile(mutant.tree(), path, "exec")]
    while codes:
        code = codes.pop()
        if (code.co_name, code.co_firstlineno) == (name, line):
            exchanged = functions.get(_key(mutant), [])
            fits = exchanged and all(function.__code__.co_freevars == code.co_freevars for function in exchanged)
            return code if fits else None
        codes += [const for const in code.co_consts if isinstance(const, CodeType)]
    return None
