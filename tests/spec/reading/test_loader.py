import json
from copy import deepcopy

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from worker.spec import Spec, load, loads
from worker.spec.errors import SpecError

_quiet = settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)

_leaves = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(
        [
            10**400,
            -0.0,
            1e308,
            "\ud800",
            "1/0 in",
            "16¼",
            "circle",
            "polygon",
            "box",
            "standard",
            "battery-aa",
            "__proto__",
            "1",
            True,
            [],
            {},
        ]
    )
)
_names = st.text(max_size=6) | st.sampled_from(
    [
        "spec",
        "name",
        "drawers",
        "printer",
        "grid",
        "width",
        "outline",
        "trays",
        "pockets",
        "shape",
        "circle",
        "joint",
        "at",
        "items",
        "kind",
        "standard",
        "previous",
    ]
)
_json = st.recursive(
    _leaves, lambda inner: st.lists(inner, max_size=5) | st.dictionaries(_names, inner, max_size=5), max_leaves=25
)


def _checked(document, resolve):
    """A spec comes out, or a SpecError whose pointers lead into the document."""
    try:
        spec = load(document)
    except SpecError as error:
        refused = error
    else:
        assert load(spec.model_dump(mode="json")) == spec
        return
    assert refused.errors
    for error in refused.errors:
        assert isinstance(error, SpecError)
        try:
            resolve(document, error.pointer)
        except LookupError:
            # a missing field, or a name that UTF-8 cannot carry: its parent must be there
            resolve(document, error.pointer.rpartition("/")[0])
            assert error.limit is not None or "\\" in error.pointer
    json.dumps(refused.problem(), allow_nan=False, ensure_ascii=False).encode()


@_quiet
@given(_json)
def test_anything_like_json_gives_a_spec_or_its_problems(resolve, document):
    _checked(document, resolve)


def _places(value, at=()):
    yield at
    if isinstance(value, dict | list):
        for step, member in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _places(member, (*at, step))


@settings(_quiet, max_examples=300)
@given(st.data())
def test_a_spec_changed_anywhere_gives_a_spec_or_its_problems(full, resolve, data):
    document = deepcopy(full)
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.sampled_from([at for at in _places(document) if at]))
        here = document
        for step in place[:-1]:
            here = here[step]
        match data.draw(st.sampled_from(["set", "set", "take out", "add", "twice"])):
            case "take out":
                del here[place[-1]]
            case "add" if isinstance(here, dict):
                here[data.draw(_names)] = data.draw(_json)
            case "twice" if isinstance(here, list):
                here.append(deepcopy(here[place[-1]]))
            case _:
                here[place[-1]] = data.draw(_json)
    _checked(document, resolve)


@_quiet
@given(st.binary(max_size=60) | st.text(max_size=60).map(lambda text: text.encode(errors="surrogatepass")))
def test_any_bytes_give_a_spec_or_its_problems(text):
    try:
        spec = loads(text)
    except SpecError as refused:
        spec = refused.errors
    assert spec


@pytest.mark.parametrize(
    ("text", "pointer"),
    [
        (b"", ""),
        (b"{", ""),
        (b"[]", ""),
        (b"null", ""),
        (b"\xff\xfe{}", ""),
        (b'{"a": "\xc3"}', ""),
        (b"[" * 100_000, ""),
        (b'{"a":' * 100_000, ""),
        (b'{"spec": NaN}', "/spec"),
        (b'{"drawers": [{"width": -Infinity}]}', "/drawers/0/width"),
        (b'{"name": 1e999}', "/name"),
        (b'{"name": 1' + b"0" * 5000 + b"}", "/name"),
        (b'{"spec": "1", "spec": "1"}', "/spec"),
        (b'{"spec": "1", "sp\\u0065c": "1"}', "/spec"),
        (b'{"grid": {"pitch": 42, "pitch": 50}}', "/grid/pitch"),
        (b'{"drawers": [{}, {"a/b": 1, "a/b": 2}]}', "/drawers/1/a~1b"),
        (b'{"' + b"a" * 81 + b'": 1}', ""),
    ],
)
def test_a_document_that_says_nothing_certain_is_refused(text, pointer):
    with pytest.raises(SpecError) as caught:
        loads(text)
    (problem,) = caught.value.errors
    assert problem.pointer == pointer


def test_depth_and_size_have_limits():
    with pytest.raises(SpecError) as caught:
        loads(b'{"name": ' + b"[" * 33 + b"]" * 33 + b"}")
    assert caught.value.limit == "at most 32 levels"
    with pytest.raises(SpecError) as caught:
        loads(b" " * 2_000_001)
    assert caught.value.limit == "at most 2000000 bytes"


def test_a_deep_object_is_refused_before_anything_looks_into_it():
    deep = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(SpecError) as caught:
        load({"name": deep})
    assert caught.value.limit == "at most 32 levels"


def test_a_document_full_of_problems_names_a_hundred(minimal):
    minimal["drawers"][0]["width"] = ["x"] * 20
    minimal["drawers"] = [{**minimal["drawers"][0], "name": f"d{n}"} for n in range(100)]
    with pytest.raises(SpecError, match="2000 problems; the first 100") as caught:
        load(minimal)
    assert len(caught.value.errors) == 100


def test_a_flood_of_problems_is_refused_as_one(minimal):
    minimal["drawers"] = [{"trays": [{}] * 500}] * 100
    with pytest.raises(SpecError, match="more than 5000 problems") as caught:
        load(minimal)
    assert len(caught.value.errors) == 1
    minimal["drawers"] = [{}] * 501
    with pytest.raises(SpecError, match="list has too many items") as caught:
        load(minimal)
    assert (caught.value.pointer, caught.value.value, caught.value.limit) == ("/drawers", 501, "at most 500 items")


def test_many_doubled_names_are_no_long_wait():
    doubled = ",".join(f'"n{n}": 1, "n{n}": 2' for n in range(50_000))
    with pytest.raises(SpecError, match="50000 problems"):
        loads(f"{{{doubled}}}".encode())


def test_a_byte_order_mark_is_no_problem(minimal):
    assert isinstance(loads(b"\xef\xbb\xbf" + json.dumps(minimal).encode()), Spec)
