import contextlib
import math

import pytest

from benchwater.units import QuantityError, read_number, read_quantity
from reference_cases import worked_examples


@pytest.mark.parametrize(("name", "inputs", "expected", "tolerance"), worked_examples("parse_mass"))
def test_masses_are_read_as_the_worked_examples_say(name, inputs, expected, tolerance):
    """Factors of NIST SP 811; refusals are the project's own list (tests/references/trade)."""
    if "error" in expected:
        with pytest.raises(QuantityError):
            read_quantity(inputs["text"], "mass")
    else:
        assert read_quantity(inputs["text"], "mass") == pytest.approx(expected["g"], rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("350 F", "temperature", (350 - 32) / 1.8),
        ("350°F", "temperature", (350 - 32) / 1.8),
        ("700 degF", "temperature", 371 + 1 / 9),
        ("-40 F", "temperature", -40.0),
        ("176 C", "temperature", 176.0),
        ("1:30", "duration", 1.5),
        ("0:20", "duration", 1 / 3),
        ("90 min", "duration", 1.5),
        ("1.5h", "duration", 1.5),
        ("1 h 30 min", "duration", 1.5),
        ("10,6 g", "mass", 10.6),
        ("6 1/2 lb", "mass", 6.5 * 453.59237),
        ("1\u20131/2 oz", "mass", 1.5 * 28.349523125),
        ("1,234.5 g", "mass", 1234.5),
        ('9 1/2"', "length", 9.5 * 25.4),
        ("2 ft 1 in", "length", 25 * 25.4),
        ("8 fl oz", "volume", 8 * 29.5735295625),
        ("1 pint", "volume", 473.176473),
        ("50 pcs", "pieces", 50.0),
        ("a dozen", "pieces", 12.0),
        ("2 doz", "pieces", 24.0),
        ("half a dozen", "pieces", 6.0),
        ("1,200", "pieces", 1200.0),
        ("half a pound", "mass", 453.59237 / 2),
        ("a pound", "mass", 453.59237),
        ("an hour", "duration", 1.0),
        ("half an hour", "duration", 0.5),
        ("1h30", "duration", 1.5),
        ("350 deg F", "temperature", (350 - 32) / 1.8),
    ],
)
def test_quantities_are_read_in_the_canonical_unit(text, dimension, expected):
    """Exact factors: NIST SP 811 Appendix B and Handbook 44 (tests/references/trade/units.csv)."""
    assert read_quantity(text, dimension) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension"),
    [
        ("hot", "temperature"),
        ("350", "temperature"),
        ("350 F 20 C", "temperature"),
        ("-500 C", "temperature"),
        ("nan g", "mass"),
        ("inf g", "mass"),
        ("1e5 g", "mass"),
        ("-3 g", "mass"),
        ("5 - 6 g", "mass"),
        ("3 kt", "mass"),
        ("1,234 g", "mass"),
        ("1.2.3 g", "mass"),
        ("1:75", "duration"),
        ("", "mass"),
        ("9" * 400, "mass"),
        ("4/0", "pieces"),
    ],
)
def test_what_is_no_quantity_is_refused_with_a_reason(text, dimension):
    with pytest.raises(QuantityError) as refusal:
        read_quantity(text, dimension)
    assert str(refusal.value)


@pytest.mark.parametrize(
    ("text", "decimal_comma", "expected"),
    [
        ("1,5", False, 1.5),
        ("1.234", False, 1.234),
        ("1.234,5", False, 1234.5),
        ("1,234,567", False, 1234567.0),
        ("0,125", False, 0.125),
        ("1,234", True, 1.234),
        ("10,60", True, 10.6),
        ("1-1/2", False, 1.5),
        ("\u00be", False, 0.75),
        ("1\u00bd", False, 1.5),
    ],
)
def test_numbers_are_read_whatever_mark_they_are_written_with(text, decimal_comma, expected):
    assert read_number(text, decimal_comma=decimal_comma) == expected


@pytest.mark.parametrize(
    ("text", "decimal_comma"), [("1,234", False), ("1.234", True), ("4/0", False), ("1,23,4", False)]
)
def test_a_number_that_could_mean_two_things_is_refused(text, decimal_comma):
    with pytest.raises(QuantityError):
        read_number(text, decimal_comma=decimal_comma)


@pytest.mark.parametrize(
    ("text", "expected"),
    [("1,200", 1200), ("-1,200", -1200), ("2 dozen", 24), ("half dozen", 6), ("0,200", 0.2)],
)
def test_a_comma_before_three_digits_groups_a_number_that_must_be_whole(text, expected):
    assert read_number(text, whole=True) == expected


@pytest.mark.parametrize("text", ["350 deg", "350°", "350 degrees"])
def test_degrees_without_a_letter_are_those_of_the_column(text):
    assert read_quantity(text, "temperature", default_unit="F") == pytest.approx((350 - 32) / 1.8)
    with pytest.raises(QuantityError, match="no unit"):
        read_quantity(text, "temperature")


@pytest.mark.parametrize("text", ["half day", "half a day", "a day", "a week", "half 3 h"])
def test_a_day_in_words_is_no_number_of_hours(text):
    with pytest.raises(QuantityError):
        read_quantity(text, "duration", default_unit="h")


def test_a_bare_number_is_in_the_unit_it_is_said_to_be_in():
    assert read_quantity("350", "temperature", default_unit="degF") == pytest.approx(176.6667, abs=1e-4)
    assert read_quantity("350 C", "temperature", default_unit="degF") == 350.0


def test_no_text_at_all_makes_the_reader_do_anything_but_answer_or_refuse():
    for text in ("/", "1/", "1//2", "+", "--", "\x00", "½½", "1 2 3", "°", "1:2:3:4", "١٢ g", "1/2/3 g"):
        with contextlib.suppress(QuantityError):
            assert math.isfinite(read_quantity(text, "mass", default_unit="g"))
