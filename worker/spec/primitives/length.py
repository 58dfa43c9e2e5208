"""Lengths: a number of millimetres, or text as read off a tape measure."""

import re
from dataclasses import dataclass
from fractions import Fraction
from math import isfinite
from typing import Annotated, Any, Final, TypeAlias

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from worker.spec.errors import LengthError
from worker.spec.primitives.pydantic_errors import refusal

__all__ = [
    "BedLength",
    "Clearance",
    "Coordinate",
    "DrawerHeight",
    "DrawerLength",
    "LengthBounds",
    "Pitch",
    "SmallLength",
    "parse_length",
]

_LONGEST_TEXT: Final = 48
_WRITE_IT: Final = 'Write 412, "412 mm", "41.2 cm", "16 1/4 in" or "1\' 4 1/4\\"".'
_NO_SIGN: Final = "Remove the minus sign."
_A_LENGTH: Final = "a number of mm, or text with a number and a unit"

#: Millimetres per unit. The inch is exactly 25.4 mm (international yard and pound agreement of 1959).
_MILLIMETRES: Final = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
}
_UNIT_NAMES: Final = {
    **{name: name for name in _MILLIMETRES},
    **dict.fromkeys(("inch", "inches", '"', "''"), "in"),
    **dict.fromkeys(("foot", "feet", "'"), "ft"),
}
#: Characters that phones and word processors substitute for primes, spaces, hyphens and the slash of a fraction.
_DOUBLE_PRIMES: Final = "\u2033\u201d\u201c\u201e\uff02\u3003\u02ba"
_PRIMES: Final = "\u2032\u2019\u2018\uff07\u02b9"
_SPACES: Final = "\u00a0\u2007\u2009\u202f\t"
_HYPHENS: Final = "\u2010\u2011\u2013\u2212"
_SLASHES: Final = "\u2044\u2215"
_FRACTIONS: Final = {
    **dict(zip("½¼¾⅓⅔⅛⅜⅝⅞", ("1/2", "1/4", "3/4", "1/3", "2/3", "1/8", "3/8", "5/8", "7/8"), strict=True)),
    **dict(zip("⅕⅖⅗⅘⅙⅚⅐⅑⅒", ("1/5", "2/5", "3/5", "4/5", "1/6", "5/6", "1/7", "1/9", "1/10"), strict=True)),
}
_PLAIN: Final = str.maketrans(
    dict.fromkeys(_DOUBLE_PRIMES, '"')
    | dict.fromkeys(_PRIMES, "'")
    | dict.fromkeys(_SPACES, " ")
    | dict.fromkeys(_HYPHENS, "-")
    | dict.fromkeys(_SLASHES, "/")
    | {sign: f" {fraction}" for sign, fraction in _FRACTIONS.items()}
)

_INCH: Final = r"(?:inches|inch|in|\"|'')"
_FOOT: Final = r"(?:feet|foot|ft|')"
_NUMBER: Final = r"(?:[0-9]+(?: +| *- *)[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_SIMPLE: Final = re.compile(rf"(?P<number>{_NUMBER}) *(?P<unit>mm|cm|m|{_INCH}|{_FOOT})?\.?")
_FEET_AND_INCHES: Final = re.compile(rf"(?P<feet>[0-9]+) *{_FOOT}(?: *- *| *)(?P<inches>{_NUMBER}) *{_INCH}\.?")
#: The most common readings. Appending an exponent rounds once, as the exact fraction does, and is faster.
_METRIC: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?(mm|cm|m)", re.ASCII)
_EXPONENTS: Final = {"mm": "", "cm": "e1", "m": "e3"}
_THOUSANDS: Final = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_MIXED: Final = re.compile(r"(?:(?P<whole>[0-9]+)(?: +| *- *))?(?P<part>[0-9]+)/(?P<of>[0-9]+)")


def parse_length(value: object) -> float:
    """Return the length in mm of a number or a tape reading.

    Raises:
        LengthError: if it cannot be read, is not finite or is negative.
    """
    if isinstance(value, str):
        plain = _METRIC.fullmatch(value) if len(value) <= _LONGEST_TEXT else None
        return float(plain[1] + _EXPONENTS[plain[2]]) if plain else float(_read(value))
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LengthError("The value is not a length.", value=value, limit=_A_LENGTH, remedy=_WRITE_IT)
    try:
        length = float(value)
    except OverflowError:
        raise _out_of_bounds(value, "a finite number of mm") from None
    if not isfinite(length):
        raise _out_of_bounds(value, "a finite number of mm")
    if length < 0.0:
        raise LengthError("A length cannot be negative.", value=value, limit="at least 0 mm", remedy=_NO_SIGN)
    return length + 0.0  # minus zero is zero


@dataclass(frozen=True, slots=True)
class LengthBounds:
    """Annotation that makes a float a length field; both bounds are in mm and inclusive."""

    least: float
    most: float

    @property
    def limit(self) -> str:
        """The bounds as text."""
        return f"{self.least:g} to {self.most:g} mm"

    def check(self, value: object) -> float:
        """Return the length in mm.

        Raises:
            LengthError: if it cannot be read or is out of bounds.
        """
        length = parse_length(value)
        if not self.least <= length <= self.most:
            raise _out_of_bounds(value, self.limit)
        return length

    def _checked(self, value: object) -> float:
        if (type(value) is float or type(value) is int) and self.least <= value <= self.most:
            return value + 0.0  # the common case; a spec has hundreds of lengths
        try:
            return self.check(value)
        except LengthError as error:
            if error.limit == _A_LENGTH or isinstance(value, int | float):
                error.limit = self.limit
            raise refusal(error) from None

    def __get_pydantic_core_schema__(self, _source: Any, _handler: GetCoreSchemaHandler) -> CoreSchema:
        """Validate with `check` and carry its error."""
        return core_schema.no_info_plain_validator_function(
            self._checked, serialization=core_schema.simple_ser_schema("float")
        )

    def __get_pydantic_json_schema__(self, _schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe a number of mm or, for input, also a tape reading."""
        number = {"type": "number", "minimum": self.least, "maximum": self.most}
        if handler.mode == "serialization":
            return number
        text = {"type": "string", "maxLength": _LONGEST_TEXT, "examples": ["412 mm", "41.2 cm", "16 1/4 in", '16.25"']}
        return {"anyOf": [number, text]}


#: Side of a drawer.
DrawerLength: TypeAlias = Annotated[float, LengthBounds(20.0, 3000.0)]
#: Inner height of a drawer.
DrawerHeight: TypeAlias = Annotated[float, LengthBounds(10.0, 1000.0)]
#: Coordinate in a drawer or tray.
Coordinate: TypeAlias = Annotated[float, LengthBounds(0.0, 3000.0)]
#: Side of a cell.
Pitch: TypeAlias = Annotated[float, LengthBounds(24.0, 120.0)]
#: Clearance between a socket and a foot, per side.
Clearance: TypeAlias = Annotated[float, LengthBounds(0.05, 1.0)]
#: Thickness or distance that may be zero.
SmallLength: TypeAlias = Annotated[float, LengthBounds(0.0, 20.0)]
#: Side of a printer's bed.
BedLength: TypeAlias = Annotated[float, LengthBounds(50.0, 2000.0)]


def _out_of_bounds(value: object, limit: str) -> LengthError:
    return LengthError(
        "The length is out of bounds.", value=value, limit=limit, remedy="Check the number and its unit."
    )


def _read(text: str) -> Fraction:
    """Return the exact length of a tape reading, in mm."""
    if len(text) > _LONGEST_TEXT:
        limit = f"at most {_LONGEST_TEXT} characters"
        raise LengthError("The text is too long for a length.", value=text, limit=limit, remedy=_WRITE_IT)
    plain = text.translate(_PLAIN).strip().lower()
    if plain.startswith("-"):
        raise LengthError("A length cannot be negative.", value=text, limit="at least 0 mm", remedy=_NO_SIGN)
    if feet := _FEET_AND_INCHES.fullmatch(plain):
        inches = _number(feet["inches"], text)
        if inches >= 12:  # noqa: PLR2004 - inches in a foot
            raise LengthError(
                "The inches beside feet add up to a foot or more.",
                value=text, limit="under 12 in beside feet", remedy="Carry 12 in over to a foot.",
            )  # fmt: skip
        return int(feet["feet"]) * _MILLIMETRES["ft"] + inches * _MILLIMETRES["in"]
    match = _SIMPLE.fullmatch(plain)
    if match is None:
        raise LengthError("The text is not a length.", value=text, limit=_A_LENGTH, remedy=_WRITE_IT)
    if match["unit"] is None and "/" in match["number"]:
        remedy = 'Add the unit, as in "16 1/4 in".'
        raise LengthError("The fraction has no unit.", value=text, limit=_A_LENGTH, remedy=remedy)
    unit = _UNIT_NAMES[match["unit"] or "mm"]
    return _number(match["number"], text) * _MILLIMETRES[unit]


def _number(number: str, text: str) -> Fraction:
    """Return a decimal or a mixed number, exactly."""
    if mixed := _MIXED.fullmatch(number):
        whole, part, of = int(mixed["whole"] or 0), int(mixed["part"]), int(mixed["of"])
        if of == 0 or (mixed["whole"] is not None and part >= of):
            raise LengthError(
                "The fraction is not a proper fraction.",
                value=text,
                limit="under 1 beside a whole number",
                remedy="Write it as a mixed number.",
            )
        return whole + Fraction(part, of)
    if _THOUSANDS.fullmatch(number):
        raise LengthError(
            "The comma is ambiguous: it may separate thousands or decimals.",
            value=text, limit=_A_LENGTH, remedy=f'Write "{number.replace(",", ".")}" or "{number.replace(",", "")}".',
        )  # fmt: skip
    return Fraction(number.replace(",", "."))
