import inspect
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.spec import errors
from worker.spec.errors import DrawerwrightError, SpecError

_TREE = [
    "CheckFailed",
    "DrawerwrightError",
    "JointError",
    "LayoutError",
    "LengthError",
    "PanelError",
    "PrintRefused",
    "SpecError",
    "SpecTooLarge",
    "TrayError",
]
_CLASSES = [getattr(errors, name) for name in errors.__all__]


def test_the_tree_is_what_callers_were_promised():
    assert errors.__all__ == _TREE
    assert {
        name for name, variant in vars(errors).items() if inspect.isclass(variant) and issubclass(variant, Exception)
    } == set(_TREE)


@pytest.mark.parametrize("error", _CLASSES, ids=errors.__all__)
def test_each_class_speaks_its_docstring(error):
    assert issubclass(error, DrawerwrightError)
    assert error.__doc__
    assert error().message == error().title == error.__doc__.splitlines()[0]
    assert str(error()) == error.__doc__.splitlines()[0]


def test_no_two_classes_share_a_slug():
    slugs = [error.slug for error in _CLASSES]
    assert len(set(slugs)) == len(slugs)


def test_an_error_says_where_what_and_what_helps():
    error = SpecError(
        "Too wide.", pointer="/drawers/0/width", value=9000, limit="at most 3000 mm", remedy="Measure again."
    )
    assert str(error) == "Too wide. (at /drawers/0/width; got 9000; limit at most 3000 mm) Measure again."
    assert "status" not in error.problem()
    assert error.problem(instance="/v1/jobs", status=422) == {
        "type": "/problems/invalid-spec",
        "title": "The spec is invalid.",
        "status": 422,
        "detail": "Too wide.",
        "pointer": "/drawers/0/width",
        "value": 9000,
        "limit": "at most 3000 mm",
        "remedy": "Measure again.",
        "instance": "/v1/jobs",
    }


_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.integers(14_000, 20_000).map(lambda bits: 1 << bits)
    | st.floats()
    | st.text()
    | st.just("\ud800"),
    lambda inner: st.lists(inner, max_size=12) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


@given(_values)
def test_any_value_fits_a_problem_document(value):
    error = SpecError(value=value, errors=[SpecError(value=value)])
    json.dumps(error.problem(), allow_nan=False, ensure_ascii=False).encode()
    str(error).encode()


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (2**63 - 1, 2**63 - 1),  # the greatest integer of 64 bits
        (2**63, "a number of 64 bits"),
        (-(2**63), "a number of 64 bits"),
        (list(range(8)), list(range(8))),
        (list(range(9)), "[0, 1, 2, 3, 4, 5, 6, 7, 8]"),
    ],
)
def test_values_are_shown_as_json_that_any_reader_takes(value, shown):
    assert SpecError("x", value=value).problem()["value"] == shown
