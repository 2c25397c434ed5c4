import math
import re
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from benchwater.analyse.run import run_analyses
from benchwater.plugin import (
    Action,
    Analysis,
    Bench,
    Figure,
    Finding,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
)
from benchwater.plugin.section_check import section_faults
from benchwater.plugin_host.loaded import LoadedPlugin
from benchwater.testing import check_section, plugin_file

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
SPAN = Span(name="season", label="season", start=date(2026, 3, 1), end=date(2026, 6, 1))
SEASON = Season(Bench(name="b"), {}, SPAN.start, SPAN.end)
PLUGIN = LoadedPlugin(name="mine", origin="workspace", where="mine.py", log_kinds=(), analyses=())


def test_a_section_that_keeps_the_contract_passes():
    check_section(GOOD)
    check_section(Section.empty("Nothing was fished."))
    check_section(replace(GOOD, methods=("Counts of the log, as written.",)))
    check_section(replace(GOOD, methods=("Common practice, no source.",)))


BREACHES = {
    "status": (
        lambda: changed(GOOD, status="wrong", why="So."),
        "`Section.status` must be ok, thin, empty or failed",
    ),
    "status for the host": (lambda: Section(status="failed", why="It broke."), "raise an exception"),
    "advice": (lambda: changed(GOOD, status="thin", why="Too few trips."), "must give no advice"),
    "no reason": (lambda: Section(status="empty"), "must say why"),
    "one action": (lambda: changed(GOOD, actions=(ACTION)), "`Section.actions` must be a tuple.*comma"),
    "one table": (lambda: changed(GOOD, tables=(TABLE)), "`Section.tables` must be a tuple.*comma"),
    "one figure": (lambda: changed(GOOD, figures=(FIGURE)), "`Section.figures` must be a tuple.*comma"),
    "one finding": (lambda: changed(GOOD, findings=(FINDING)), "`Section.findings` must be a tuple.*comma"),
    "one method": (
        lambda: changed(GOOD, methods=("Counts.")),
        "`Section.methods` must be a tuple.*'Counts.'",
    ),
    "no methods": (lambda: changed(GOOD, methods=None), "`Section.methods` must be a tuple of str, not None"),
    "method": (lambda: changed(GOOD, methods=(3,)), "`Section.methods` must be a tuple of str.*3"),
    "text": (lambda: changed(FINDING, text=None), "`Finding.text` must be str, not None"),
    "finding": (lambda: changed(GOOD, findings=(TABLE,)), "`Section.findings` must be a tuple of Finding"),
    "more": (lambda: changed(FINDING, more={"p": [1]}), "`Finding.more`"),
    "worth": (lambda: changed(ACTION, worth="9"), "`Action.worth` must be float or None, not '9'"),
    "worth of what": (lambda: changed(GOOD, actions=(changed(ACTION, worth_unit=None),)), "of what"),
    "value": (lambda: with_finding(value=math.nan), "value is nan"),
    "limit": (lambda: with_finding(high=math.inf), "high is inf"),
    "outside its limits": (lambda: with_finding(value=3.0), "not between its limits"),
    "unit": (lambda: with_finding(unit="degF"), "'degF' is no canonical unit"),
    "level": (lambda: with_finding(level=95), "level is 95"),
    "count": (lambda: with_finding(n=-1), "count is -1"),
    "same finding": (lambda: changed(GOOD, findings=(FINDING, FINDING)), "there twice"),
    "same table": (lambda: changed(GOOD, tables=(TABLE, TABLE)), "table 't' is there twice"),
    "same column": (lambda: with_table(columns=(TABLE.columns[0],) * 2), "'water' is there twice"),
    "width": (lambda: with_table(rows=(("a",),)), "row 1 has 1 cells, 2 columns"),
    "row": (lambda: with_table(rows=(3,)), "`Table.rows` must be a tuple of a tuple"),
    "number of a cell": (lambda: with_table(rows=(("a", math.nan),)), "'n' is nan"),
    "list as a cell": (lambda: with_table(rows=(("a", ["b"]),)), "'n' is of type list, not a plain value"),
    "no time": (lambda: with_table(rows=(("a", pd.NaT),)), "'n' is of type NaTType"),
    "unit of a column": (lambda: with_columns(unit="degF"), "'degF' is no canonical unit"),
    "unit from": (lambda: with_columns(unit_from="measure"), "'measure', which is no column"),
    "unit in a cell": (lambda: with_columns(unit_from="n"), "row 1, 'n': 3 is no canonical unit"),
    "svg": (lambda: changed(GOOD, figures=(changed(FIGURE, svg="<svg"),)), "figure 'f' is no SVG"),
    "other xml": (
        lambda: changed(GOOD, figures=(changed(FIGURE, svg="<p/>"),)),
        "figure 'f' is no SVG, but <p>",
    ),
    "picture": (lambda: changed(FIGURE, svg=object()), "`Figure.svg` must be str, not object"),
}


def changed(part, **changes):
    return replace(part, **changes)


def with_finding(**changes):
    return changed(GOOD, findings=(changed(FINDING, **changes),))


def with_table(**changes):
    return changed(GOOD, tables=(changed(TABLE, **changes),))


def with_columns(**changes):
    return with_table(columns=(changed(TABLE.columns[0], **changes), TABLE.columns[1]))


@pytest.mark.parametrize(("make", "words"), BREACHES.values(), ids=BREACHES)
def test_every_breach_of_the_contract_is_named_by_the_test_kit(make, words):
    with pytest.raises((AssertionError, TypeError, ValueError), match=words):
        check_section(make())


@pytest.mark.parametrize(("make", "words"), BREACHES.values(), ids=BREACHES)
def test_every_breach_of_the_contract_fails_its_section_alone(make, words):
    breaking = Analysis(id="mine", title="T", question="?", order=1, analyse=lambda season, span: make())
    fine = replace(breaking, id="fine", analyse=lambda season, span: GOOD)
    broken, other = run_analyses([(breaking, PLUGIN), (fine, PLUGIN)], SEASON, [SPAN])
    assert (broken.status, other.status) == ("failed", "ok")
    assert re.search(words, broken.why)


def test_a_fault_of_a_section_names_the_plugins_file():
    breaking = Analysis(
        id="mine", title="T", question="?", order=1, analyse=lambda season, span: with_finding(unit="degF")
    )
    (section,) = run_analyses([(breaking, PLUGIN)], SEASON, [SPAN])
    assert section.why.endswith("finding 'rate': 'degF' is no canonical unit (mine.py)")


@pytest.mark.parametrize(
    ("section", "words"),
    [
        (replace(GOOD, status="thin", actions=(), why="few"), "whole sentence"),
        (with_finding(text="one fish"), "no whole sentence"),
        (replace(GOOD, figures=(replace(FIGURE, alt=" "),)), "alt is no whole sentence"),
        (replace(GOOD, actions=(replace(ACTION, because=""),)), "and why"),
        (replace(GOOD, methods=()), "names its source"),
        (replace(GOOD, methods=("We divided.",)), "names its source"),
    ],
)
def test_words_that_leave_a_reader_without_an_answer_are_named_by_the_test_kit_alone(section, words):
    assert not list(section_faults(section))
    with pytest.raises(AssertionError, match=words):
        check_section(section)


@pytest.mark.slow
def test_the_shipped_analyses_keep_their_promises_over_the_demo_season(demo):
    made = demo("2026-06")
    for id in made.analyses:
        for span in (made.period, made.whole):
            check_section(made.section(id, span))


def test_a_water_and_a_habitat_of_one_name_are_two_groups():
    both = tuple(
        replace(FINDING, group="Reed Bay", more={"factor": factor}) for factor in ("water", "habitat")
    )
    check_section(replace(GOOD, findings=both))


def test_two_plugins_of_one_name_do_not_take_each_others_place(tmp_path):
    for place in ("one", "other"):
        folder = tmp_path / place / "mine"
        folder.mkdir(parents=True)
        (folder / "__init__.py").write_text("def name():\n    from .part import name\n    return name\n")
        (folder / "part.py").write_text(f"name = '{place}'\n")
    one, other = plugin_file(tmp_path / "one" / "mine"), plugin_file(tmp_path / "other" / "mine")
    assert (one.name(), other.name()) == ("one", "other")
