"""A plan as the manifest of a printed job, with figures that no layout looks at."""

from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.manifest import Generator, Manifest, PartEntry

_CHECKSUM = "ab" * 32


def printed(plan):
    """Return the manifest of a plan."""
    document = plan_document(plan)
    fields = {name: getattr(document, name) for name in type(document).model_fields if name not in {"plan", "parts"}}
    figures = {"triangles": 12, "volume": 1.0, "area": 1.0, "digest": _CHECKSUM, "checks": (), "files": ()}
    parts = tuple(PartEntry(**dict(part), **figures) for part in document.parts)
    generator = Generator(version="0", kernel="none")
    return Manifest(**fields, parts=parts, generator=generator, spec_digest=_CHECKSUM, assembly=())


def again(data, before):
    """Return the plan of a spec over a plan that is printed; the manifest goes through its own JSON."""
    return lay_out(load({**data, "previous": printed(before).model_dump(mode="json")}))


def first(data):
    """Return the plan of a spec."""
    return lay_out(load(data))


def counts(pieces):
    """Return how many pieces there are of each mark."""
    return {piece.mark: piece.count for piece in pieces}
