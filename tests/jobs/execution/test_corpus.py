"""Specs that could once be planned and not built: each is planned and its job succeeds."""

import json
from pathlib import Path

import pytest

from tests.bench.plans_build import CORPUS, fails


@pytest.mark.parametrize("path", sorted(CORPUS.glob("*.json")), ids=lambda path: path.stem)
def test_a_spec_that_is_planned_builds(path: Path) -> None:
    accepted, error = fails(json.loads(path.read_text(encoding="utf-8")))
    assert accepted
    assert error is None
