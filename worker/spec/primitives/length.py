"""A length as a caller says it: a number of millimetres or what one reads off a tape."""

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
_WRITE_IT: Final = 'Write it as on a tape: 412, "412 mm", "41.2 cm", "16 1/4 in" or "1\' 4 1/4\\"".'

#: Millimetres in one of each unit. The inch is 25.4 mm exactly (international yard and pound agreement of 1959).
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
#: What phones and word processors make of the two primes, of a space, a hyphen and a fraction's slash.
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
#: The most usual readings. A decimal with an exponent is rounded as the fraction is, once, and much sooner.
_METRIC: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?(mm|cm|m)", re.ASCII)
_EXPONENTS: Final = {"mm": "", "cm": "e1", "m": "e3"}
_THOUSANDS: Final = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_MIXED: Final = re.compile(r"(?:(?P<whole>[0-9]+)(?: +| *- *))?(?P<part>[0-9]+)/(?P<of>[0-9]+)")


def parse_length(value: object) -> float:
    """Return the length in mm of a number or of a tape reading.

    Raises:
        LengthError: when it is no length, not finite or negative.
    """
    if isinstance(value, str):
        plain = _METRIC.fullmatch(value) if len(value) <= _LONGEST_TEXT else None
        return float(plain[1] + _EXPONENTS[plain[2]]) if plain else float(_read(value))
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LengthError("This is no length.", value=value, remedy=_WRITE_IT)
    try:
        length = float(value)
    except OverflowError:
        raise _out_of_bounds(value, "a finite number of mm") from None
    if not isfinite(length):
        raise _out_of_bounds(value, "a finite number of mm")
    if length < 0.0:
        raise LengthError("A length cannot be negative.", value=value, limit="at least 0 mm")
    return length + 0.0  # minus zero is zero


@dataclass(frozen=True, slots=True)
class LengthBounds:
    """Makes ``Annotated[float, LengthBounds(least, most)]`` a length field: both bounds are in mm and allowed."""

    least: float
    most: float

    @property
    def limit(self) -> str:
        """The bounds in words."""
        return f"{self.least:g} to {self.most:g} mm"

    def check(self, value: object) -> float:
        """Return the length in mm.

        Raises:
            LengthError: when it is not readable or out of these bounds.
        """
        length = parse_length(value)
        if not self.least <= length <= self.most:
            raise _out_of_bounds(value, self.limit)
        return length

    def _checked(self, value: object) -> float:
        if (type(value) is float or type(value) is int) and self.least <= value <= self.most:
            return value + 0.0  # nearly every length is such a number, and a spec has hundreds
        try:
            return self.check(value)
        except LengthError as error:
            if error.limit is None or isinstance(value, int | float):
                error.limit = self.limit
            raise refusal(error) from None

    def __get_pydantic_core_schema__(self, _source: Any, _handler: GetCoreSchemaHandler) -> CoreSchema:
        """Check with `check`, carry its error."""
        return core_schema.no_info_plain_validator_function(
            self._checked, serialization=core_schema.simple_ser_schema("float")
        )

    def __get_pydantic_json_schema__(self, _schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe a number of mm or, on the way in, a tape reading."""
        number = {"type": "number", "minimum": self.least, "maximum": self.most}
        if handler.mode == "serialization":
            return number
        text = {"type": "string", "maxLength": _LONGEST_TEXT, "examples": ["412 mm", "41.2 cm", "16 1/4 in", '16.25"']}
        return {"anyOf": [number, text]}


#: A side of a drawer.
DrawerLength: TypeAlias = Annotated[float, LengthBounds(20.0, 3000.0)]
#: The height inside a drawer.
DrawerHeight: TypeAlias = Annotated[float, LengthBounds(10.0, 1000.0)]
#: A place in a drawer or in a tray.
Coordinate: TypeAlias = Annotated[float, LengthBounds(0.0, 3000.0)]
#: The side of a cell.
Pitch: TypeAlias = Annotated[float, LengthBounds(24.0, 120.0)]
#: The air between a socket and a foot, per side.
Clearance: TypeAlias = Annotated[float, LengthBounds(0.05, 1.0)]
#: A thickness or a reach that may be nothing.
SmallLength: TypeAlias = Annotated[float, LengthBounds(0.0, 20.0)]
#: A side of a printer's bed.
BedLength: TypeAlias = Annotated[float, LengthBounds(50.0, 2000.0)]


def _out_of_bounds(value: object, limit: str) -> LengthError:
    return LengthError(f"The length is out of bounds; it must be {limit}.", value=value, limit=limit)


def _read(text: str) -> Fraction:
    """Return the exact millimetres of a tape reading."""
    if len(text) > _LONGEST_TEXT:
        raise LengthError("This text is too long for a length.", value=text, limit=f"{_LONGEST_TEXT} characters")
    plain = text.translate(_PLAIN).strip().lower()
    if plain.startswith("-"):
        raise LengthError("A length cannot be negative.", value=text, limit="at least 0 mm")
    if feet := _FEET_AND_INCHES.fullmatch(plain):
        inches = _number(feet["inches"], text)
        if inches >= 12:  # noqa: PLR2004 - inches in a foot
            raise LengthError("There are more inches than one foot has.", value=text, limit="under 12 in beside feet")
        return int(feet["feet"]) * _MILLIMETRES["ft"] + inches * _MILLIMETRES["in"]
    match = _SIMPLE.fullmatch(plain)
    if match is None:
        raise LengthError("This text is no length.", value=text, remedy=_WRITE_IT)
    if match["unit"] is None and "/" in match["number"]:
        raise LengthError("A fraction needs its unit.", value=text, remedy='Name the unit, as in "16 1/4 in".')
    unit = _UNIT_NAMES[match["unit"] or "mm"]
    return _number(match["number"], text) * _MILLIMETRES[unit]


def _number(number: str, text: str) -> Fraction:
    """Return a decimal or a mixed number, exactly."""
    if mixed := _MIXED.fullmatch(number):
        whole, part, of = int(mixed["whole"] or 0), int(mixed["part"]), int(mixed["of"])
        if of == 0 or (mixed["whole"] is not None and part >= of):
            raise LengthError(
                "The fraction is not a proper one.", value=text, limit="less than 1 beside a whole number"
            )
        return whole + Fraction(part, of)
    if _THOUSANDS.fullmatch(number):
        raise LengthError(
            "The comma may mean thousands or decimals.",
            value=text, remedy=f'Write "{number.replace(",", ".")}" or "{number.replace(",", "")}".',
        )  # fmt: skip
    return Fraction(number.replace(",", "."))
