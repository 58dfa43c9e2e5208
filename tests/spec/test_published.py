"""What callers send, and the examples of what they get, is as published: defaults, bounds, choices, descriptions."""

import json
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

import pytest
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

import worker.spec
from worker.spec.manifest import OutputModel
from worker.spec.manifest.examples import MANIFEST_EXAMPLES

PUBLISHED = json.loads((Path(__file__).parents[2] / "openapi" / "openapi.json").read_text())["components"]["schemas"]


def models():
    """Return the models of requests that are published, by name."""
    for module in walk_packages(worker.spec.__path__, "worker.spec."):
        import_module(module.name)
    waiting, every = [BaseModel], {}
    while waiting:
        model = waiting.pop()
        waiting += model.__subclasses__()
        if model.__module__.startswith("worker.spec.") and not issubclass(model, OutputModel):
            every[model.__name__] = model
    return {name: model for name, model in every.items() if name in PUBLISHED}


def test_requests_are_as_published():
    # written anew with: python -m api.openapi.contract write
    published = models()
    assert len(published) > 60
    pairs = [(model, "validation") for model in published.values()]
    _, schemas = models_json_schema(pairs, ref_template="#/components/schemas/{model}")
    assert {name: schemas["$defs"][name] for name in published} == {name: PUBLISHED[name] for name in published}


@pytest.mark.parametrize("name", MANIFEST_EXAMPLES)
def test_examples_of_documents_are_as_published(name):
    assert PUBLISHED[name]["examples"] == [json.loads(json.dumps(MANIFEST_EXAMPLES[name]))]
