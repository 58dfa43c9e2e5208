"""No text of pydantic reaches a caller: every fault of a document is named in our own words, with all four fields."""

import json
import re
from copy import deepcopy
from functools import lru_cache

import pytest
from pydantic import ValidationError
from pydantic_core._pydantic_core import list_all_errors

from tests.layout.relayout.printed_manifest import first, printed
from worker.spec import Spec
from worker.spec.errors import SpecError
from worker.spec.primitives.validation_messages import MESSAGES, spec_error
from worker.spec.reading.loader import load_as
from worker.spec.requests.batch import BatchRequest
from worker.spec.requests.print_event import PrintEvent
from worker.spec.requests.webhook import WebhookRequest

#: One value of every JSON type, and some that are nearly right.
_WRONG = [
    None, True, 0, -1, 1.5, 10**18, 10**25, 1e300, "", " ", "x", "5", "x" * 5000, "a\tb", "\ud800",
    [], [1], [None] * 3, [0] * 499, {}, {"x": 1}, {"kind": "x"}, {"shape": 1},
]  # fmt: skip
#: Raised by nothing in a document, or only beside the errors that they are an echo of.
_NEVER = {"value_error", "assertion_error", "default_factory_not_called"}


def _pattern(template):
    return re.compile(r"[\s\S]*".join(map(re.escape, re.split(r"\{\w+\}", template))) + r"\.?")


_RAW = [_pattern(error["message_template_python"]) for error in list_all_errors() if error["type"] not in _NEVER]


@lru_cache(maxsize=1)
def _previous():
    spec = {
        "spec": "1", "name": "a", "printer": {"bed": [200, 200, 200]}, "coupon": False,
        "drawers": [{"name": "a", "width": 90, "depth": 90, "height": 50}],
        "items": [{"name": "i", "shape": {"kind": "box", "size": [9, 9, 9]}}],
    }  # fmt: skip
    manifest = printed(first(spec)).model_dump(mode="json")
    manifest["schedule"] = {
        "timezone": "UTC", "begin": "2026-03-01T18:00:00Z", "finish": None, "steps": [], "waiting": [],
    }  # fmt: skip
    return {**spec, "previous": manifest}


_EVENT = {"outcome": "printed", "run": 1, "failed": {"T1": 1}, "note": "n", "at": "2026-03-01T18:00:00Z", "id": "a"}
_RUN_OF_MARKS = {"outcome": "printed", "mark": "T1", "count": 2}
_WEBHOOK = {"url": "https://home.example/", "events": ["job.failed"], "jobs": "all"}
_BATCH = {"batch": "1", "name": "b", "specs": [{}], "strict": True, "split": False}


def _wrong(document):
    """Yield the document with each of its values left out, replaced by each wrong one, or given a field too many."""

    def places(value):
        yield value
        for member in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            yield from places(member)

    for wrong in _WRONG:
        yield wrong
    copy = deepcopy(document)
    for holder in [place for place in places(copy) if isinstance(place, dict | list)]:
        for key in list(holder) if isinstance(holder, dict) else range(min(len(holder), 2)):
            right = holder[key]
            for wrong in _WRONG:
                holder[key] = wrong
                yield copy
            holder[key] = right
            if isinstance(holder, dict):
                del holder[key]
                yield copy
                holder[key] = right
        if isinstance(holder, dict):
            holder["unknown"] = 1
            yield copy
            del holder["unknown"]


def _check(error, document):
    for fault in error.errors or (error,):
        assert fault.pointer is not None, (fault.message, document)
        assert fault.limit, fault
        assert fault.remedy, fault
        assert "Input should" not in str(fault)
        assert not any(raw.fullmatch(fault.message) for raw in _RAW), fault


@pytest.mark.parametrize("name", ["full", "previous", "event", "mark", "webhook", "batch"])
def test_every_fault_has_our_words_and_all_four_fields(name, full):
    noun, document = {
        "full": (Spec, full),
        "previous": (Spec, _previous()),
        "event": (PrintEvent, _EVENT),
        "mark": (PrintEvent, _RUN_OF_MARKS),
        "webhook": (WebhookRequest, _WEBHOOK),
        "batch": (BatchRequest, _BATCH),
    }[name]
    load_as(noun, document)
    refused = 0
    for wrong in _wrong(document):
        try:
            load_as(noun, wrong)
        except SpecError as error:
            refused += 1
            _check(error, wrong)
            json.dumps(error.problem())
    assert refused > 50


@pytest.mark.parametrize("name", ["full", "previous", "event", "webhook", "batch"])
def test_each_error_type_that_a_model_raises_has_its_own_text(name, full):
    noun, document = {
        "full": (Spec, full),
        "previous": (Spec, _previous()),
        "event": (PrintEvent, _EVENT),
        "webhook": (WebhookRequest, _WEBHOOK),
        "batch": (BatchRequest, _BATCH),
    }[name]
    types = {error["type"] for error in list_all_errors()} - _NEVER
    raised = set()
    for wrong in _wrong(document):
        try:
            noun.model_validate(wrong)
        except ValidationError as error:
            raised.update(detail["type"] for detail in error.errors(include_url=False))
    assert raised & types <= MESSAGES.keys()


@pytest.mark.parametrize("error", list_all_errors(), ids=lambda error: error["type"])
def test_any_error_type_has_our_words(error):
    context = {**(error.get("example_context") or {}), "discriminator": "'kind'", "expected": "'a' or 'b'"}
    details = {"type": error["type"], "loc": ("a",), "msg": "raw", "input": {}, "ctx": context}

    fault = spec_error(details, "/a")

    assert fault.limit
    assert fault.remedy
    assert not any(raw.fullmatch(fault.message) for raw in _RAW)


def test_a_missing_item_of_a_list_and_a_misspelt_field_say_what_to_do(minimal):
    del minimal["printer"]["bed"][2]
    minimal["nmae"] = minimal.pop("name")

    with pytest.raises(SpecError) as caught:
        load_as(Spec, minimal)

    assert [(error.pointer, error.message, error.remedy) for error in caught.value.errors] == [
        ("/name", "The field is required.", 'Add "name".'),
        ("/printer/bed/2", "The list has no item 2.", "Add the missing items."),
        ("/nmae", "The field is not known.", 'Did you mean "name"?'),
    ]
