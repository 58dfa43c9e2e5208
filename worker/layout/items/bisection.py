"""Bisection of whole numbers, for limits beyond which things have room, or no longer have any."""

from collections.abc import Callable

__all__ = ["least_with", "most_with"]


def least_with(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """Return the least number over ``low`` for which a condition holds that, once it holds, does so up to ``high``."""
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def most_with(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """Return the most under ``high`` for which a condition holds that holds from ``low`` on until it no longer does."""
    return least_with(low, high, lambda number: not holds(number)) - 1
