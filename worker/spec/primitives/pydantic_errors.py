"""Refusals: our own errors, carried through pydantic to the place in the caller's document that they belong to.

A rule raises or collects a `SpecError`; pydantic adds the path; `loader` turns it back into a pointer.
"""

from typing import Final, TypeAlias

from pydantic import ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError

from worker.spec.errors import SpecError

Step: TypeAlias = str | int

#: The key under which a pydantic error's context carries our own error.
CARRIED: Final = "error"


def refusal(error: SpecError) -> PydanticCustomError:
    """Return the error in the form that pydantic gives a path to."""
    # slugs are literals of the classes, but pydantic's stub asks for one literal at the call
    return PydanticCustomError(error.slug, "{message}", {"message": error.message, CARRIED: error})  # type: ignore[arg-type, unused-ignore]


class Refusals:
    """The problems that one model's own rules have found, each at a path below that model."""

    def __init__(self) -> None:
        """Start with none."""
        self._lines: list[InitErrorDetails] = []

    def add(self, error: SpecError, *at: Step) -> None:
        """Keep the error, for the field at this path below the model."""
        self._lines.append(InitErrorDetails(type=refusal(error), loc=at, input=error.value))

    def settle(self) -> None:
        """Raise what was found, all at once.

        Raises:
            ValidationError: when there is anything; pydantic merges it into the whole document's errors.
        """
        if self._lines:
            raise ValidationError.from_exception_data("spec", self._lines)
