"""The recipes for a log kind, a table and a plot, as DEVELOPERS.md shows them."""

from pathlib import Path

import pytest

from benchwater.testing import check_section, make_season, records

PLUGIN = Path(__file__).with_name("weather.py")
ROWS = "date,air_temp [F]\n2026-05-02,50\n2026-05-03,59\n2026-06-01,68\n"


@pytest.fixture
def made():
    return make_season("[bench]\n", {"weather.csv": ROWS}, plugins=[PLUGIN])


def test_log_kind_gives_a_table_in_canonical_units(made):
    log = made.season.log("weather")
    assert log["air_temp_c"].tolist() == pytest.approx([10, 15, 20])
    assert log["line"].tolist() == [2, 3, 4]


def test_table_has_a_row_for_each_month(made):
    section = made.section("weather", made.whole)
    check_section(section)
    assert records(section, "monthly") == [
        {"month": "2026-05", "days": 2, "mean": pytest.approx(12.5)},
        {"month": "2026-06", "days": 1, "mean": pytest.approx(20)},
    ]


def test_plot_is_an_svg_with_its_range_in_words(made):
    (figure,) = made.section("weather", made.whole).figures
    assert figure.svg.startswith("<svg")
    assert figure.alt == "Air temperature on 3 days, from 50 °F to 68 °F."
