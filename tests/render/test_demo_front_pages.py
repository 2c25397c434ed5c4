"""Page one of every month of the demo season: states, spans and numbers agree with the sections."""

from collections import Counter
from collections.abc import Callable
from itertools import pairwise

import pytest

from benchwater.analyse.advice import MONTHS_BACK
from benchwater.analyse.report import Report, ReportSection
from benchwater.analyse.run import merged_actions
from benchwater.plugin import Section
from benchwater.render.page import compose
from benchwater.words import MONTHS as NAMES

pytestmark = pytest.mark.slow
MONTHS = [f"2026-{month:02}" for month in range(3, 11)]


@pytest.fixture(scope="module")
def reports(demo_report: Callable[[str | None], Report]) -> dict[str, Report]:
    return {month: demo_report(month) for month in MONTHS}


def section(report: Report, id: str) -> ReportSection:
    return next(each for each in report.sections if each.id == id)


def month_of(report: Report, id: str) -> Section:
    return section(report, id).parts[0].section


def season_advice(report: Report) -> dict[tuple[str, str], bool]:
    """Whether each action of the season to date holds, by section and id."""
    return {
        (each.id, action.id): action.holds
        for each in report.sections
        for action in each.parts[-1].section.actions
    }


def test_each_state_is_right_against_the_report_of_the_month_before(reports: dict[str, Report]) -> None:
    for before, now in pairwise(reports.values()):
        given = season_advice(before)
        earlier = {(each.section_id, each.action.id): each for each in before.actions}
        current = {(each.id, action.id) for each in now.sections for action in merged_actions(each)}
        for ranked in now.actions:
            key = (ranked.section_id, ranked.action.id)
            where = f"{now.label} {key}"
            again = given.get(key) == ranked.action.holds
            if ranked.state == "mended":
                assert given[key] is False, where
                assert key not in current, where
                assert {part.section.status for part in section(now, key[0]).parts} == {"ok"}, where
                assert ranked.action == earlier[key].action, where
                continue
            expected = "holds" if ranked.action.holds else "open" if again else "new"
            assert ranked.state == expected, where
            if not again:
                assert ranked.since == now.period.start, where
            elif not ranked.or_earlier:
                assert ranked.since == earlier[key].since, where
            else:
                assert now.period.start.month - ranked.since.month == MONTHS_BACK, where
                assert earlier[key].since <= ranked.since, where
        listed = {(each.section_id, each.action.id) for each in now.actions}
        gone = {key for key, holds in given.items() if not holds} - listed
        thin = {each.id for each in now.sections if {part.section.status for part in each.parts} != {"ok"}}
        assert {key[0] for key in gone} <= thin, now.label


def test_the_first_month_gives_only_what_is_new(reports: dict[str, Report]) -> None:
    assert {ranked.state for ranked in reports[MONTHS[0]].actions} <= {"new", "holds"}


def test_tiles_and_tables_say_the_same_number(reports: dict[str, Report]) -> None:
    for report in reports.values():
        now = {(each.section_id, each.id): each.months[-1].value for each in report.vitals}
        findings = {
            (each.id, finding.id, finding.group, part.span.name): finding.value
            for each in report.sections
            for part in each.parts
            for finding in part.section.findings
        }
        rejects = findings["defect_rate", "reject_rate", None, "period"]
        assert now["defect_rate", "first_pass_yield"] == pytest.approx(1 - (rejects or 0)), report.label
        (all_molds,) = (
            finding
            for finding in month_of(report, "defect_rate").findings
            if (finding.id, finding.group) == ("reject_rate", None)
        )
        assert now["defect_rate", "castings_made"] == all_molds.n, report.label
        caught = findings["catch_rate", "cpue", "all", "period"]
        assert now["catch_rate", "fish_per_hour"] == pytest.approx(caught), report.label
        (losses,) = (table for table in month_of(report, "bait_mortality").tables if table.id == "losses")
        names = [column.name for column in losses.columns]
        lost = sum(row[names.index("baits")] for row in losses.rows)  # type: ignore[misc]
        assert now["bait_mortality", "baits_lost"] == lost, report.label
        saved = {each.id: each.season.value for each in report.vitals}["saved"]
        assert saved == pytest.approx(findings["cost", "saved", None, "season"]), report.label


def test_a_number_of_one_span_has_one_value(reports: dict[str, Report]) -> None:
    for report in reports.values():
        found = Counter(
            (each.id, part.span.name, finding.id, finding.group, finding.value, *finding.more.items())
            for each in report.sections
            for part in each.parts
            for finding in part.section.findings
        )
        named = Counter(key[:4] for key in found)
        told = {key for key, times in named.items() if times > 1 and key[3] is not None}
        values = {key: {each[4] for each in found if each[:4] == key} for key in told}
        assert {key: value for key, value in values.items() if len(value) > 1} == {}, report.label


def test_every_number_of_page_one_names_its_span(reports: dict[str, Report]) -> None:
    for report in reports.values():
        page, month = compose(report), NAMES[report.period.start.month - 1]
        assert page.vitals_of == month
        not_empty = [each for each in report.sections if each.status != "empty"]
        for line, each in zip(page.glance, not_empty, strict=True):
            of_month = [finding.text for finding in each.parts[0].section.findings]
            of_season = [finding.text for finding in each.parts[-1].section.findings]
            start = line.text.rstrip("….")
            of_days_after = [finding.text for finding in each.parts[-1].section.findings if finding.ahead]
            texts = of_season if line.span else of_month + of_days_after
            assert any(text.startswith(start) for text in texts), f"{report.label}: {line}"
        for ranked in report.actions:
            if ranked.state != "mended":
                assert ranked.span.end == report.period.end
                assert ranked.span.start >= report.season.start
                assert (ranked.span.end - ranked.span.start).days <= 62
