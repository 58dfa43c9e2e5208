"""The documents: paths and links resolve, and the reference tables are complete."""

import json
import re
from itertools import product
from pathlib import Path
from typing import Final
from urllib.parse import unquote

import pytest

from worker.jobs.common.settings import Settings

_ROOT: Final = Path(__file__).parents[1]
_PAGES: Final = [_ROOT / "README.md", _ROOT / "DEVELOPERS.md", *sorted((_ROOT / ".readme").glob("*.md"))]
_TEXTS: Final = {str(page.relative_to(_ROOT)): page.read_text() for page in _PAGES}

#: Folders that a path in backticks can begin with, and files that stand beside them.
_TOP: Final = ("api/", "worker/", "tests/", "openapi/", ".ci/", ".readme/")
_LINK: Final = re.compile(r"\]\(([^)\s]+)\)")

#: Folders of data or generated modules.
_INNER: Final = {"examples", "migrations", "versions"}

_README_LINES: Final = 170
_LINE_LENGTH: Final = 125


def _prose(text):
    """Return a page without its fenced code."""
    return re.sub(r"^```.*?^```$", "", text, flags=re.DOTALL | re.MULTILINE)


def _anchors(text):
    """Return the fragments that a page's headings have, in the form that Markdown hosts derive from them."""
    headings = re.findall(r"^#+ +(.+)$", _prose(text), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.replace("`", "").lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", _TEXTS)
def test_each_path_in_backticks_exists(page):
    quoted = re.findall(r"`([^`\n]+)`", _prose(_TEXTS[page]))
    paths = [word.split("::")[0] for word in quoted if word.startswith(_TOP) and not set(word) & set(" <>*{}")]

    assert paths or page not in {"DEVELOPERS.md", ".readme/decisions.md"}
    assert [path for path in paths if not (_ROOT / path).exists()] == []


@pytest.mark.parametrize("page", _TEXTS)
def test_each_link_resolves(page):
    broken = []
    for link in _LINK.findall(_prose(_TEXTS[page])):
        path, _, fragment = unquote(link).partition("#")
        target = (_ROOT / page).parent / path if path else _ROOT / page
        if not target.exists() or (fragment and fragment not in _anchors(target.read_text())):
            broken.append(link)

    assert not broken


@pytest.mark.parametrize("page", _TEXTS)
def test_lines_of_prose_are_short(page):
    prose = _prose(_TEXTS[page]).splitlines()

    assert [line for line in prose if len(line) > _LINE_LENGTH and not line.startswith("|")] == []


def test_the_readme_is_short():
    assert len(_TEXTS["README.md"].splitlines()) <= _README_LINES


def test_each_sub_package_is_listed_for_developers():
    folders = [path.parent for room in ("api", "worker") for path in (_ROOT / room).glob("*/**/__init__.py")]
    names = {f"`{folder.relative_to(_ROOT)}`" for folder in folders if folder.name not in _INNER}

    assert names
    assert {name for name in names if name not in _TEXTS["DEVELOPERS.md"]} == set()


def test_each_setting_is_documented():
    quoted = set(re.findall(r"`([A-Z0-9_]+)`", _TEXTS[".readme/configuration.md"]))

    assert {name.upper() for name in Settings.model_fields} - quoted == set()


def test_each_route_of_the_contract_is_documented():
    rows = [row for row in _TEXTS[".readme/http-api.md"].splitlines() if row.startswith("| `")]
    documented = {
        pair
        for row in rows
        for pair in product(re.findall(r"\b(?:GET|POST|PUT|DELETE)\b", row), re.findall(r"(/[^`\s]*)`", row))
    }
    contract = json.loads((_ROOT / "openapi" / "openapi.json").read_bytes())
    routes = {(method.upper(), path) for path, operations in contract["paths"].items() for method in operations}
    routes = {(method, path) for method, path in routes if method in {"GET", "POST", "PUT", "DELETE"}}

    assert routes
    assert routes - documented == set()
