import math
from dataclasses import replace

import pytest

from benchwater.plugin import Action, Figure, Finding, Section, Table, TableColumn
from benchwater.testing import check_section

SVG = '<svg xmlns="http://www.w3.org/2000/svg"/>'
FINDING = Finding(id="rate", text="One fish an hour.", value=1.0, low=0.5, high=2.0, unit="fish/h", n=4)
TABLE = Table(
    id="t",
    title="T",
    columns=(TableColumn(name="water", label="Water"), TableColumn(name="n", label="N")),
    rows=(("Mill Reach", 3), ("Alder Pond", None)),
)
FIGURE = Figure(id="f", title="F", alt="It rises from 1 to 2.", svg=SVG)
ACTION = Action(id="a", text="Fish more", because="it is 1 an hour", worth=2.0, worth_unit="baits")
GOOD = Section(
    status="ok",
    findings=(FINDING,),
    tables=(TABLE,),
    figures=(FIGURE,),
    actions=(ACTION,),
    methods=("A ratio of totals: Cochran 1977.",),
)


def spoilt(value, **changes):
    """The value with fields set as they are given, past its own checks."""
    copy = replace(value)
    for name, change in changes.items():
        object.__setattr__(copy, name, change)
    return copy


def test_a_section_that_keeps_the_contract_passes():
    check_section(GOOD)
    check_section(Section.empty("Nothing was fished."))
    check_section(replace(GOOD, methods=("Counts of the log, as written.",)))
    check_section(replace(GOOD, methods=("Common practice, no source.",)))


@pytest.mark.parametrize(
    ("section", "words"),
    [
        (spoilt(GOOD, status="thin", why="Too few trips."), "must give no advice"),
        (replace(GOOD, status="thin", actions=(), why="few"), "whole sentence"),
        (spoilt(GOOD, status="failed", why="It broke.", actions=()), "raise an exception"),
        (replace(GOOD, findings=(replace(FINDING, value=math.nan),)), "value is nan"),
        (replace(GOOD, findings=(replace(FINDING, high=math.inf),)), "high is inf"),
        (replace(GOOD, findings=(replace(FINDING, value=3.0),)), "not between its limits"),
        (replace(GOOD, findings=(replace(FINDING, unit="degF"),)), "'degF' is no canonical unit"),
        (replace(GOOD, findings=(replace(FINDING, text="one fish"),)), "no whole sentence"),
        (replace(GOOD, findings=(replace(FINDING, level=95),)), "level is 95"),
        (replace(GOOD, findings=(FINDING, FINDING)), "there twice"),
        (replace(GOOD, tables=(spoilt(TABLE, rows=(("a",),)),)), "row 1 has 1 cells, 2 columns"),
        (replace(GOOD, tables=(replace(TABLE, rows=(("a", math.nan),)),)), "'n' is nan"),
        (replace(GOOD, tables=(spoilt(TABLE, rows=(("a", ["b"]),)),)), "not a plain value"),
        (replace(GOOD, tables=(spoilt(TABLE, columns=(TABLE.columns[0],) * 2),)), "'water' is there twice"),
        (replace(GOOD, figures=(replace(FIGURE, alt=" "),)), "alt is no whole sentence"),
        (replace(GOOD, figures=(replace(FIGURE, svg="<svg"),)), "no SVG"),
        (replace(GOOD, actions=(replace(ACTION, worth_unit=None),)), "of what"),
        (replace(GOOD, methods=()), "names its source"),
        (replace(GOOD, methods=("We divided.",)), "names its source"),
    ],
)
def test_every_breach_of_the_contract_is_named(section, words):
    with pytest.raises(AssertionError, match=words):
        check_section(section)


@pytest.mark.slow
def test_the_shipped_analyses_keep_their_promises_over_the_demo_season(demo):
    made = demo("2026-06")
    for id in made.analyses:
        for span in (made.period, made.whole):
            check_section(made.section(id, span))
