"""The front page: every word the template places."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from benchwater.analyse.report import Report, ReportSection, VitalSeries
from benchwater.drawing.picture import sparkline
from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Status
from benchwater.render.sections import (
    LONGEST_BECAUSE,
    STATUS_WORDS,
    ActionLine,
    action_line,
    data_uri,
    first_words,
    section_anchors,
)
from benchwater.render.text import month_name, sentences, span_title
from benchwater.units import figures
from benchwater.words import counted, shorten, visible

MOST_VITALS = 10
MOST_ACTIONS = 7
_LONGEST_GLANCE = 92
_LONGEST_UNSAID = 130
_MOST_UNSAID = 3
_LONGEST_RUNNING = 36
_MOST_QUESTIONS = 3


@dataclass(frozen=True, slots=True)
class VitalView:
    """One number of the front page: its value, its change, and its months as a small plot.

    `source` is empty in a season's first month; `good` is `better`, `worse` or empty.
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
    """One section in one line of the front page."""

    title: str
    anchor: str
    status: Status
    word: str
    text: str


@dataclass(frozen=True, slots=True)
class Page:
    """The front page, and what heads every page."""

    title: str
    period: str
    season: str
    running: str
    vitals: tuple[VitalView, ...]
    vitals_note: str
    actions: tuple[ActionLine, ...]
    glance: tuple[GlanceLine, ...]
    unsaid: tuple[GlanceLine, ...]
    more_unsaid: str
    rests_on: str


def compose(report: Report) -> Page:
    """Return the page of a report."""
    anchors = section_anchors(report.sections)
    to_do = [ranked for ranked in report.actions if ranked.state in ("new", "open")][:MOST_ACTIONS]
    unsaid = tuple(_unsaid(report, anchors))
    bench = shorten(visible(report.bench.name), _LONGEST_RUNNING)
    return Page(
        title=f"Season report, {bench}, {report.label}",
        period=span_title(report.period),
        season=span_title(report.season) if report.season != report.period else "",
        running=f"{bench} · {span_title(report.period)}",
        vitals=tuple(_vital_view(series, report) for series in report.vitals[:MOST_VITALS]),
        vitals_note=_vitals_note(report),
        actions=tuple(
            action_line(
                ranked.action,
                report.bench,
                longest=LONGEST_BECAUSE,
                section=ranked.section_title,
                anchor=anchors.get(ranked.section_id, ""),
            )
            for ranked in to_do
        ),
        glance=tuple(_glance_line(section, anchors[section.id]) for section in report.sections),
        unsaid=unsaid[:_MOST_UNSAID],
        more_unsaid=f"{counted(len(unsaid) - _MOST_UNSAID, 'more section')} likewise."
        if len(unsaid) > _MOST_UNSAID
        else "",
        rests_on=_rests_on(report),
    )


def _vital_view(series: VitalSeries, report: Report) -> VitalView:
    """Return the value of the period, or of the season in a season report, and its change by month."""
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
    by_month = [
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
        alt=f"{series.label.capitalize()} by month: {', '.join(by_month)}.",
        source=data_uri(sparkline([each.value for each in series.months], flowing, series.unit == "1"))
        if before is not None
        else "",
    )


def _vital_number(value: float | None, unit: str | None, bench: Bench) -> str:
    """Return a short number: two significant digits of a rate, money from 100 on without cents."""
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
    """Yield what the logs leave open and what would close it, thin sections first."""
    yield from _open_sections(report, anchors)
    for section in report.sections:
        part = section.parts[-1]
        if part.section.unsaid:
            yield GlanceLine(
                title=section.title,
                anchor=anchors[section.id],
                status=part.section.status,
                word="",
                text=sentences(visible(part.section.unsaid), _LONGEST_UNSAID),
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
            text="" if section.status == "empty" else sentences(visible(part.section.why), _LONGEST_UNSAID),
        )


def _glance_line(section: ReportSection, anchor: str) -> GlanceLine:
    return GlanceLine(
        title=section.title,
        anchor=anchor,
        status=section.status,
        word=STATUS_WORDS[section.status],
        text=sentences(visible(first_words(section)), _LONGEST_GLANCE),
    )


def _rests_on(report: Report) -> str:
    rows = sum(source.rows for source in report.sources)
    used = sum(source.used for source in report.sources)
    repeated = sum(source.repeated for source in report.sources)
    set_aside = sum(source.set_aside for source in report.sources)
    if not report.sources:
        return "No log was read."
    sentence = f"{used} of {counted(rows, 'row')} from {counted(len(report.sources), 'file')} used"
    sentence += f", {repeated} repeated elsewhere" if repeated else ""
    sentence += f", {set_aside} set aside"
    cells = len(report.cells_set_aside)
    sentence += f", and {counted(cells, 'cell')}." if cells else "."
    if report.not_read:
        sentence += f" {counted(len(report.not_read), 'file was', 'files were')} not read."
    questions = [f"{each.file} {each.why}." for each in report.not_read[:1]]
    questions += [each.question for each in report.unread_columns if each.may_be]
    shown = questions if len(questions) <= _MOST_QUESTIONS else questions[: _MOST_QUESTIONS - 1]
    more = len(questions) - len(shown)
    ending = f"`benchwater check` asks about {counted(more, 'more column')}." if more else ""
    return " ".join(filter(None, [sentence, *shown, ending]))
