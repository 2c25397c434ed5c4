"""The report as a page tells it: every word the templates place, in the order they place it."""

import base64
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchwater.analyse.report import RankedAction, Report, ReportSection, SpanSection, VitalSeries
from benchwater.analyse.run import merged_actions
from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Action, Figure, Finding, Status, Table
from benchwater.render.days import month_name, span_title
from benchwater.render.small_plots import half_wide, sparkline
from benchwater.render.tables import PrintedTable, print_table, show_number
from benchwater.render.text import counted, sentences, shorten, visible
from benchwater.units import figures
from benchwater.words import one_to_other

MOST_ACTIONS = 7
_FIXED = frozenset(("1", "p", "degC", "delta_degC", "g", "mL", "mm"))
_SHORT_UNIT = 5
MOST_VITALS = 10
_LONGEST_GLANCE = 92
_LONGEST_BECAUSE = 100
_LONGEST_UNSAID = 130
_MOST_UNSAID = 3
_LONGEST_RUNNING, _LONGEST_HEAD = 36, 30
_LONGEST_TITLE = 70
_WHOLE_MONEY, _WIDE_MONEY, _LEAST_BAITS = 10.0, 2.0, 0.75
_SHORT_ON_PAPER = 10
_SHORT_OF_A_LINE = 40
MOST_FINDINGS, MOST_ADVISED = 15, 8

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
class VitalView:
    """One number of the front page: what it is, how it moved, and its months as a small plot.

    `source` is empty in a season's first month; `good` is `better` or `worse` where the change is such news.
    """

    label: str
    value: str
    change: str
    good: str
    season: str
    alt: str
    source: str


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
class Block:
    """A plot (an image that carries itself) or a table. One on `screen_only` is left out on paper.

    A `half` one leaves room for another beside it.
    """

    screen_only: bool
    half: bool
    title: str = ""
    alt: str = ""
    source: str = ""
    table: PrintedTable | None = None


@dataclass(frozen=True, slots=True)
class BlockRow:
    """What stands side by side on paper: one block, or two halves."""

    blocks: tuple[Block, ...]
    screen_only: bool


@dataclass(frozen=True, slots=True)
class SpanView:
    """What a section says of one span. `note` is empty where the section's own status says it already.

    `label` is empty where the whole report is of one span, which the front page names. Paper has the first
    `MOST_FINDINGS` findings and `MOST_ADVISED` actions, and every urgent one; `more_findings` and
    `more_actions` say where the others are.
    """

    label: str
    status: Status
    word: str
    note: str
    findings: tuple[FindingLine, ...]
    more_findings: str
    actions: tuple[ActionLine, ...]
    more_actions: str
    rows: tuple[BlockRow, ...]
    unsaid: str
    nothing: tuple[str, ...]
    data_only: str
    not_on_paper: str


@dataclass(frozen=True, slots=True)
class SectionView:
    """One section of the report; `running` is its title as the head of its pages has room for it."""

    title: str
    running: str
    anchor: str
    question: str
    status: Status
    word: str
    why: str
    spans: tuple[SpanView, ...]
    methods: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Page:
    """The whole page but for the appendix, whose lists the template takes from the report as they are."""

    title: str
    period: str
    season: str
    running: str
    vitals: tuple[VitalView, ...]
    vitals_note: str
    actions: tuple[ActionLine, ...]
    more_actions: str
    glance: tuple[GlanceLine, ...]
    unsaid: tuple[GlanceLine, ...]
    more_unsaid: str
    rests_on: str
    sections: tuple[SectionView, ...]


def compose(report: Report) -> Page:
    """The page of a report."""
    anchors = _anchors(report.sections)
    front = tuple(_action_line(ranked, anchors, report.bench) for ranked in report.actions[:MOST_ACTIONS])
    told = frozenset((ranked.section_id, ranked.action.id) for ranked in report.actions[:MOST_ACTIONS])
    unsaid = tuple(_unsaid(report, anchors))
    left_out = len(report.actions) - MOST_ACTIONS
    return Page(
        title=f"Season report, {shorten(visible(report.bench.name), _LONGEST_RUNNING)}, {report.label}",
        period=span_title(report.period),
        season=span_title(report.season) if report.season != report.period else "",
        running=_running(report),
        vitals=tuple(_vital_view(series, report) for series in report.vitals[:MOST_VITALS]),
        vitals_note=_vitals_note(report),
        actions=front,
        more_actions=f"And {counted(left_out, 'more thing')} to do in season-report.json."
        if left_out > 0
        else "",
        glance=tuple(_glance_line(section, anchors[section.id]) for section in report.sections),
        unsaid=unsaid[:_MOST_UNSAID],
        more_unsaid=f"{counted(len(unsaid) - _MOST_UNSAID, 'more section')} likewise."
        if len(unsaid) > _MOST_UNSAID
        else "",
        rests_on=_rests_on(report),
        sections=tuple(
            _section_view(section, anchors[section.id], report.bench, told) for section in report.sections
        ),
    )


def _vital_view(series: VitalSeries, report: Report) -> VitalView:
    """The period's value against the month before; a season report has the season's, and its last month."""
    whole = report.period.name == "season"
    now, before = series.months[-1], series.months[-2] if len(series.months) > 1 else None
    shown = _vital_number(series.season.value if whole else now.value, series.unit, report.bench)
    change, good = "", ""
    if whole:
        last = _vital_number(now.value, series.unit, report.bench)
        change = "" if last == shown else f"{month_name(now.span.start)}: {last}"
    elif before is None:
        change = ""
    elif before.value is None or now.value is None:
        empty = before if before.value is None else now
        change = f"nothing logged in {month_name(empty.span.start)}"
    else:
        was, month = _vital_number(before.value, series.unit, report.bench), month_name(before.span.start)
        rose = now.value > before.value
        change = f"as in {month}" if was == shown else f"{'up' if rose else 'down'} from {was} in {month}"
        if series.better is not None and was != shown:
            good = "better" if rose == (series.better == "up") else "worse"
    season = _vital_number(series.season.value, series.unit, report.bench)
    told = [
        f"{month_name(each.span.start)} {_vital_number(each.value, series.unit, report.bench)}"
        for each in series.months
    ]
    flowing = series.unit == "1" or (series.unit or "").endswith("/h")
    return VitalView(
        label=series.label,
        value=shown,
        change=change,
        good=good,
        season="" if whole or season == shown else f"{season} this season",
        alt=f"{series.label.capitalize()} by month: {', '.join(told)}.",
        source=_as_data(sparkline([each.value for each in series.months], flowing, series.unit == "1"))
        if before is not None
        else "",
    )


def _vital_number(value: float | None, unit: str | None, bench: Bench) -> str:
    """A number for the front page, short: two figures of a rate, whole money from a hundred on."""
    if value is None:
        return bench.show(None, "pieces")
    if unit is None or unit == "pieces":
        return figures(value, 0 if value == round(value) else None)
    if unit.endswith("/h"):
        return figures(value, max(0, 1 - math.floor(math.log10(abs(value)))) if value else 0)
    return bench.show(value, unit, 0 if unit == "money" and abs(value) >= 100 else None)


def _vitals_note(report: Report) -> str:
    if not report.vitals:
        return ""
    months = report.vitals[0].months
    first, last = month_name(months[0].span.start), month_name(months[-1].span.start)
    if len(months) == 1:
        return f"{first} is the first month of the season: there is none before to hold it against."
    return (
        f"Small plots: {first} to {last}, a month a mark, each from zero up; a month without rows is a gap."
    )


def _unsaid(report: Report, anchors: dict[str, str]) -> Iterator[GlanceLine]:
    """What the logs leave open, with what would close it; thin sections first."""
    yield from _open_sections(report, anchors)
    for section in report.sections:
        part = section.parts[-1]
        if part.section.unsaid:
            yield GlanceLine(
                title=section.title,
                anchor=anchors[section.id],
                status=part.section.status,
                word="",
                said=sentences(visible(part.section.unsaid), _LONGEST_UNSAID),
            )


def _open_sections(report: Report, anchors: dict[str, str]) -> Iterator[GlanceLine]:
    for section in report.sections:
        open_parts = [part for part in section.parts if part.section.status in ("thin", "empty")]
        if not open_parts:
            continue
        part = open_parts[-1]
        everywhere = len(open_parts) == len(section.parts)
        when = (
            "" if everywhere else ", " + ("season" if part.span.name == "season" else span_title(part.span))
        )
        yield GlanceLine(
            title=section.title + when,
            anchor=anchors[section.id],
            status=part.section.status,
            word=STATUS_WORDS[part.section.status],
            said="" if section.status == "empty" else sentences(visible(part.section.why), _LONGEST_UNSAID),
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
        text=_whole(ranked.action.text),
        because=sentences(_whole(ranked.action.because), _LONGEST_BECAUSE),
        worth=_worth(ranked.action, bench),
        urgent=ranked.action.urgent,
        section=ranked.section_title,
        anchor=anchors.get(ranked.section_id, ""),
    )


def _left_to_tell(
    section: ReportSection, told: frozenset[tuple[str, str]], bench: Bench
) -> tuple[ActionLine, ...]:
    """The section's advice that the front page leaves out, or whose reason it cuts, in full; urgent first."""
    left = [
        ActionLine(_whole(action.text), _whole(action.because), _worth(action, bench), action.urgent, "", "")
        for action in merged_actions(section)
        if (section.id, action.id) not in told or len(_whole(action.because)) > _LONGEST_BECAUSE
    ]
    return tuple(sorted(left, key=lambda line: not line.urgent))


def _whole(text: str) -> str:
    """A sentence with a capital at its start and a stop at its end, as every sentence on the page has."""
    seen = visible(text).strip()
    return seen[:1].upper() + seen[1:] + ("" if not seen or seen[-1] in ".!?…" else ".")


def _worth(action: Action, bench: Bench) -> str:
    if action.worth is None or action.worth_unit is None:
        return ""
    if action.worth_unit == "money":
        whole = action.worth >= _WHOLE_MONEY
        return f"worth about {bench.show(action.worth, 'money', 0 if whole else None)}"
    if action.worth < _LEAST_BAITS:
        return "worth less than 1 bait"
    return f"worth about {counted(round(action.worth), 'bait')}"


def _glance_line(section: ReportSection, anchor: str) -> GlanceLine:
    return GlanceLine(
        title=section.title,
        anchor=anchor,
        status=section.status,
        word=STATUS_WORDS[section.status],
        said=sentences(visible(_first_words(section)), _LONGEST_GLANCE),
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
    sentence = f"{used} of {counted(rows, 'row')} from {counted(len(report.sources), 'file')} used"
    sentence += f", {repeated} repeated elsewhere" if repeated else ""
    sentence += f", {aside} set aside."
    if report.not_read:
        sentence += f" {counted(len(report.not_read), 'file was', 'files were')} not read."
    return sentence


def _section_view(
    section: ReportSection, anchor: str, bench: Bench, told: frozenset[tuple[str, str]]
) -> SectionView:
    parts = [part for part in section.parts if not _said_already(part, section) and _adds(part, section)]
    advice = _left_to_tell(section, told, bench)
    return SectionView(
        title=section.title,
        running=shorten(visible(section.title), _LONGEST_HEAD),
        anchor=anchor,
        question=section.question,
        status=section.status,
        word=STATUS_WORDS[section.status],
        why=section.why if section.status != "ok" else "",
        spans=tuple(_span_view(part, section, bench, advice if part is parts[-1] else ()) for part in parts),
        methods=_halves([line for part in section.parts for line in part.section.methods]),
    )


def _halves(lines: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The lines, each once, in two parts of about the same length to stand side by side; none where none is.

    A table of two cells is laid out in a tenth of the time that balanced columns take.
    """
    told = tuple(dict.fromkeys(lines))
    lengths = [len(line) + _SHORT_OF_A_LINE for line in told]
    first = min(range(1, len(told) + 1), key=lambda at: abs(sum(lengths[:at]) - sum(lengths[at:])), default=0)
    return tuple(half for half in (told[:first], told[first:]) if half)


def _said_already(part: SpanSection, section: ReportSection) -> bool:
    """Whether the section's own status line tells all there is of this part."""
    said = part.section
    return _same_status(part, section) and not (said.findings or said.tables or said.figures)


def _adds(part: SpanSection, section: ReportSection) -> bool:
    """False for the first month of a season where the season to date, the same days, tells all of it."""
    season = section.parts[-1]
    if part is season or (part.span.start, part.span.end) != (season.span.start, season.span.end):
        return True
    findings = {finding.text for finding in season.section.findings if not finding.quiet}
    tables = {table.id for table in season.section.tables if table.print_rows > 0}
    return part.section.status != season.section.status or not (
        {finding.text for finding in part.section.findings if not finding.quiet} <= findings
        and {table.id for table in part.section.tables if table.print_rows > 0 and table.rows} <= tables
    )


def _same_status(part: SpanSection, section: ReportSection) -> bool:
    return (part.section.status, part.section.why) == (section.status, section.why)


def _span_view(
    part: SpanSection, section: ReportSection, bench: Bench, advice: tuple[ActionLine, ...]
) -> SpanView:
    said = part.section
    told_later = _told_for_the_season(part, section)
    findings = tuple(_finding_line(finding, bench) for finding in _headline_first(said.findings))
    printed = [_told_again(table, part, section) for table in said.tables if _shows(table)]
    drawn = frozenset(figure.id.partition(":")[0] for figure in said.figures)
    off_paper = frozenset(each.id for each in printed if _left_off_paper(each, told_later, drawn))
    unprinted = [table for table in said.tables if table.print_rows <= 0 and table.id not in told_later]
    blocks = [_figure_block(figure, figure.id in told_later) for figure in said.figures]
    blocks += [_table_block(print_table(table, bench), table.id in off_paper) for table in printed]
    return SpanView(
        label=_label(part, section),
        status=said.status,
        word=STATUS_WORDS[said.status],
        note=said.why if said.status != "ok" and not _same_status(part, section) else "",
        findings=findings,
        more_findings=_more_on_screen(len(findings) - MOST_FINDINGS, "finding"),
        actions=advice,
        more_actions=_more_on_screen(
            sum(not line.urgent for line in advice[MOST_ADVISED:]), "thing", " to do"
        ),
        rows=tuple(_side_by_side(blocks)),
        unsaid=said.unsaid if part is section.parts[-1] or not section.parts[-1].section.unsaid else "",
        nothing=tuple(table.title for table in said.tables if table.print_rows > 0 and not table.rows),
        data_only="; ".join(
            f"{shorten(table.title, _LONGEST_TITLE)} ({counted(len(table.rows), 'row')})"
            for table in unprinted
        ),
        not_on_paper="; ".join(
            shorten(table.title, _LONGEST_TITLE)
            for table in printed
            if table.id in off_paper and table.id not in told_later
        ),
    )


def _shows(table: Table) -> bool:
    return table.print_rows > 0 and len(table.rows) > 0


def _told_again(table: Table, part: SpanSection, section: ReportSection) -> Table:
    """The season's table, with as many rows on paper as it asks for beside those of an `ok` month."""
    month = section.parts[0]
    if part is month or table.again_rows is None or month.section.status != "ok":
        return table
    if not _adds(month, section) or not any(
        _shows(each) for each in month.section.tables if each.id == table.id
    ):
        return table
    rows = [rows for rows in (table.paper_rows, table.again_rows) if rows is not None]
    return replace(table, paper_rows=min(rows))


def _more_on_screen(number: int, one: str, rest: str = "") -> str:
    return f"And {counted(number, f'more {one}')}{rest} in season-report.html." if number > 0 else ""


def _figure_block(figure: Figure, screen_only: bool) -> Block:
    return Block(
        screen_only=screen_only,
        half=half_wide(figure.svg),
        title=figure.title,
        alt=figure.alt,
        source=_as_data(figure.svg),
    )


def _table_block(table: PrintedTable, screen_only: bool) -> Block:
    return Block(screen_only=screen_only, half=table.half, table=table)


def _side_by_side(blocks: Sequence[Block]) -> Iterator[BlockRow]:
    """The blocks in their order, but for a half one, which takes the next half one to its side."""
    left = list(blocks)
    while left:
        block = left.pop(0)
        beside = [other for other in left if other.half and other.screen_only == block.screen_only]
        row = (block, beside[0]) if block.half and beside else (block,)
        left = [other for other in left if not any(other is each for each in row)]
        yield BlockRow(blocks=row, screen_only=block.screen_only)


def _label(part: SpanSection, section: ReportSection) -> str:
    """The days a part is of: `May 2026`; nothing where no other days are told in the report."""
    spans = [each.span for each in section.parts]
    if len(spans) == 1:
        return ""
    same = all((span.start, span.end) == (part.span.start, part.span.end) for span in spans)
    return f"{span_title(spans[0])}, the season so far" if same else span_title(part.span)


def _headline_first(found: Sequence[Finding]) -> list[Finding]:
    """The findings told on the page, the headline before the others."""
    return sorted((finding for finding in found if not finding.quiet), key=lambda each: not each.headline)


def _told_for_the_season(part: SpanSection, section: ReportSection) -> frozenset[str]:
    """The figures and tables of a month that the season to date shows as well: on paper once is enough."""
    season = section.parts[-1]
    if part is season or season.section.status != "ok":
        return frozenset()
    later = season.section
    return frozenset([figure.id for figure in later.figures] + [table.id for table in later.tables])


def _left_off_paper(table: Table, told_later: frozenset[str], drawn: frozenset[str]) -> bool:
    """Whether the season's table, or a plot of the same numbers, stands for this one on paper."""
    if table.paper_rows == 0:
        return True
    if table.id in told_later:
        return not table.each_span
    return table.id in drawn and len(table.rows) > _SHORT_ON_PAPER


def _finding_line(finding: Finding, bench: Bench) -> FindingLine:
    digits = _digits(finding)
    low = show_number(finding.low, finding.unit, bench, digits) if finding.low is not None else ""
    high = show_number(finding.high, finding.unit, bench, digits) if finding.high is not None else ""
    interval = _interval(low, high)
    _, _, unit = (high or low).partition(" ")
    if len(unit) > _SHORT_UNIT and unit in finding.text:
        interval = interval.replace(f" {unit}", "")
    said_already = not interval or low == high or _in_words(finding, bench)
    return FindingLine(
        text=finding.text,
        level="" if said_already else f"{100 * finding.level:.4g} % interval",
        interval="" if said_already else interval,
        count=f"n = {finding.n}" if finding.n is not None else "",
    )


def _in_words(finding: Finding, bench: Bench) -> bool:
    """Whether the sentence has the limits, as they are printed here or in the usual number of figures."""
    if finding.low is None or finding.high is None:
        return False
    limits = (finding.low, finding.high)
    pairs = [
        [show_number(each, finding.unit, bench, digits) for each in limits]
        for digits in (_digits(finding), None)
    ]
    pairs += [[low.partition(" ")[0], high.partition(" ")[0]] for low, high in pairs if low[:1].isdigit()]
    if finding.unit is None:
        pairs.append([figures(each, significant=2) for each in limits])
    said = [
        words
        for low, high in pairs
        for words in (_interval(low, high), f"{low} to {high}", f"between {low} and {high}")
    ]
    return any(words in finding.text for words in said)


def _digits(finding: Finding) -> int | None:
    """Decimals that an interval is wide enough to leave meaning: two figures of its width, at least none.

    None for quantities that are converted on their way to the page, and for those that have fixed decimals;
    money loses its minor unit where the limits are `_WIDE_MONEY` apart.
    """
    unit = finding.unit or ""
    if finding.low is None or finding.high is None or unit in _FIXED or unit.startswith("money/"):
        return None
    width = finding.high - finding.low
    if unit == "money":
        return 0 if width >= _WIDE_MONEY else None
    if not width > 0 or not math.isfinite(width) or (unit == "h" and finding.low < 1):
        return None
    if unit == "pieces" and float(finding.low).is_integer() and float(finding.high).is_integer():
        return 0
    return max(0, 1 - math.floor(math.log10(width)))


def _interval(low: str, high: str) -> str:
    """`340 to 367 °F`, `340 °F or more`."""
    if not (low and high):
        return f"{low} or more" if low else f"up to {high}" if high else ""
    return one_to_other(low, high)


def _as_data(svg: str) -> str:
    packed = base64.b64encode(svg.encode("utf-8", "replace")).decode("ascii")
    return f"data:image/svg+xml;base64,{packed}"
