from datetime import date

import pytest

from benchwater.analyse.run import months_of, run_vitals
from benchwater.plugin import Analysis, Bench, Season, Section, Span, Vital
from benchwater.plugin_host.loaded import LoadedPlugin

WHOLE = Span(name="season", label="season", start=date(2026, 3, 15), end=date(2026, 6, 1))
SEASON = Season(Bench(name="b"), {}, WHOLE.start, WHOLE.end)
PLUGIN = LoadedPlugin(name="p", origin="workspace", where="p.py", log_kinds=(), analyses=())


def analysis(vitals, needs=()):
    made = Analysis(
        id="a",
        title="A",
        question="?",
        order=1,
        analyse=lambda season, span: Section.empty("Nothing."),
        needs=needs,
        vitals=vitals,
    )
    return made, PLUGIN


def days(season, span):
    return [Vital(id="days", label="days", value=(span.end - span.start).days, unit="pieces", better="up")]


def test_vitals_are_called_for_every_month_and_the_season():
    (series,), broken = run_vitals([analysis(days), analysis(None)], SEASON, WHOLE)
    assert broken == ()
    assert [(each.span.label, each.value) for each in series.months] == [
        ("2026-03", 17),
        ("2026-04", 30),
        ("2026-05", 31),
    ]
    assert series.season.value == 78
    assert (series.id, series.better, series.section_id) == ("days", "up", "a")
    year = Span(name="season", label="s", start=date(2025, 11, 1), end=date(2026, 2, 1))
    assert [month.label for month in months_of(year)] == ["2025-11", "2025-12", "2026-01"]


def test_vitals_of_an_analysis_without_rows_are_not_called():
    assert run_vitals(
        [analysis(days, needs=("pour",))], Season(SEASON.bench, {}, WHOLE.start, WHOLE.end), WHOLE
    ) == (
        (),
        (),
    )


@pytest.mark.parametrize(
    ("vitals", "words"),
    [
        (lambda season, span: 1 / 0, "ZeroDivisionError"),
        (lambda season, span: ["three"], "must give Vital"),
        (lambda season, span: days(season, span) * 2, "twice"),
        (lambda season, span: [Vital(id="v", label="v", value=float("nan"))], "not a number"),
        (lambda season, span: days(season, span) if span.name == "season" else [], "other vitals"),
    ],
)
def test_vitals_that_raise_are_a_plugin_problem_and_the_others_remain(vitals, words):
    traces = []
    series, broken = run_vitals(
        [analysis(vitals), analysis(days)], SEASON, WHOLE, on_failure=lambda name, trace: traces.append(trace)
    )
    assert [each.id for each in series] == ["days"]
    assert len(traces) == 1
    assert words in broken[0].why
    assert broken[0].name == "p"
