"""The loader: turns a caller's document into a `Spec`, or into one error that lists every problem with its pointer."""

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Final, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from worker.spec.errors import SpecError
from worker.spec.job import Spec
from worker.spec.primitives.model import Noun
from worker.spec.primitives.pydantic_errors import Step
from worker.spec.primitives.validation_messages import spec_error
from worker.spec.reading.field_places import remedy_for
from worker.spec.reading.json_limits import DEEPEST, SPEC_LIMITS, JsonLimits, scan

__all__ = ["load", "load_as", "loads", "parse", "pointer"]

NounT = TypeVar("NounT", bound=Noun)

_MOST_ERRORS: Final = 100
_MOST_COUNTED: Final = 5000
#: Maximum length of a list in ``previous``: a manifest lists every placement.
_LONGEST_OF_PREVIOUS: Final = 5000
_LONGEST_INTEGER: Final = 30
_LONGEST_NAME: Final = 80


def load(data: object) -> Spec:
    """Return the spec in a JSON-like object (dicts, lists, strings, numbers).

    Raises:
        SpecError: its `errors` list every problem.
    """
    return load_as(Spec, data)


def load_as(noun: type[NounT], data: object, limits: JsonLimits = SPEC_LIMITS) -> NounT:
    """Return the model of the contract in a JSON-like object.

    Raises:
        SpecError: its `errors` list every problem.
    """
    if faults := list(_faults(data, limits.items)):
        raise _grouped(faults)
    try:
        return noun.model_validate(data)
    except ValidationError as error:
        if error.error_count() > _MOST_COUNTED:
            message = f"The spec has more than {_MOST_COUNTED} problems, so none is listed."
            flood = SpecError(
                message, pointer="", limit="a spec of this contract", remedy="Compare it with the examples."
            )
            raise _grouped([flood]) from None
        details = [detail for detail in error.errors(include_url=False) if _is_primary(detail)]
        raise _grouped([_problem(detail, noun, data) for detail in details[:_MOST_ERRORS]], len(details)) from None


def loads(text: bytes) -> Spec:
    """Return the spec in a JSON document (UTF-8).

    Raises:
        SpecError: its `errors` list every problem.
    """
    return load(parse(text))


def parse(text: bytes, limits: JsonLimits = SPEC_LIMITS) -> object:
    """Parse a JSON document (UTF-8) within the limits of the contract.

    Raises:
        SpecError: its `errors` list every problem.
    """
    if len(text) > limits.size:
        limit = f"at most {limits.size} bytes"
        remedy = "Split it into several specs."
        raise _grouped(
            [SpecError("The document is too large.", pointer="", value=len(text), limit=limit, remedy=remedy)]
        )
    try:
        scan(text, limits.values)
        data = json.loads(text.decode("utf-8-sig"), object_pairs_hook=_pairs, parse_int=_integer)
    except SpecError as refused:
        fault = refused
    except UnicodeDecodeError as error:
        fault = SpecError(
            f"Byte {error.start} is not valid UTF-8.", pointer="", limit="UTF-8", remedy="Save the document as UTF-8."
        )
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        fault = SpecError(
            f"The document is not valid JSON: {error.msg} at {where}.",
            pointer="", limit="a JSON object", remedy="Correct the syntax there.",
        )  # fmt: skip
    else:
        return data
    raise _grouped([fault])


def pointer(steps: Sequence[Step]) -> str:
    """Return the JSON Pointer (RFC 6901) of a path."""
    escaped = "".join(f"/{str(step).replace('~', '~0').replace('/', '~1')}" for step in steps)
    return escaped.encode(errors="backslashreplace").decode()  # UTF-8 cannot encode a lone surrogate


class _RepeatedNames(dict[str, Any]):
    """An object in which names are repeated."""

    names: tuple[str, ...] = ()


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read = dict(pairs)
    if len(read) == len(pairs):
        return read
    repeated = _RepeatedNames(read)
    repeated.names = tuple(name for name, times in Counter(name for name, _ in pairs).items() if times > 1)
    return repeated


def _integer(digits: str) -> int | float:
    return int(digits) if len(digits) <= _LONGEST_INTEGER else float(digits)


def _faults(data: object, most_items: int) -> Iterator[SpecError]:
    """Yield the faults of the document as a whole, which are found before any field is validated."""
    waiting: list[tuple[object, tuple[Step, ...]]] = [(data, ())]
    while waiting:
        value, path = waiting.pop()
        if len(path) > DEEPEST:
            yield _too_deep(path)
            return
        if isinstance(value, float) and value - value != 0.0:
            remedy = "Write a finite number."
            yield SpecError(
                "The number must be finite.", pointer=pointer(path), value=value, limit="a finite number", remedy=remedy
            )
        elif isinstance(value, dict):
            yield from _misnamed(value, path)
            waiting.extend((item, (*path, name)) for name, item in value.items() if _is_name(name))
        elif isinstance(value, list | tuple) and len(value) > (longest := _longest(path, most_items)):
            limit = f"at most {longest} items"
            yield SpecError(
                "The list has too many items.",
                pointer=pointer(path), value=len(value), limit=limit, remedy="Shorten the list.",
            )  # fmt: skip
        elif isinstance(value, list | tuple):
            waiting.extend((item, (*path, index)) for index, item in enumerate(value))


def _longest(path: tuple[Step, ...], most_items: int) -> int:
    return _LONGEST_OF_PREVIOUS if path[:1] == ("previous",) and len(path) > 1 else most_items


def _is_name(name: object) -> bool:
    return isinstance(name, str) and len(name) <= _LONGEST_NAME


def _misnamed(value: dict[Any, Any], path: tuple[Step, ...]) -> Iterator[SpecError]:
    """Yield an error for each name of an object that is repeated, or that no field can have."""
    for name in value.names if isinstance(value, _RepeatedNames) else ():
        if _is_name(name):
            where = pointer((*path, name))
            yield SpecError("The field is given twice.", pointer=where, limit="each field once", remedy="Remove one.")
    for name in value:
        if not _is_name(name):
            limit = f"a text of at most {_LONGEST_NAME} characters"
            yield SpecError(
                "A field has an invalid name.",
                pointer=pointer(path), value=name, limit=limit, remedy="Rename the field.",
            )  # fmt: skip


def _too_deep(path: tuple[Step, ...]) -> SpecError:
    return SpecError(
        "The document is nested too deeply.",
        pointer=pointer(path), limit=f"at most {DEEPEST} levels", remedy="Compare it with the examples.",
    )  # fmt: skip


def _grouped(errors: list[SpecError], count: int = 1) -> SpecError:
    """Return one error that holds these, the first of ``count``, in `errors`; a single one keeps its message."""
    if len(errors) == 1:
        (error,) = errors
        return SpecError(
            error.message,
            pointer=error.pointer,
            value=error.value,
            limit=error.limit,
            remedy=error.remedy,
            errors=errors,
        )
    kept = errors[:_MOST_ERRORS]
    count = max(count, len(errors))
    more = f"; the first {len(kept)} are listed" if count > len(kept) else ""
    return SpecError(f"The spec has {count} problems{more}.", errors=kept)


def _is_primary(error: ErrorDetails) -> bool:
    """Return whether an error is a problem in itself, not a consequence of another field's error."""
    if error["type"] == "too_short":  # pydantic counts valid items only
        return len(error["input"]) < int(error["ctx"]["min_length"])
    return error["type"] != "default_factory_not_called"


def _problem(error: ErrorDetails, noun: type[Noun], data: object) -> SpecError:
    """Return the `SpecError` of an error of pydantic."""
    steps = _steps(error["loc"], data)
    refused = spec_error(error, pointer(steps))
    if error["type"] == "extra_forbidden":
        refused.remedy = remedy_for(noun, steps)
    return refused


def _steps(path: Sequence[Step], data: object) -> list[Step]:
    """Return the path without the steps that pydantic inserts: the tag of a shape, the index of a single reading."""
    steps: list[Step] = []
    here = data
    for index, step in enumerate(path):
        if _is_tag(path[:index]):
            continue
        inside = (isinstance(here, dict) and step in here) or (
            isinstance(here, list | tuple) and isinstance(step, int) and step < len(here)
        )
        if inside:
            here = here[step]  # type: ignore[index] # checked above
            steps.append(step)
        elif isinstance(here, dict | list | tuple) and index == len(path) - 1:
            steps.append(step)  # a missing field or item
    return steps


def _is_tag(before: Sequence[Step]) -> bool:
    """Return whether the next step of a path is a tag: after the index of a pocket and after the shape of an item."""
    match before:
        case [*_, "pockets", int()] | [*_, "items" | "contents", int(), "shape"]:
            return True
        case _:
            return False
