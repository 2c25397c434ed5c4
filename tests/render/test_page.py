"""What the page tells: each thing once, small things side by side, numbers as round as their worth."""

from dataclasses import replace

import pytest

from benchwater.analyse.report import Report, ReportSection, SpanSection
from benchwater.plots import HALF_MM
from benchwater.plugin.season import Span
from benchwater.plugin.section import Action, Figure, Finding, Section, Table, TableColumn
from benchwater.render.html import render_html
from benchwater.render.page import compose
from benchwater.render.sections import section_views
from render.sample_report import MAY, SEASON

FIRST_MONTH = replace(SEASON, start=MAY.start)


def figure(id: str, width_mm: float) -> Figure:
    points = width_mm / 25.4 * 72
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{points:.2f}pt" height="99pt">'
    return Figure(id=id, title=id, alt="A line.", svg=f'{head}<path d="M0 0h9"/></svg>')


def table(id: str, columns: int = 2, rows: int = 3, paper_rows: int | None = None) -> Table:
    named = tuple(TableColumn(name=f"c{number}", label="Heading") for number in range(columns))
    cells = tuple((f"row {row + 1}",) * columns for row in range(rows))
    return Table(id=id, title=id, columns=named, rows=cells, print_rows=40, paper_rows=paper_rows)


def told(report: Report, *parts: tuple[Span, Section]) -> Report:
    """The report with one section of these parts."""
    made = tuple(SpanSection(span=span, section=section) for span, section in parts)
    section = ReportSection(
        id="one", title="One", question="", status="ok", why="", parts=made, origin="test"
    )
    spans = {span.name: span for span, _ in parts}
    season = spans.get("season", SEASON)
    return replace(report, sections=(section,), actions=(), period=spans.get("period", season), season=season)


def test_small_figures_and_tables_stand_in_pairs_and_large_ones_alone(report: Report) -> None:
    section = Section(
        status="ok",
        figures=(figure("left", HALF_MM), figure("wide", 170), figure("right", HALF_MM)),
        tables=(table("long", rows=17), table("small"), table("broad", columns=9), table("other")),
    )
    (view,) = section_views(told(report, (SEASON, section)))
    rows = [
        [block.title or (block.table and block.table.title) for block in row] for row in view.spans[0].rows
    ]
    assert rows == [["left", "right"], ["wide"], ["long"], ["small", "other"], ["broad"]]


def test_the_first_month_of_a_season_is_told_once(report: Report) -> None:
    finding = Finding(id="a", text="Two of nine were bad.")
    section = Section(status="ok", findings=(finding,), tables=(table("t"),))
    both = told(report, (MAY, section), (FIRST_MONTH, section))
    (view,) = section_views(both)
    assert [span.label for span in view.spans] == ["May 2026, the season so far"]
    other = replace(section, findings=(replace(finding, text="Only of the month."),))
    (view,) = section_views(told(report, (MAY, other), (FIRST_MONTH, section)))
    assert len(view.spans) == 2
    later = told(report, (MAY, section), (SEASON, section))
    assert [span.label for span in section_views(later)[0].spans] == [
        "May 2026",
        "Season to date: 1 March to 31 May 2026",
    ]


def test_a_report_of_one_span_names_it_once(report: Report) -> None:
    section = Section(status="ok", findings=(Finding(id="a", text="Two of nine were bad."),))
    made = told(report, (SEASON, section))
    assert [span.label for span in section_views(made)[0].spans] == [""]
    assert compose(made).period == "Season to date: 1 March to 31 May 2026"


def test_what_an_ok_section_leaves_open_stands_behind_the_thin_ones(report: Report) -> None:
    first = report.sections[0]
    part = replace(first.parts[-1], section=replace(first.parts[-1].section, unsaid="Why the vent clogs."))
    made = replace(report, sections=(replace(first, parts=(first.parts[0], part)), *report.sections[1:]))
    page = compose(made)
    assert [line.title for line in page.unsaid] == ["Bait mortality, May 2026", "Finishing"]
    assert page.more_unsaid == "1 more section likewise."
    assert "<b>What these data cannot say.</b> Why the vent clogs." in render_html(made)


@pytest.mark.parametrize(
    ("worth", "unit", "said"),
    [
        (43.19, "money", "worth about $43"),
        (9.96, "money", "worth about $9.96"),
        (1.32, "baits", "worth about 1 bait"),
        (15.4, "baits", "worth about 15 baits"),
        (0.74, "baits", "worth less than 1 bait"),
    ],
)
def test_what_advice_is_worth_is_no_finer_than_an_estimate(
    worth: float, unit: str, said: str, report: Report
) -> None:
    action = Action(id="a", text="Do it.", because="It pays.", worth=worth, worth_unit=unit)  # type: ignore[arg-type]
    ranked = replace(report.actions[0], action=action)
    assert compose(replace(report, actions=(ranked,))).to_do[0].line.worth == said


@pytest.mark.parametrize(
    ("low", "high", "unit", "interval"),
    [
        (284.08, 291.98, "money", "$284 to $292"),
        (0.14, 0.16, "money", "$0.14 to $0.16"),
        (-50.0, -50.0, "pieces", ""),
    ],
)
def test_an_interval_is_as_fine_as_it_is_wide(
    low: float, high: float, unit: str, interval: str, report: Report
) -> None:
    finding = Finding(id="a", text="So much.", value=low, low=low, high=high, unit=unit, n=3)
    made = told(report, (SEASON, Section(status="ok", findings=(finding,))))
    assert section_views(made)[0].spans[0].findings[0].interval == interval


def test_a_season_s_first_month_has_nothing_to_be_held_against(report: Report) -> None:
    first = tuple(
        replace(series, months=tuple(replace(each, span=MAY) for each in series.months[-1:]))
        for series in report.vitals
    )
    page = compose(replace(report, vitals=first))
    assert {(vital.change, vital.source) for vital in page.vitals} == {("", "")}
