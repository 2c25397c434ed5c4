"""What the page tells: each thing once, small things side by side, numbers as round as their worth."""

from dataclasses import replace

import pytest

from benchwater.analyse.report import RankedAction, Report, ReportSection, SpanSection
from benchwater.plots import HALF_MM
from benchwater.plugin.season import Span
from benchwater.plugin.section import Action, Figure, Finding, Section, Table, TableColumn
from benchwater.render.html import render_html
from benchwater.render.page import compose
from benchwater.render.sections import MOST_ADVISED, MOST_FINDINGS
from render.boxes import laid_out, words_on
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
    (view,) = compose(told(report, (SEASON, section))).sections
    rows = [
        [block.title or (block.table and block.table.title) for block in row.blocks]
        for row in view.spans[0].rows
    ]
    assert rows == [["left", "right"], ["wide"], ["long"], ["small", "other"], ["broad"]]
    pages = laid_out(render_html(told(report, (SEASON, section)))).pages
    left, right = (words_on(pages, title) for title in ("small", "other"))
    assert left.position_y == right.position_y
    assert right.position_x > left.position_x + 200


def test_what_is_not_on_paper_is_on_the_screen_and_paper_says_where(report: Report) -> None:
    section = Section(
        status="ok", tables=(table("cut", rows=9, paper_rows=4), table("gone", rows=5, paper_rows=0))
    )
    made = told(report, (SEASON, section))
    html = render_html(made)
    assert html.count('<tr class="screen-only">') == 5 + 5
    assert '<span class="print-only">and 5 more rows in season-report.html. </span>' in html
    assert "As a table in season-report.html: gone." in html
    pages = laid_out(html).pages
    assert words_on(pages, "row 4")
    assert words_on(pages, "row 5") is None


def test_paper_has_the_first_findings_and_says_where_the_others_are(report: Report) -> None:
    findings = tuple(Finding(id="a", text=f"Finding number {n}.") for n in range(1, MOST_FINDINGS + 4))
    actions = tuple(Action(id=f"{n}", text=f"Do {n}.", because="") for n in range(1, MOST_ADVISED + 3))
    html = render_html(told(report, (SEASON, Section(status="ok", findings=findings, actions=actions))))
    for told_there in (f"Finding number {MOST_FINDINGS + 3}.", f"Do {MOST_ADVISED + 2}."):
        assert told_there in html
    pages = laid_out(html).pages
    for words in (
        "And 3 more findings in season-report.html.",
        "And 2 more things to do in season-report.html.",
    ):
        assert words_on(pages, words)
    assert words_on(pages, f"Finding number {MOST_FINDINGS}.")
    assert words_on(pages, f"Finding number {MOST_FINDINGS + 1}.") is None
    assert words_on(pages, f"Do {MOST_ADVISED}.")
    assert words_on(pages, f"Do {MOST_ADVISED + 1}.") is None


def test_nothing_urgent_is_ever_left_off_paper(report: Report) -> None:
    urgent = tuple(
        Action(id=f"u{n}", text=f"Stop {n}.", because="", urgent=True) for n in range(1, MOST_ADVISED + 5)
    )
    other = tuple(Action(id=f"o{n}", text=f"Do {n}.", because="") for n in range(1, 4))
    section = Section(status="ok", findings=(Finding(id="f", text="Found."),), actions=other + urgent)
    pages = laid_out(render_html(told(report, (SEASON, section)))).pages
    assert all(words_on(pages, action.text) for action in urgent)
    assert words_on(pages, "Do 1.") is None
    assert words_on(pages, "And 3 more things to do in season-report.html.")


def test_the_season_s_table_is_shorter_beside_the_month_s_only(report: Report) -> None:
    def paper_rows(report: Report) -> list[tuple[int, bool]]:
        (view,) = compose(report).sections
        blocks = [row.blocks[0] for span in view.spans for row in span.rows]
        return [(block.table.paper_rows, block.screen_only) for block in blocks if block.table is not None]

    both = replace(table("t", rows=5), each_span=True, paper_rows=4, again_rows=1)
    section = Section(status="ok", tables=(both,))
    assert paper_rows(told(report, (MAY, section), (SEASON, section))) == [(4, False), (1, False)]
    assert paper_rows(told(report, (SEASON, section))) == [(4, False)]
    assert paper_rows(told(report, (MAY, section), (FIRST_MONTH, section))) == [(4, False)]
    without = Section(status="ok", tables=(replace(both, rows=()),))
    assert paper_rows(told(report, (MAY, without), (SEASON, section))) == [(4, False)]
    thin = replace(section, status="thin", why="Too few.")
    assert paper_rows(told(report, (MAY, thin), (SEASON, section))) == [(4, False), (4, False)]
    none = Section(status="ok", tables=(replace(both, again_rows=0),))
    assert paper_rows(told(report, (MAY, section), (SEASON, none))) == [(4, False), (0, True)]


def test_the_first_month_of_a_season_is_told_once(report: Report) -> None:
    finding = Finding(id="a", text="Two of nine were bad.")
    section = Section(status="ok", findings=(finding,), tables=(table("t"),))
    both = told(report, (MAY, section), (FIRST_MONTH, section))
    (view,) = compose(both).sections
    assert [span.label for span in view.spans] == ["May 2026, the season so far"]
    other = replace(section, findings=(replace(finding, text="Only of the month."),))
    (view,) = compose(told(report, (MAY, other), (FIRST_MONTH, section))).sections
    assert len(view.spans) == 2
    later = told(report, (MAY, section), (SEASON, section))
    assert [span.label for span in compose(later).sections[0].spans] == [
        "May 2026",
        "Season to date: 1 March to 31 May 2026",
    ]


def test_a_report_of_one_span_names_it_once(report: Report) -> None:
    section = Section(status="ok", findings=(Finding(id="a", text="Two of nine were bad."),))
    page = compose(told(report, (SEASON, section)))
    assert [span.label for span in page.sections[0].spans] == [""]
    assert page.period == "Season to date: 1 March to 31 May 2026"


def test_what_an_ok_section_leaves_open_stands_behind_the_thin_ones(report: Report) -> None:
    first = report.sections[0]
    part = replace(first.parts[-1], section=replace(first.parts[-1].section, unsaid="Why the vent clogs."))
    made = replace(report, sections=(replace(first, parts=(first.parts[0], part)), *report.sections[1:]))
    assert [line.title for line in compose(made).unsaid] == [
        "Bait mortality, May 2026",
        "Finishing",
        "Defects by mold temperature",
    ]
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
    ranked = RankedAction(action=action, section_id="x", section_title="X")
    assert compose(replace(report, actions=(ranked,))).actions[0].worth == said


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
    assert compose(made).sections[0].spans[0].findings[0].interval == interval


def test_a_season_s_first_month_has_nothing_to_be_held_against(report: Report) -> None:
    first = tuple(
        replace(series, months=tuple(replace(each, span=MAY) for each in series.months[-1:]))
        for series in report.vitals
    )
    page = compose(replace(report, vitals=first))
    assert {(vital.change, vital.source) for vital in page.vitals} == {("", "")}
    assert page.vitals_note.startswith("May is the first month of the season")
