import inspect

import pytest

from worker.jobs.common import errors
from worker.spec import errors as core_errors
from worker.spec.errors import DrawerwrightError

_CLASSES = [getattr(errors, name) for name in errors.__all__]


def test_all_error_classes_of_the_module_are_listed():
    here = {name for name, member in vars(errors).items() if inspect.isclass(member)}

    assert here - {"DrawerwrightError"} == set(errors.__all__)


@pytest.mark.parametrize("error", _CLASSES, ids=errors.__all__)
def test_the_docstring_is_the_default_message(error):
    assert issubclass(error, DrawerwrightError)
    assert error().message == error().title == error.__doc__.splitlines()[0]


def test_no_two_classes_share_a_slug_with_those_of_the_core_counted():
    slugs = [error.slug for error in _CLASSES] + [getattr(core_errors, name).slug for name in core_errors.__all__]

    assert len(set(slugs)) == len(slugs)
