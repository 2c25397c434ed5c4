"""What the log page offers, and that it needs the logs it writes."""

import pytest

from benchwater.sheets.screens import NEEDED_LOGS, NoLogPageError, log_page_of, needed_logs
from sheets.sample_benches import crowded, demo, empty, kind


def test_a_cavity_stands_on_the_page_as_often_as_one_fill_makes_it():
    page = log_page_of([kind(name) for name in NEEDED_LOGS], demo())
    assert page.molds["round-jig"] == ["1/16", "1/16", "1/8", "1/8", "1/4"]
    assert page.items["alloy"] == "g"
    assert page.items["hook-2"] == ""
    assert page.headings["pour"]["mold_temp"] == "mold_temp [°F]"
    assert page.headings["fishing"]["fished"] == "fished [min]"
    assert page.headings["inventory"]["cost"] == "cost"


def test_an_empty_and_a_crowded_bench_have_a_page_too():
    kinds = [kind(name) for name in NEEDED_LOGS]
    assert log_page_of(kinds, empty()).molds == {}
    assert len(log_page_of(kinds, crowded()).molds) == 40


def test_a_log_that_no_plugin_declares_is_named():
    with pytest.raises(NoLogPageError, match="catch log"):
        needed_logs([kind(name) for name in NEEDED_LOGS if name != "catch"])
