"""Documents that fuzzing found to fail once, one a file in ``tests/spec/corpus``.

A file names the ``reason``, the ``document`` and its ``outcome``: ``laid out``, or ``refused`` with the ``pointers`` of
the faulty values and the ``limit`` that they break.
"""

import json
from pathlib import Path

import pytest

from tests.spec.reading.mutation import lay
from worker.spec import loads
from worker.spec.errors import SpecError

_FILES = sorted((Path(__file__).parents[1] / "corpus").glob("*.json"))


def test_the_corpus_is_not_empty():
    assert _FILES


@pytest.mark.parametrize("path", _FILES, ids=lambda path: path.stem)
def test_a_document_of_the_corpus_has_the_outcome_that_its_file_names(path):
    case = json.loads(path.read_text())
    document = json.dumps(case["document"]).encode()
    if case["outcome"] == "refused":
        with pytest.raises(SpecError) as caught:
            loads(document)
        assert [error.pointer for error in caught.value.errors] == case["pointers"]
        assert {error.limit for error in caught.value.errors} == {case["limit"]}
    else:
        assert lay(loads(document)) == case["outcome"]
