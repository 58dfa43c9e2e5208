"""Every numeric bound of the spec holds at its exact value, and refuses what lies beyond it."""

from collections.abc import Iterator
from typing import Annotated, Any, NamedTuple, get_args, get_origin

import annotated_types
import pytest
from pydantic import BaseModel, TypeAdapter, ValidationError

from worker.spec import Spec
from worker.spec.manifest import Manifest
from worker.spec.primitives.length import LengthBounds
from worker.spec.requests.batch import BatchRequest
from worker.spec.requests.print_event import PrintEvent
from worker.spec.requests.webhook import WebhookRequest

ROOTS = (Spec, BatchRequest, PrintEvent, WebhookRequest)


class Bound(NamedTuple):
    """A field with a bound: its name, its type, the value at the bound, a value beyond it."""

    name: str
    type: Any
    allowed: float
    refused: float


def limits(constraint: Any) -> Iterator[tuple[str, float, int]]:
    """Yield the limits of a constraint: the relation, the limit, and the side on which values are refused."""
    for each in getattr(constraint, "metadata", [constraint]):
        if isinstance(each, LengthBounds):
            yield from ((">=", each.least, -1), ("<=", each.most, 1))
        elif isinstance(each, annotated_types.Ge):
            yield ">=", each.ge, -1
        elif isinstance(each, annotated_types.Le):
            yield "<=", each.le, 1
        elif isinstance(each, annotated_types.Gt):
            yield ">", each.gt, -1
        elif isinstance(each, annotated_types.Lt):
            yield "<", each.lt, 1


def bounds(name: str, annotation: Any, metadata: tuple[Any, ...]) -> Iterator[Bound]:
    """Yield the numeric bounds of a type and of the types it is made of."""
    if get_origin(annotation) is Annotated:
        annotation, *inner = get_args(annotation)
        metadata = (*inner, *metadata)
    if annotation not in {int, float}:
        for part in get_args(annotation):
            yield from bounds(name, part, ())
        return
    step = 1 if annotation is int else 1e-3
    typed = Annotated[(annotation, *metadata)] if metadata else annotation
    for relation, limit, side in (each for constraint in metadata for each in limits(constraint)):
        strict = "=" not in relation
        allowed, refused = (limit - side * step, limit) if strict else (limit, limit + side * step)
        yield Bound(f"{name} {relation} {limit:g}", typed, allowed, refused)


def models(root: Any, seen: set[type[BaseModel]]) -> Iterator[type[BaseModel]]:
    """Yield a model and every model it is made of, each once; a manifest is output and has no bounds of a caller."""
    for inner in get_args(root):
        yield from models(inner, seen)
    if isinstance(root, type) and issubclass(root, BaseModel) and root not in seen and root is not Manifest:
        seen.add(root)
        yield root
        for field in root.model_fields.values():
            yield from models(field.annotation, seen)


def every_bound() -> list[Bound]:
    seen: set[type[BaseModel]] = set()
    return [
        bound
        for root in ROOTS
        for model in models(root, seen)
        for name, field in model.model_fields.items()
        for bound in bounds(f"{model.__name__}.{name}", field.annotation, tuple(field.metadata))
    ]


BOUNDS = every_bound()


def test_the_walk_reaches_every_room_of_the_spec() -> None:
    names = {bound.name for bound in BOUNDS}
    assert {
        "Grid.clearance >= 0.05", "Grid.clearance <= 1", "Drawer.corner_radius <= 500", "Tray.height <= 1000",
        "Drawer.copies <= 100", "Tray.quantity >= 1", "Grid.seam_gap <= 2", "Grid.pitch >= 24",
    } <= names  # fmt: skip
    assert len(names) > 80


@pytest.mark.parametrize("bound", BOUNDS, ids=lambda bound: bound.name)
def test_a_bound_holds_at_its_exact_value(bound: Bound) -> None:
    adapter = TypeAdapter(bound.type)
    assert adapter.validate_python(bound.allowed) == bound.allowed
    with pytest.raises(ValidationError):
        adapter.validate_python(bound.refused)
