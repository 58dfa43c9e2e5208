"""Exponential backoff with jitter: the pauses between retries."""

from collections.abc import Callable
from dataclasses import dataclass
from random import SystemRandom
from typing import Final

__all__ = ["Backoff"]

_random: Final = SystemRandom()


@dataclass(frozen=True, slots=True)
class Backoff:
    """A backoff schedule: seconds before the first retry, the growth factor, and the longest pause in seconds."""

    first: float
    factor: float
    longest: float

    def after(self, attempts: int, chance: Callable[[float, float], float] = _random.uniform) -> float:
        """Return the seconds to wait after this many attempts, with 20 % jitter so that retries do not coincide."""
        return min(self.first * self.factor ** (attempts - 1), self.longest) * chance(0.8, 1.2)
