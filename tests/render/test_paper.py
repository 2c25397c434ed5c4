"""What paper has of a section: its answer, a picture or two, what to do, and one table; the rest is named."""

from dataclasses import replace

from benchwater.analyse.report import Report
from benchwater.plots import HALF_MM
from benchwater.plugin.section import Action, Finding, Section, TableColumn
from benchwater.render.html import render_html, render_paper
from benchwater.render.paper import (
    MOST_ADVISED,
    MOST_OF_PERIOD,
    MOST_OF_SEASON,
    MOST_ROWS,
    PaperSection,
    paper_sections,
)
from render.sample_report import MAY, SEASON
from render.test_page import figure, table, told

MOST = MOST_OF_SEASON + MOST_OF_PERIOD


def on_paper(report: Report) -> PaperSection:
    (section,) = paper_sections(report)
    return section


def test_paper_has_the_season_s_first_pictures_and_the_first_table_it_may(report: Report) -> None:
    month = Section(status="ok", figures=(figure("month", HALF_MM),), tables=(table("month"),))
    season = Section(
        status="ok",
        figures=tuple(figure(name, HALF_MM) for name in ("one", "two:a", "three")),
        tables=(table("no", paper_rows=0), table("two", rows=20), table("first", rows=20), table("next")),
    )
    view = on_paper(told(report, (MAY, month), (SEASON, season)))
    assert [picture.title for picture in view.pictures] == ["one"]
    told_at_length = replace(season, unsaid="Why the vent clogs, nobody has written down. " * 40)
    longer = on_paper(told(report, (MAY, month), (SEASON, told_at_length)))
    assert [picture.title for picture in longer.pictures] == ["one", "two:a"]
    assert longer.table is not None
    assert longer.table.table is not None
    assert longer.table.table.title == "first"
    assert view.table is not None
    assert view.table.table is not None
    assert view.table.table.title == "two"
    assert len(view.table.table.rows) == MOST_ROWS
    assert view.table.table.more == "And 10 more rows in season-report.html."
    assert view.more == "Also in season-report.html: 3 pictures and 4 tables."
    thin = replace(season, status="thin", why="Too few.")
    assert [each.title for each in on_paper(told(report, (MAY, month), (SEASON, thin))).pictures] == ["month"]


def test_what_is_not_on_paper_is_in_the_html(report: Report) -> None:
    findings = tuple(Finding(id="a", text=f"Finding number {n}.") for n in range(1, MOST + 4))
    actions = tuple(Action(id=f"{n}", text=f"Do {n}.", because="") for n in range(1, MOST_ADVISED + 3))
    headline = Finding(id="b", text="The worst of it.", headline=True)
    section = Section(status="ok", findings=(*findings, headline), actions=actions)
    made = told(report, (SEASON, section))
    paper, html = render_paper(made), render_html(made)
    assert "Also in season-report.html: 4 findings and 2 things to do." in paper
    assert paper.index("The worst of it.", paper.index("<h2 data-running")) < paper.index("Finding number 1.")
    assert f"Finding number {MOST - 1}." in paper
    for words in (f"Finding number {MOST}.", f"Do {MOST_ADVISED + 1}."):
        assert words not in paper
        assert words in html


def test_a_section_without_data_is_one_line(report: Report) -> None:
    month, season = Section.empty("Seasons are compared to date."), Section.empty("The logs hold one season.")
    made = told(report, (MAY, month), (SEASON, season))
    (section,) = made.sections
    empty = replace(section, status="empty", why="The logs hold one season.")
    assert on_paper(replace(made, sections=(empty,))).parts == ()


def test_nothing_urgent_is_ever_left_off_paper(report: Report) -> None:
    urgent = tuple(Action(id=f"u{n}", text=f"Stop {n}.", because="", urgent=True) for n in range(1, 9))
    other = tuple(Action(id=f"o{n}", text=f"Do {n}.", because="") for n in range(1, 4))
    view = on_paper(told(report, (SEASON, Section(status="ok", actions=other + urgent))))
    assert [line.text for line in view.advice] == [action.text for action in urgent]


def test_a_p_value_is_in_the_html_and_not_on_paper(report: Report) -> None:
    tested = table("t")
    columns = (replace(tested.columns[0]), TableColumn(name="p", label="p", unit="p"))
    tested = replace(tested, columns=columns, rows=(("leader", 0.041),))
    made = told(report, (SEASON, Section(status="ok", tables=(tested,))))
    assert "0.041" in render_html(made)
    assert "0.041" not in render_paper(made)


def test_cards_of_one_id_are_one_card_and_cautions_come_first(html: str, paper: str) -> None:
    for page in (html, paper):
        start = page.index('id="cards"')
        cards = page[start : page.index('id="section-defect-rate"', start)]
        places = [
            cards.index(words) for words in ("Before you melt", "Ball jig, six", "Start at", "Holds lead.")
        ]
        assert places == sorted(places)
        assert "Another title" not in cards
        assert cards.count('class="column"') == 2
        assert cards.count('class="card wide warning"') == 1
