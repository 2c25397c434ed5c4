"""The sections of a report as the page shows them: findings, advice, plots and tables of each span."""

import base64
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchwater.analyse.report import ReportSection, SpanSection
from benchwater.analyse.run import merged_actions
from benchwater.plots import HALF_MM
from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Action, Finding, Status, Table
from benchwater.render.tables import PrintedTable, print_table, show_number
from benchwater.render.text import sentences, span_title
from benchwater.units import figures
from benchwater.words import counted, one_to_other, shorten, visible

LONGEST_BECAUSE = 100
MOST_FINDINGS, MOST_ADVISED = 15, 8
_FIXED = frozenset(("1", "p", "degC", "delta_degC", "g", "mL", "mm"))
_SHORT_UNIT = 5
_LONGEST_HEAD, _LONGEST_TITLE = 30, 70
_WHOLE_MONEY, _WIDE_MONEY, _LEAST_BAITS = 10.0, 2.0, 0.75
_SHORT_ON_PAPER = 10
_SHORT_OF_A_LINE = 40
_WIDTH_PT = re.compile(r'<svg\b[^>]*?\bwidth="([0-9]{1,5}(?:[.][0-9]{1,9})?)pt"')

STATUS_WORDS: dict[Status, str] = {
    "ok": "Enough data",
    "thin": "Thin data",
    "empty": "No data",
    "failed": "Failed",
}


@dataclass(frozen=True, slots=True)
class ActionLine:
    """One action: the advice, its reason, its worth, and the section it comes from."""

    text: str
    because: str
    worth: str
    urgent: bool
    section: str
    anchor: str


@dataclass(frozen=True, slots=True)
class FindingLine:
    """A finding's sentence, and its interval and count beside it."""

    text: str
    level: str
    interval: str
    count: str


@dataclass(frozen=True, slots=True)
class Block:
    """A plot as an embedded image, or a table. Paper leaves out one that is `screen_only`.

    A `half` block leaves room for another beside it.
    """

    screen_only: bool
    half: bool
    title: str = ""
    alt: str = ""
    source: str = ""
    table: PrintedTable | None = None


@dataclass(frozen=True, slots=True)
class BlockRow:
    """One block, or two half blocks side by side on paper."""

    blocks: tuple[Block, ...]
    screen_only: bool


@dataclass(frozen=True, slots=True)
class SpanView:
    """What a section says of one span. `note` is empty where the section's own status says the same.

    `label` is empty where the report has one span, which the front page names. Paper shows the first
    `MOST_FINDINGS` findings, the first `MOST_ADVISED` actions and every urgent one; `more_findings` and
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
    """One section of the report; `running` is its title, shortened for the head of its pages."""

    title: str
    running: str
    anchor: str
    question: str
    status: Status
    word: str
    why: str
    spans: tuple[SpanView, ...]
    methods: tuple[tuple[str, ...], ...]


def section_view(
    section: ReportSection, anchor: str, bench: Bench, on_front: frozenset[tuple[str, str]]
) -> SectionView:
    """Return the view of a section; `on_front` holds section and action ids of the front page's advice."""
    parts = [part for part in section.parts if not _status_says_all(part, section) and _adds(part, section)]
    advice = _remaining_advice(section, on_front, bench)
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


def _remaining_advice(
    section: ReportSection, on_front: frozenset[tuple[str, str]], bench: Bench
) -> tuple[ActionLine, ...]:
    """Return the advice that the front page omits or cuts, in full, urgent first."""
    left = [
        action_line(action, bench)
        for action in merged_actions(section)
        if (section.id, action.id) not in on_front or len(_whole_sentence(action.because)) > LONGEST_BECAUSE
    ]
    return tuple(sorted(left, key=lambda line: not line.urgent))


def action_line(
    action: Action, bench: Bench, *, longest: int | None = None, section: str = "", anchor: str = ""
) -> ActionLine:
    """Return the line of an action, its reason in at most `longest` letters."""
    because = _whole_sentence(action.because)
    return ActionLine(
        text=_whole_sentence(action.text),
        because=because if longest is None else sentences(because, longest),
        worth=_worth_in_words(action, bench),
        urgent=action.urgent,
        section=section,
        anchor=anchor,
    )


def _whole_sentence(text: str) -> str:
    """Return a sentence with a capital at its start and a full stop at its end."""
    shown = visible(text).strip()
    return shown[:1].upper() + shown[1:] + ("" if not shown or shown[-1] in ".!?…" else ".")


def _worth_in_words(action: Action, bench: Bench) -> str:
    """Return `worth about $12`, or nothing where the action says no worth."""
    if action.worth is None or action.worth_unit is None:
        return ""
    if action.worth_unit == "money":
        whole = action.worth >= _WHOLE_MONEY
        return f"worth about {bench.show(action.worth, 'money', 0 if whole else None)}"
    if action.worth < _LEAST_BAITS:
        return "worth less than 1 bait"
    return f"worth about {counted(round(action.worth), 'bait')}"


def _halves(lines: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Return the distinct lines in two halves of about equal length, for two columns.

    WeasyPrint takes ten times as long for balanced CSS columns.
    """
    distinct = tuple(dict.fromkeys(lines))
    lengths = [len(line) + _SHORT_OF_A_LINE for line in distinct]
    first = min(
        range(1, len(distinct) + 1), key=lambda at: abs(sum(lengths[:at]) - sum(lengths[at:])), default=0
    )
    return tuple(half for half in (distinct[:first], distinct[first:]) if half)


def _status_says_all(part: SpanSection, section: ReportSection) -> bool:
    """Return whether the section's own status line says all there is of this part."""
    content = part.section
    return _same_status(part, section) and not (content.findings or content.tables or content.figures)


def _adds(part: SpanSection, section: ReportSection) -> bool:
    """Return False for a season's first month if the season to date, the same days, shows all of it."""
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
    content = part.section
    shown_later = _shown_for_the_season(part, section)
    findings_shown = sorted(
        (each for each in content.findings if not each.quiet), key=lambda each: not each.headline
    )
    findings = tuple(_finding_line(finding, bench) for finding in findings_shown)
    printed = [_limit_repeat(table, part, section) for table in content.tables if _is_shown(table)]
    drawn = frozenset(figure.id.partition(":")[0] for figure in content.figures)
    off_paper = frozenset(each.id for each in printed if _left_off_paper(each, shown_later, drawn))
    unprinted = [table for table in content.tables if table.print_rows <= 0 and table.id not in shown_later]
    blocks = [
        Block(
            screen_only=figure.id in shown_later,
            half=_is_half_wide(figure.svg),
            title=figure.title,
            alt=figure.alt,
            source=data_uri(figure.svg),
        )
        for figure in content.figures
    ]
    for table in printed:
        shown = print_table(table, bench)
        blocks.append(Block(screen_only=table.id in off_paper, half=shown.half, table=shown))
    return SpanView(
        label=_label(part, section),
        status=content.status,
        word=STATUS_WORDS[content.status],
        note=content.why if content.status != "ok" and not _same_status(part, section) else "",
        findings=findings,
        more_findings=_more_on_screen(len(findings) - MOST_FINDINGS, "finding"),
        actions=advice,
        more_actions=_more_on_screen(
            sum(not line.urgent for line in advice[MOST_ADVISED:]), "thing", " to do"
        ),
        rows=tuple(_side_by_side(blocks)),
        unsaid=content.unsaid if part is section.parts[-1] or not section.parts[-1].section.unsaid else "",
        nothing=tuple(table.title for table in content.tables if table.print_rows > 0 and not table.rows),
        data_only="; ".join(
            f"{shorten(table.title, _LONGEST_TITLE)} ({counted(len(table.rows), 'row')})"
            for table in unprinted
        ),
        not_on_paper="; ".join(
            shorten(table.title, _LONGEST_TITLE)
            for table in printed
            if table.id in off_paper and table.id not in shown_later
        ),
    )


def _is_shown(table: Table) -> bool:
    return table.print_rows > 0 and len(table.rows) > 0


def _limit_repeat(table: Table, part: SpanSection, section: ReportSection) -> Table:
    """Return the season's table, with no more than `again_rows` on paper after that of an `ok` month."""
    month = section.parts[0]
    if part is month or table.again_rows is None or month.section.status != "ok":
        return table
    if not _adds(month, section) or not any(
        _is_shown(each) for each in month.section.tables if each.id == table.id
    ):
        return table
    rows = [rows for rows in (table.paper_rows, table.again_rows) if rows is not None]
    return replace(table, paper_rows=min(rows))


def _more_on_screen(number: int, one: str, rest: str = "") -> str:
    return f"And {counted(number, f'more {one}')}{rest} in season-report.html." if number > 0 else ""


def _side_by_side(blocks: Sequence[Block]) -> Iterator[BlockRow]:
    """Yield the blocks in their order, except that a half block takes the next half block beside it."""
    left = list(blocks)
    while left:
        block = left.pop(0)
        beside = [other for other in left if other.half and other.screen_only == block.screen_only]
        row = (block, beside[0]) if block.half and beside else (block,)
        left = [other for other in left if not any(other is each for each in row)]
        yield BlockRow(blocks=row, screen_only=block.screen_only)


def _label(part: SpanSection, section: ReportSection) -> str:
    """Return the days of a part, `May 2026`; nothing where the report has no other days."""
    spans = [each.span for each in section.parts]
    if len(spans) == 1:
        return ""
    same = all((span.start, span.end) == (part.span.start, part.span.end) for span in spans)
    return f"{span_title(spans[0])}, the season so far" if same else span_title(part.span)


def _shown_for_the_season(part: SpanSection, section: ReportSection) -> frozenset[str]:
    """Return ids of the month's figures and tables that paper omits: the season to date shows them too."""
    season = section.parts[-1]
    if part is season or season.section.status != "ok":
        return frozenset()
    later = season.section
    return frozenset([figure.id for figure in later.figures] + [table.id for table in later.tables])


def _left_off_paper(table: Table, shown_later: frozenset[str], drawn: frozenset[str]) -> bool:
    """Return whether the season's table, or a plot of the same numbers, replaces this table on paper."""
    if table.paper_rows == 0:
        return True
    if table.id in shown_later:
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
    redundant = not interval or low == high or _states_limits(finding, bench)
    return FindingLine(
        text=finding.text,
        level="" if redundant else f"{100 * finding.level:.4g} % interval",
        interval="" if redundant else interval,
        count=f"n = {finding.n}" if finding.n is not None else "",
    )


def _states_limits(finding: Finding, bench: Bench) -> bool:
    """Return whether the sentence states the limits, with the digits of the interval or the usual ones."""
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
    phrases = [
        words
        for low, high in pairs
        for words in (_interval(low, high), f"{low} to {high}", f"between {low} and {high}")
    ]
    return any(words in finding.text for words in phrases)


def _digits(finding: Finding) -> int | None:
    """Return the decimals of an interval: two significant digits of its width.

    None for units that the bench converts and for those with fixed decimals; money has no cents where
    the limits are `_WIDE_MONEY` apart.
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
    """Return `340 to 367 °F`, or `340 °F or more`."""
    if not (low and high):
        return f"{low} or more" if low else f"up to {high}" if high else ""
    return one_to_other(low, high)


def data_uri(svg: str) -> str:
    """Return an SVG as the source of an image that needs no file."""
    packed = base64.b64encode(svg.encode("utf-8", "replace")).decode("ascii")
    return f"data:image/svg+xml;base64,{packed}"


def _is_half_wide(svg: str) -> bool:
    """Return whether a plot is at most `HALF_MM` wide, so that two fit side by side."""
    width = _WIDTH_PT.match(svg)
    return width is not None and float(width[1]) <= (HALF_MM + 0.5) / 25.4 * 72
