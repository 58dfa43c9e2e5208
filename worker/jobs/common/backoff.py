"""Pauses: how long is waited before something is tried once more."""

from collections.abc import Callable
from dataclasses import dataclass
from random import SystemRandom
from typing import Final

__all__ = ["Backoff"]

_random: Final = SystemRandom()


@dataclass(frozen=True, slots=True)
class Backoff:
    """Seconds before the second try, the factor from one pause to the next, and the longest pause."""

    first: float
    factor: float
    longest: float

    def after(self, tries: int, chance: Callable[[float, float], float] = _random.uniform) -> float:
        """Return the seconds to wait after so many tries: growing, and spread so that not all come at once."""
        return min(self.first * self.factor ** (tries - 1), self.longest) * chance(0.8, 1.2)
