from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from worker.spec import LengthBounds, parse_length
from worker.spec.errors import LengthError
from worker.spec.primitives.length import DrawerLength

_SIGNS = {"1/2": "½", "1/4": "¼", "3/4": "¾", "1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞"}
_PER_UNIT = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000), "in": Fraction(127, 5)}


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("412 mm", 412.0),
        ("412", 412.0),
        ("412mm", 412.0),
        (" 412 MM ", 412.0),
        ("41.2 cm", 412.0),
        ("41,2 cm", 412.0),
        ("0.412 m", 412.0),
        ("0,412 m", 412.0),
        (".5 in", 12.7),
        ("16 1/4 in", 412.75),
        ('16.25"', 412.75),
        ('16 1/4"', 412.75),
        ("16-1/4 in", 412.75),
        ("16 - 1/4 in", 412.75),
        ("16 1/4 in.", 412.75),
        ("16 1/4 inches", 412.75),
        ("16.25''", 412.75),
        ("1' 4 1/4\"", 412.75),
        ("1'4-1/4\"", 412.75),
        ("1'-4 1/4\"", 412.75),
        ("1 ft 4 1/4 in", 412.75),
        ("1 foot 4.25 inches", 412.75),
        ("1.5 ft", 457.2),
        ("16¼ in", 412.75),
        ("16 ¼ in", 412.75),
        ("16 1\u20444 in", 412.75),
        ("16¼\u2033", 412.75),
        ("16.25\u201d", 412.75),
        ("1\u2032 4¼\u2033", 412.75),
        ("1\u2019 4¼\u201d", 412.75),
        ("16\u00a01/4\u00a0in", 412.75),
        ("5/8 in", 15.875),
        ("½ in", 12.7),
        ("0", 0.0),
    ],
)
def test_a_tape_reading_is_read(text, millimetres):
    assert parse_length(text) == millimetres


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "mm", "four", "412 km", "412 µm", "1e3 mm", "nan", "inf", "Infinity mm", "0x10", "41_2",
        "1.234,5 mm", "1,234.5 mm", "1 234 mm", "16 1/4", "1/2", "16 5/4 in", "16 1/0 in", "1/0 in", "1,234 mm",
        "12,345",
        "-5 mm", "\u22125 mm", "+5 mm", "1' 12\"", "1' 4", "1 m 20 cm", "16 1/4 1/8 in", "4 1 2 in", "4..2 mm",
        "٤١٢ mm",
        "412 mm mm", "412; mm", "9" * 60,
    ],
)  # fmt: skip
def test_what_is_no_length_is_refused(text):
    with pytest.raises(LengthError) as caught:
        parse_length(text)
    assert caught.value.value == text
    assert caught.value.limit or caught.value.remedy


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf"), -1, -1e-9, 10**400, -(10**400)])
def test_a_number_that_measures_nothing_is_refused_with_its_limit(value):
    with pytest.raises(LengthError) as caught:
        parse_length(value)
    assert caught.value.limit


@pytest.mark.parametrize("value", [True, False, None, [], {}, [412], b"412", 4j])
def test_what_is_neither_number_nor_text_is_refused(value):
    with pytest.raises(LengthError):
        parse_length(value)


def test_a_thousands_comma_is_refused_with_both_readings():
    with pytest.raises(LengthError) as caught:
        parse_length("1,234 mm")
    assert '"1.234"' in caught.value.remedy
    assert '"1234"' in caught.value.remedy


def test_minus_zero_is_zero():
    assert str(parse_length(-0.0)) == "0.0"


@given(
    st.integers(0, 10**7), st.sampled_from(sorted(_PER_UNIT)), st.sampled_from([".", ","]), st.sampled_from(["", " "])
)
def test_every_decimal_round_trips(ten_thousandths, unit, point, space):
    whole, part = divmod(ten_thousandths, 10_000)
    # four decimals never look like thousands
    assert parse_length(f"{whole}{point}{part:04d}{space}{unit}") == float(
        Fraction(ten_thousandths, 10_000) * _PER_UNIT[unit]
    )


@given(
    st.integers(0, 8),
    st.integers(0, 11),
    st.integers(1, 63),
    st.sampled_from([2, 4, 8, 16, 32, 64]),
    st.sampled_from([("'", '"', " "), (" ft", " in", "-"), ("\u2032", "\u2033", "-"), (" feet", " inches", " ")]),
)
def test_every_mixed_number_round_trips(feet, inches, part, of, signs):
    foot, inch, join = signs
    part %= of
    fraction = f"{part}/{of}"
    mixed = f"{inches}{_SIGNS[fraction]}" if fraction in _SIGNS else f"{inches}{join}{fraction}"
    exact = inches + Fraction(part, of)
    assert parse_length(f"{mixed}{inch}") == float(exact * Fraction(254, 10))
    assert parse_length(f"{feet}{foot} {mixed}{inch}") == float((12 * feet + exact) * Fraction(254, 10))


@given(st.floats(0.0, 1e9))
def test_every_number_is_its_own_length(number):
    assert parse_length(number) == number


@settings(max_examples=300)
@given(st.text(alphabet="0123456789 .,/-'\"mcinft½¼\u2033\u2032", max_size=50) | st.text(max_size=50))
def test_any_text_is_a_length_or_refused(text):
    try:
        length = parse_length(text)
    except LengthError as error:
        length, text = 0.0, error.value
    assert length >= 0.0
    assert isinstance(text, str)


@given(st.floats(0.0, 1e4))
def test_bounds_are_allowed_and_named(number):
    bounds = LengthBounds(20.0, 3000.0)
    if 20.0 <= number <= 3000.0:
        assert bounds.check(number) == number
    else:
        with pytest.raises(LengthError, match="20 to 3000 mm") as caught:
            bounds.check(number)
        assert caught.value.limit == "20 to 3000 mm"


def test_the_schema_says_number_or_text_in_and_number_out():
    adapter = TypeAdapter(DrawerLength)
    going_in = adapter.json_schema()
    assert [form["type"] for form in going_in["anyOf"]] == ["number", "string"]
    assert adapter.json_schema(mode="serialization") == {"type": "number", "minimum": 20.0, "maximum": 3000.0}


@given(
    st.from_regex(r"[0-9]{1,20}(?:\.[0-9]{1,20})?", fullmatch=True), st.sampled_from(["mm", "cm", "m"]), st.booleans()
)
def test_a_metric_reading_is_the_float_next_to_what_it_says(number, unit, apart):
    text = f"{number} {unit}" if apart else f"{number}{unit}"
    assert parse_length(text) == float(Fraction(number) * _PER_UNIT[unit])
