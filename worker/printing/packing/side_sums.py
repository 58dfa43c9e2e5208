"""Sums of pieces' sides: the lengths that a row of pieces can have, as a set of bits.

Pieces pushed to the left and to the front stand at such lengths from an edge, and of a bed no more than the longest of
them can be covered. Source: Christofides and Whitlock, "An algorithm for two-dimensional cutting problems", 1977, from
memory.
"""

from typing import Final

__all__ = ["MOST_STEPS", "longest", "with_copies", "with_side"]

#: Sets of more steps are too large to be worth their time.
MOST_STEPS: Final = 1_000_000


def with_side(sums: int, sides: tuple[int, int], most: int) -> int:
    """Return the sums to which one piece was added or not, along either side, without those over ``most`` steps."""
    return (sums | sums << sides[0] | sums << sides[1]) & ((1 << (most + 1)) - 1)


def with_copies(sums: int, side: int, most: int) -> int:
    """Return the sums to which any number of copies of a side was added, without those over ``most`` steps."""
    while side <= most:  # 1, 2, 4, ... copies more
        sums |= (sums << side) & ((1 << (most + 1)) - 1)
        side *= 2
    return sums


def longest(sums: int) -> int:
    """Return the longest of the sums."""
    return sums.bit_length() - 1
