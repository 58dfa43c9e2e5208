"""The names in the code: each says what a value is, and a class name stands for one thing only."""

import ast
from collections import defaultdict
from itertools import chain
from pathlib import Path
from typing import Final

import pytest

_ROOT: Final = Path(__file__).parents[1]

#: Words that say when or how a value came to be, not what it is.
_RETIRED: Final = frozenset({"told", "said", "one", "found", "mine", "wanted", "known", "asked", "afresh", "anew"})

_ROOMS: Final = [
    *sorted(str(path.relative_to(_ROOT)) for path in (_ROOT / "worker").iterdir() if (path / "__init__.py").exists()),
    "api",
    *sorted(str(path.relative_to(_ROOT)) for path in (_ROOT / "tests").iterdir() if path.is_dir()),
]


def _trees(room):
    for path in sorted((_ROOT / room).rglob("*.py")):
        yield path.relative_to(_ROOT), ast.parse(path.read_text())


def _bound_names(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id, node.lineno
        elif isinstance(node, ast.arg):
            yield node.arg, node.lineno
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name, node.lineno


@pytest.mark.parametrize("room", _ROOMS)
def test_a_name_says_what_its_value_is(room):
    retired = [
        f"{path}:{line} {name}"
        for path, tree in _trees(room)
        for name, line in _bound_names(tree)
        if name.strip("_") in _RETIRED
    ]

    assert not retired


def test_a_public_class_name_stands_in_one_module():
    places = defaultdict(list)
    for path, tree in chain.from_iterable(map(_trees, ["api", "worker"])):
        for node in tree.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(str(path))

    assert not {name: paths for name, paths in places.items() if len(paths) > 1}
