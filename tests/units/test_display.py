import pytest

from benchwater.units import heading_unit, show, show_bare


@pytest.mark.parametrize(
    ("value", "unit", "system", "expected"),
    [
        (176.6667, "degC", "us", "350 °F"),
        (176.6667, "degC", "metric", "177 °C"),
        (10.0, "delta_degC", "us", "18 °F"),
        (3.543690390625, "g", "us", "0.125 oz"),
        (907.18474, "g", "us", "2 lb"),
        (907.18474, "g", "metric", "907 g"),
        (1.5, "h", "us", "1.5 h"),
        (0.25, "h", "us", "15 min"),
        (0.075, "1", "us", "7.5 %"),
        (0.0997, "1", "us", "10 %"),
        (0.31, "1/h", "us", "0.31 per hour"),
        (0.85, "fish/h", "us", "0.85 fish per hour"),
        (12.4, "money", "us", "$12.40"),
        (-12.4, "money", "us", "−$12.40"),
        (241.3, "mm", "us", "9.5 in"),
        (143.0, "pieces", "us", "143"),
        (-50.0, "pieces", "us", "\u221250"),
        (None, "g", "us", "–"),
        (float("nan"), "g", "us", "–"),
    ],
)
def test_a_canonical_value_is_printed_in_the_units_of_the_bench(value, unit, system, expected):
    assert show(value, unit, system=system) == expected


def test_currencies_have_the_decimals_of_iso_4217():
    assert show(1200.0, "money", system="metric", currency="JPY") == "¥1200"
    assert show(1.5, "money", system="metric", currency="KWD") == "KWD 1.500"
    assert show(-3, "money", system="metric", currency="CHF") == "CHF −3.00"


def test_a_column_with_its_unit_on_top_prints_numbers_alone():
    assert heading_unit("degC", system="us") == "°F"
    assert show_bare(176.6667, "degC", system="us") == "350"
    assert heading_unit("1", system="us") == "%"
    assert show_bare(0.5, "1", system="us") == "50"
    assert show_bare(0.25, "h", system="us") == "0.25"


def test_an_item_is_printed_in_the_unit_the_maker_uses_for_it():
    assert show(907.18474, "g", system="us", print_unit="g") == "907 g"
    assert show(100.0, "g", system="metric", print_unit="oz") == "3.53 oz"
