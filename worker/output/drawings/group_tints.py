"""Groups of things on a map: which group a tray belongs to, and its tint.

Any two tints, and each of them and white, differ by at least 12 in CIE 1976 L*a*b* for normal sight and for all three
kinds of dichromacy (computed in the tests). Black text on them has a contrast of at least 7 to 1 (WCAG 2.2, AAA).
"""

from collections.abc import Iterable, Mapping
from typing import Final, TypeAlias

from worker.layout.items.filling.likeness import group_name
from worker.spec import Spec

__all__ = ["TINTS", "Tint", "groups_of", "tints_of"]

#: Red, green and blue, 0 to 1 (sRGB).
Tint: TypeAlias = tuple[float, float, float]

TINTS: Final[tuple[Tint, ...]] = (
    (0.47, 0.76, 0.93),
    (0.93, 0.74, 0.30),
    (0.20, 0.70, 0.56),
    (0.96, 0.94, 0.56),
    (0.84, 0.58, 0.72),
    (0.70, 0.83, 0.91),
    (0.88, 0.56, 0.30),
)


def groups_of(spec: Spec) -> dict[str, str]:
    """Return the group of each item by its JSON Pointer: its group, tag or category; items without any are left out.

    A name in several spellings is one group, by the first of them.
    """
    spellings: dict[str, str] = {}
    groups: dict[str, str] = {}
    for pointer, item in spec.every_item():
        name = group_name(item)
        if name is not None:
            groups[pointer] = spellings.setdefault(name.casefold(), name)
    return groups


def tints_of(groups: Iterable[str]) -> Mapping[str, Tint]:
    """Return the tints of the groups of a job, in their order; there is none for a single group and from the eighth on.

    Colours that stand for one thing, or for several, tell nothing.
    """
    names = list(dict.fromkeys(groups))
    return dict(zip(names, TINTS, strict=False)) if len(names) > 1 else {}
