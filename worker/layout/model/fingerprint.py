"""Fingerprints: digests of shapes, by which a later layout recognises printed parts."""

import hashlib
import json
from dataclasses import MISSING, fields, is_dataclass
from typing import Any

from worker.layout.model.shapes import Shape

__all__ = ["fingerprint"]


def fingerprint(shape: Shape) -> str:
    """Return the SHA-256 of a shape as 64 hexadecimal digits; equal shapes have equal fingerprints.

    It does not depend on the geometry kernel. Fields with their default value are left out, so that a field added in a
    later version does not change the fingerprints of parts that do not use it.
    """
    document = {"kind": type(shape).__name__, "shape": _plain(shape)}
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _plain(value: Any) -> Any:
    """Return a value in JSON types, with equal numbers written alike."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value) + 0.0  # 2 is 2.0, and -0.0 is 0.0
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if is_dataclass(value):
        pairs = ((field, getattr(value, field.name)) for field in fields(value))
        return {field.name: _plain(pair) for field, pair in pairs if field.default is MISSING or pair != field.default}
    return value
