"""Where the fields of a document are allowed, and what to suggest for a field that is not known."""

from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from functools import lru_cache
from typing import Any, Final, TypeAlias, get_args

from worker.spec.primitives.model import Noun
from worker.spec.primitives.pydantic_errors import Step

__all__ = ["remedy_for"]

#: How alike a misspelt name and the field's are at least: 1 is equal, and one wrong letter of four leaves 0.75.
_ALIKE: Final = 0.75
_ALIKE_ELSEWHERE: Final = 0.85

#: Places listed in one remedy, at most.
_MOST_PLACES: Final = 3

#: Stands for the index of a list in the place of a field.
_ANY: Final = "*"

_Place: TypeAlias = tuple[str, ...]


def remedy_for(noun: type[Noun], path: Sequence[Step]) -> str:
    """Return what to do about a field that the object at this path does not know.

    A field of the same object with a similar name comes first, then the places at which a field of this very name is
    allowed, then a field with a similar name elsewhere.

    Args:
        noun: the document's model.
        path: from the document to the field; its last step is the unknown name.
    """
    name = str(path[-1])
    own = _fields(noun).get(tuple(_ANY if isinstance(step, int) else step for step in path[:-1]), frozenset())
    if close := get_close_matches(name, sorted(own - {name}), n=1, cutoff=_ALIKE):
        return f'Did you mean "{close[0]}"?'
    places = _places(noun)
    if name in places:
        return f"Did you mean {_listed(places[name])}?"
    if close := get_close_matches(name, sorted(places), n=1, cutoff=_ALIKE_ELSEWHERE):
        return f"Did you mean {_listed(places[close[0]])}?"
    return "Remove it."


def _listed(places: Sequence[_Place]) -> str:
    """Return the first places in words, as JSON Pointers with ``*`` for an index."""
    pointers = ["/" + "/".join(place) for place in places[:_MOST_PLACES]]
    return " or ".join([", ".join(pointers[:-1]), pointers[-1]] if pointers[1:] else pointers)


@lru_cache(maxsize=16)
def _fields(noun: type[Noun]) -> dict[_Place, frozenset[str]]:
    """Return the field names of the objects at each place of a document; of a union, those of all its models."""
    fields: dict[_Place, frozenset[str]] = {}
    for place, model in _models(noun, (), ()):
        fields[place] = fields.get(place, frozenset()) | model.model_fields.keys()
    return fields


@lru_cache(maxsize=16)
def _places(noun: type[Noun]) -> dict[str, list[_Place]]:
    """Return the places at which each name is allowed, the shallowest first, without those in an earlier document."""
    places: dict[str, list[_Place]] = {}
    for place, names in sorted(_fields(noun).items(), key=lambda entry: (len(entry[0]), entry[0])):
        for name in names if "previous" not in place else ():
            places.setdefault(name, []).append((*place, name))
    return places


def _models(annotation: Any, place: _Place, above: tuple[type[Noun], ...]) -> Iterator[tuple[_Place, type[Noun]]]:
    """Yield each model in an annotation with its place, but none within itself."""
    if isinstance(annotation, type) and issubclass(annotation, Noun):
        if annotation not in above:
            yield place, annotation
            for name, field in annotation.model_fields.items():
                yield from _models(field.annotation, (*place, name), (*above, annotation))
        return
    inside = (*place, _ANY) if getattr(annotation, "__origin__", None) in {tuple, list} else place
    for argument in get_args(annotation):
        yield from _models(argument, inside, above)
