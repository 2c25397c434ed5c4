"""The report as a page tells it: every word the templates place, in the order they place it."""

import base64
import re
from dataclasses import dataclass

from benchwater.analyse.report import RankedAction, Report, ReportSection, SpanSection
from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Action, Finding, Status, Table
from benchwater.render.days import span_title
from benchwater.render.tables import PrintedTable, print_table, show_number
from benchwater.render.text import counted, shorten, visible

MOST_ACTIONS = 7
_LONGEST_GLANCE = 84
_LONGEST_RUNNING = 48
_SHORT_ON_PAPER = 10

STATUS_WORDS: dict[Status, str] = {
    "ok": "Enough data",
    "thin": "Thin data",
    "empty": "No data",
    "failed": "Failed",
}


@dataclass(frozen=True, slots=True)
class ActionLine:
    """One thing to do: the advice, its reason, what it is worth, and the section it comes from."""

    text: str
    because: str
    worth: str
    urgent: bool
    section: str
    anchor: str


@dataclass(frozen=True, slots=True)
class GlanceLine:
    """One section in one line."""

    title: str
    anchor: str
    status: Status
    word: str
    said: str


@dataclass(frozen=True, slots=True)
class FindingLine:
    """A finding's sentence and, beside it, its interval and count."""

    text: str
    level: str
    interval: str
    count: str


@dataclass(frozen=True, slots=True)
class FigureView:
    """A plot as an image that carries itself. One on `screen_only` is left out on paper."""

    title: str
    alt: str
    source: str
    screen_only: bool


@dataclass(frozen=True, slots=True)
class TableView:
    """A table, and whether it is left out on paper."""

    table: PrintedTable
    screen_only: bool


@dataclass(frozen=True, slots=True)
class SpanView:
    """What a section says of one span. `note` is empty where the section's own status says it already."""

    label: str
    status: Status
    word: str
    note: str
    findings: tuple[FindingLine, ...]
    figures: tuple[FigureView, ...]
    tables: tuple[TableView, ...]
    nothing: tuple[str, ...]
    data_only: str


@dataclass(frozen=True, slots=True)
class SectionView:
    """One section of the report."""

    title: str
    anchor: str
    question: str
    status: Status
    word: str
    why: str
    spans: tuple[SpanView, ...]
    methods: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Page:
    """The whole page but for the appendix, whose lists the template takes from the report as they are."""

    title: str
    period: str
    season: str
    running: str
    actions: tuple[ActionLine, ...]
    more_actions: str
    glance: tuple[GlanceLine, ...]
    rests_on: str
    sections: tuple[SectionView, ...]


def compose(report: Report) -> Page:
    """The page of a report."""
    anchors = _anchors(report.sections)
    left_out = len(report.actions) - MOST_ACTIONS
    return Page(
        title=f"Season report, {shorten(visible(report.bench.name), _LONGEST_RUNNING)}, {report.label}",
        period=span_title(report.period),
        season=span_title(report.season) if report.season != report.period else "",
        running=_running(report),
        actions=tuple(
            _action_line(ranked, anchors, report.bench) for ranked in report.actions[:MOST_ACTIONS]
        ),
        more_actions=f"And {counted(left_out, 'more thing')} to do in season-report.json."
        if left_out > 0
        else "",
        glance=tuple(_glance_line(section, anchors[section.id]) for section in report.sections),
        rests_on=_rests_on(report),
        sections=tuple(
            _section_view(section, anchors[section.id], report.bench) for section in report.sections
        ),
    )


def _running(report: Report) -> str:
    bench = shorten(visible(report.bench.name), _LONGEST_RUNNING)
    return f"{bench} · {span_title(report.period)}"


def _anchors(sections: tuple[ReportSection, ...]) -> dict[str, str]:
    taken: dict[str, str] = {}
    for number, section in enumerate(sections, start=1):
        name = "section-" + (re.sub("[^a-z0-9]+", "-", section.id.lower()).strip("-") or str(number))
        taken[section.id] = name if name not in taken.values() else f"{name}-{number}"
    return taken


def _action_line(ranked: RankedAction, anchors: dict[str, str], bench: Bench) -> ActionLine:
    return ActionLine(
        text=ranked.action.text,
        because=ranked.action.because,
        worth=_worth(ranked.action, bench),
        urgent=ranked.action.urgent,
        section=ranked.section_title,
        anchor=anchors.get(ranked.section_id, ""),
    )


def _worth(action: Action, bench: Bench) -> str:
    if action.worth is None or action.worth_unit is None:
        return ""
    if action.worth_unit == "money":
        return f"worth about {bench.show(action.worth, 'money')}"
    amount = bench.show(action.worth, "pieces")
    return f"worth about {amount} {'bait' if amount == '1' else 'baits'}"


def _glance_line(section: ReportSection, anchor: str) -> GlanceLine:
    return GlanceLine(
        title=section.title,
        anchor=anchor,
        status=section.status,
        word=STATUS_WORDS[section.status],
        said=shorten(visible(_first_words(section)), _LONGEST_GLANCE),
    )


def _first_words(section: ReportSection) -> str:
    """The headline, else the first finding of a part that is sure of itself, else of any, else why none."""
    if section.status in ("empty", "failed"):
        return section.why
    for part in section.parts:
        for finding in part.section.findings:
            if finding.headline:
                return finding.text
    told = [part for part in section.parts if part.section.findings]
    sure = [part for part in told if part.section.status == "ok"]
    for part in sure or told:
        return part.section.findings[0].text
    return section.why


def _rests_on(report: Report) -> str:
    rows = sum(source.rows for source in report.sources)
    used = sum(source.used for source in report.sources)
    repeated = sum(source.repeated for source in report.sources)
    aside = sum(source.set_aside for source in report.sources)
    if not report.sources:
        return "No log was read."
    sentence = (
        f"{used} of {counted(rows, 'row')} from {counted(len(report.sources), 'file')} used, "
        f"{repeated} repeated elsewhere, {aside} set aside."
    )
    if report.not_read:
        sentence += f" {counted(len(report.not_read), 'file was', 'files were')} not read."
    return sentence


def _section_view(section: ReportSection, anchor: str, bench: Bench) -> SectionView:
    return SectionView(
        title=section.title,
        anchor=anchor,
        question=section.question,
        status=section.status,
        word=STATUS_WORDS[section.status],
        why=section.why if section.status != "ok" else "",
        spans=tuple(
            _span_view(part, section, bench) for part in section.parts if not _said_already(part, section)
        ),
        methods=tuple(dict.fromkeys(line for part in section.parts for line in part.section.methods)),
    )


def _said_already(part: SpanSection, section: ReportSection) -> bool:
    """Whether the section's own status line tells all there is of this part."""
    said = part.section
    return _same_status(part, section) and not (said.findings or said.tables or said.figures)


def _same_status(part: SpanSection, section: ReportSection) -> bool:
    return (part.section.status, part.section.why) == (section.status, section.why)


def _span_view(part: SpanSection, section: ReportSection, bench: Bench) -> SpanView:
    said = part.section
    told_later = _told_for_the_season(part, section)
    printed = [table for table in said.tables if table.print_rows > 0 and table.rows]
    unprinted = [table for table in said.tables if table.print_rows <= 0 and table.id not in told_later]
    return SpanView(
        label=span_title(part.span),
        status=said.status,
        word=STATUS_WORDS[said.status],
        note=said.why if said.status != "ok" and not _same_status(part, section) else "",
        findings=tuple(_finding_line(finding, bench) for finding in said.findings if not finding.quiet),
        figures=tuple(
            FigureView(each.title, each.alt, _as_data(each.svg), each.id in told_later)
            for each in said.figures
        ),
        tables=tuple(
            TableView(print_table(table, bench), _left_to_season(table, told_later)) for table in printed
        ),
        nothing=tuple(table.title for table in said.tables if table.print_rows > 0 and not table.rows),
        data_only="; ".join(
            f"{shorten(table.title, _LONGEST_RUNNING)} ({counted(len(table.rows), 'row')})"
            for table in unprinted
        ),
    )


def _told_for_the_season(part: SpanSection, section: ReportSection) -> frozenset[str]:
    """The figures and tables of a month that the season to date shows as well: on paper once is enough."""
    season = section.parts[-1]
    if part is season or season.section.status != "ok":
        return frozenset()
    later = season.section
    return frozenset([figure.id for figure in later.figures] + [table.id for table in later.tables])


def _left_to_season(table: Table, told_later: frozenset[str]) -> bool:
    return table.id in told_later and not table.each_span and len(table.rows) > _SHORT_ON_PAPER


def _finding_line(finding: Finding, bench: Bench) -> FindingLine:
    low = show_number(finding.low, finding.unit, bench) if finding.low is not None else ""
    high = show_number(finding.high, finding.unit, bench) if finding.high is not None else ""
    interval = _interval(low, high)
    said_already = not interval or interval in finding.text
    return FindingLine(
        text=finding.text,
        level="" if said_already else f"{100 * finding.level:.4g} % interval",
        interval="" if said_already else interval,
        count=f"n = {finding.n}" if finding.n is not None else "",
    )


def _interval(low: str, high: str) -> str:
    """`340 to 367 °F`: a unit that both ends share is said once."""
    if not (low and high):
        return f"from {low}" if low else f"up to {high}" if high else ""
    number, _, unit = low.partition(" ")
    shared = unit and not unit[0].isdigit() and high.endswith(f" {unit}")
    return f"{number if shared else low} to {high}"


def _as_data(svg: str) -> str:
    packed = base64.b64encode(svg.encode("utf-8", "replace")).decode("ascii")
    return f"data:image/svg+xml;base64,{packed}"
