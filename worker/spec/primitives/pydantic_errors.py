"""Transport of our own errors through pydantic, which adds their location in the caller's document.

A rule raises or collects a `SpecError`, pydantic adds the path, and the loader turns the path into a JSON Pointer.
"""

from typing import Final, TypeAlias

from pydantic import ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError

from worker.spec.errors import SpecError

Step: TypeAlias = str | int

#: Key of our own error in the context of a pydantic error.
CARRIED: Final = "error"


def refusal(error: SpecError) -> PydanticCustomError:
    """Return the error as a pydantic error, to which pydantic adds the path."""
    # slugs are literals of the classes, but pydantic's stub asks for one literal at the call
    return PydanticCustomError(error.slug, "{message}", {"message": error.message, CARRIED: error})  # type: ignore[arg-type, unused-ignore]


class Refusals:
    """Errors of one model's own rules, each with its path below the model."""

    def __init__(self) -> None:
        """Start without errors."""
        self._lines: list[InitErrorDetails] = []

    def add(self, error: SpecError, *at: Step) -> None:
        """Add an error for the field at this path below the model."""
        self._lines.append(InitErrorDetails(type=refusal(error), loc=at, input=error.value))

    def __bool__(self) -> bool:
        """Return whether there are errors."""
        return bool(self._lines)

    def settle(self) -> None:
        """Raise all errors at once, if there are any.

        Raises:
            ValidationError: holds every error; pydantic merges it into the errors of the whole document.
        """
        if self._lines:
            raise ValidationError.from_exception_data("spec", self._lines)
