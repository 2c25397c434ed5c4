"""The sections of a report as the HTML shows them: findings, advice, plots and tables of each span."""

import base64
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from benchwater.analyse.report import Report, ReportSection, SpanSection
from benchwater.analyse.run import merged_actions, section_photos
from benchwater.plots import HALF_MM
from benchwater.plugin.bench import Bench
from benchwater.plugin.season import Span
from benchwater.plugin.section import Action, Figure, Finding, Status, Table
from benchwater.render.front import LONGEST_BECAUSE, front_advice
from benchwater.render.tables import PrintedTable, print_table, show_number
from benchwater.render.text import sentences, span_title
from benchwater.units import figures
from benchwater.words import counted, one_to_other, shorten, visible

_FIXED = frozenset(("1", "p", "degC", "delta_degC", "g", "mL", "mm"))
_SHORT_UNIT = 5
_LONGEST_TITLE = 70
MOST_SAID = 100
_WHOLE_MONEY, _WIDE_MONEY, _LEAST_BAITS = 10.0, 2.0, 0.75
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
    """A plot as an embedded image, or a table. A `half` block leaves room for another beside it."""

    half: bool
    title: str = ""
    alt: str = ""
    source: str = ""
    table: PrintedTable | None = None


BlockRow: TypeAlias = tuple[Block, ...]
"""One block, or two half blocks side by side."""


@dataclass(frozen=True, slots=True)
class PhotoBlock:
    """A picture of the maker's; `source` is a data URI, empty where the picture is broken."""

    caption: str
    source: str


@dataclass(frozen=True, slots=True)
class SpanView:
    """What a section says of one span. `note` is empty where the section's own status says the same.

    `label` is empty where the report has one span, which the front page names.
    """

    label: str
    status: Status
    word: str
    note: str
    findings: tuple[FindingLine, ...]
    actions: tuple[ActionLine, ...]
    rows: tuple[BlockRow, ...]
    unsaid: str
    nothing: tuple[str, ...]
    data_only: str


@dataclass(frozen=True, slots=True)
class SectionView:
    """One section of the HTML; `answer` stands where it is folded."""

    title: str
    anchor: str
    question: str
    answer: str
    status: Status
    word: str
    why: str
    spans: tuple[SpanView, ...]
    photos: tuple[PhotoBlock, ...]


def section_views(report: Report) -> tuple[SectionView, ...]:
    """Return the sections as the HTML shows them."""
    anchors = section_anchors(report.sections)
    return tuple(
        SectionView(
            title=section.title,
            anchor=anchors[section.id],
            question=section.question,
            answer=first_words(section)[0],
            status=section.status,
            word=STATUS_WORDS[section.status],
            why=section.why if section.status != "ok" else "",
            spans=tuple(_span_views(section, report)),
            photos=photo_blocks(section, report),
        )
        for section in report.sections
    )


def _span_views(section: ReportSection, report: Report) -> Iterator[SpanView]:
    parts = shown_parts(section)
    advice = remaining_advice(section, report)
    for part in parts:
        lines = advice if part is parts[-1] else ()
        yield _span_view(part, section, report.bench, lines, told_findings(part, parts))


def section_anchors(sections: Sequence[ReportSection]) -> dict[str, str]:
    """Return the fragment identifier of each section, by the section's id."""
    taken: dict[str, str] = {}
    for number, section in enumerate(sections, start=1):
        name = "section-" + (re.sub("[^a-z0-9]+", "-", section.id.lower()).strip("-") or str(number))
        taken[section.id] = name if name not in taken.values() else f"{name}-{number}"
    return taken


def first_words(section: ReportSection) -> tuple[str, Span | None]:
    """Return what to say first of a section, and the span it is of; None where it is of the days after it.

    It is the headline, else the first finding of an `ok` part, else of any, else why there is none.
    """
    if section.status in ("empty", "failed"):
        return section.why, None
    for part in section.parts:
        for finding in part.section.findings:
            if finding.headline:
                return finding.text, None if finding.ahead else part.span
    with_findings = [part for part in section.parts if part.section.findings]
    sure = [part for part in with_findings if part.section.status == "ok"]
    for part in sure or with_findings:
        return part.section.findings[0].text, part.span
    return section.why, None


def section_methods(section: ReportSection) -> tuple[str, ...]:
    """Return how a section's numbers were made, each method once."""
    return tuple(dict.fromkeys(line for part in section.parts for line in part.section.methods))


def shown_parts(section: ReportSection) -> list[SpanSection]:
    """Return the parts that say something which neither the section's status nor the season says."""
    return [part for part in section.parts if not _status_says_all(part, section) and _adds(part, section)]


def told_findings(part: SpanSection, parts: Sequence[SpanSection]) -> list[Finding]:
    """Return the findings that a part tells and no earlier part does word for word, the headline first."""
    earlier = parts[: parts.index(part)]
    said = {finding.text for each in earlier for finding in each.section.findings if not finding.quiet}
    told = [each for each in part.section.findings if not each.quiet and each.text not in said]
    return sorted(told, key=lambda finding: not finding.headline)


def counted_kinds(left: Mapping[str, int], more: str = "") -> list[str]:
    """Return `2 findings`, `1 table` for how many of each kind are left out, none for kinds without any."""
    return [
        counted(number, more + one, f"{more}things to do" if one == "thing to do" else "")
        for one, number in left.items()
        if number > 0
    ]


def remaining_advice(section: ReportSection, report: Report) -> tuple[ActionLine, ...]:
    """Return the advice that the front page omits or cuts, in full, urgent first."""
    front = front_advice(report)
    on_front = {
        ranked.action.id for ranked in (*front.to_do, *front.holds) if ranked.section_id == section.id
    }
    left = [
        action_line(action, report.bench)
        for action in merged_actions(section)
        if action.id not in on_front or len(_whole_sentence(action.because)) > LONGEST_BECAUSE
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
    part: SpanSection,
    section: ReportSection,
    bench: Bench,
    advice: tuple[ActionLine, ...],
    told: Sequence[Finding],
) -> SpanView:
    content = part.section
    left = {"finding": len(told) - MOST_SAID, "thing to do": len(advice) - MOST_SAID}
    in_data = counted_kinds(left, "more ")
    in_data += [
        f"{shorten(table.title, _LONGEST_TITLE)} ({counted(len(table.rows), 'row')})"
        for table in content.tables
        if table.print_rows <= 0
    ]
    blocks = [figure_block(figure) for figure in content.figures]
    blocks += [table_block(table, bench) for table in content.tables if is_shown(table)]
    return SpanView(
        label=span_label(part, section),
        status=content.status,
        word=STATUS_WORDS[content.status],
        note=own_status(part, section),
        findings=tuple(_finding_line(finding, bench) for finding in told[:MOST_SAID]),
        actions=advice[:MOST_SAID],
        rows=tuple(side_by_side(blocks)),
        unsaid=content.unsaid if part is section.parts[-1] or not section.parts[-1].section.unsaid else "",
        nothing=tuple(table.title for table in content.tables if table.print_rows > 0 and not table.rows),
        data_only="; ".join(in_data),
    )


def is_shown(table: Table) -> bool:
    """Return whether the HTML has the table."""
    return table.print_rows > 0 and len(table.rows) > 0


def own_status(part: SpanSection, section: ReportSection) -> str:
    """Return why a part is not `ok`, unless the section's own status says the same."""
    same = _same_status(part, section)
    return part.section.why if part.section.status != "ok" and not same else ""


def figure_block(figure: Figure) -> Block:
    """Return a plot as a block of the page."""
    half, source = _is_half_wide(figure.svg), data_uri(figure.svg)
    return Block(half=half, title=figure.title, alt=figure.alt, source=source)


def photo_blocks(section: ReportSection, report: Report) -> tuple[PhotoBlock, ...]:
    """Return the pictures of a section."""
    blocks = []
    for photo in section_photos(section):
        content = report.photos.get(photo.file)
        source = "" if content is None else f"data:image/jpeg;base64,{base64.b64encode(content).decode()}"
        blocks.append(PhotoBlock(caption=photo.caption, source=source))
    return tuple(blocks)


def table_block(table: Table, bench: Bench, most_rows: int | None = None) -> Block:
    """Return a table as a block of the page, on paper with no more than `most_rows`."""
    shown = print_table(table, bench, most_rows)
    return Block(half=shown.half, table=shown)


def side_by_side(blocks: Sequence[Block]) -> Iterator[BlockRow]:
    """Yield the blocks in their order, except that a half block takes the next half block beside it."""
    left = list(blocks)
    while left:
        block = left.pop(0)
        beside = next((index for index, other in enumerate(left) if block.half and other.half), None)
        yield (block,) if beside is None else (block, left.pop(beside))


def span_label(part: SpanSection, section: ReportSection) -> str:
    """Return the days of a part, `May 2026`; nothing where the report has no other days."""
    spans = [each.span for each in section.parts]
    if len(spans) == 1:
        return ""
    same = all((span.start, span.end) == (part.span.start, part.span.end) for span in spans)
    return f"{span_title(spans[0])}, the season so far" if same else span_title(part.span)


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
