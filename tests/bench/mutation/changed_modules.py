"""An importer of modules from trees of their own, and the run of pytest that mutants are tried in."""

import ast
import importlib.abc
import importlib.util
import os
import sys
from collections.abc import Sequence
from importlib.machinery import SourceFileLoader
from importlib.readers import FileReader
from pathlib import Path
from typing import Any

import pytest
from hypothesis import Phase, settings


class ChangedModules(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Importer of modules from trees of their own, by the module's name."""

    def __init__(self, trees: dict[Path, ast.Module], names: dict[str, Any]) -> None:
        self.trees = {module_name(path): (path, tree) for path, tree in trees.items()}
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


class _Quick:
    """Plugin: the marks of plugins that are not loaded, and random examples that are not made smaller."""

    def pytest_configure(self, config):
        config.addinivalue_line("markers", "flaky(reruns): of another plugin")

    def pytest_collection(self):
        profile = settings.get_profile("drawerwright")
        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("mutation", profile, phases=phases, database=None, report_multiple_bugs=False)
        settings.load_profile("mutation")


def module_name(path: Path) -> str:
    """Return the name by which a file is imported."""
    return ".".join(path.with_suffix("").parts).removesuffix(".__init__")


def run_tests(tests: Sequence[str], plugins: Sequence[object] = ()) -> int:
    """Run tests in this process without output until one fails; return pytest's exit status."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    sys.path.insert(0, str(Path.cwd()))
    os.environ["CI"] = "1"  # each mutant is tried with the same random examples
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # loading all of them takes longer than most files of tests
    options = ["-o", "addopts=--import-mode=importlib", "-p", "no:cacheprovider", "-x", "-q", "--tb=no"]
    return int(pytest.main([*options, "-m", "not service", *tests], plugins=[_Quick(), *plugins]))
