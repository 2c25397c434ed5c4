"""The front page: every word the template places."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta

from benchwater.analyse.report import RankedAction, Report, ReportSection, VitalSeries
from benchwater.drawing.picture import sparkline
from benchwater.plugin.bench import Bench
from benchwater.plugin.section import Status
from benchwater.render.front import (
    LONGEST_BECAUSE,
    LONGEST_KEPT,
    ToWrite,
    Unread,
    front_advice,
    is_first,
    next_to_write,
    shows_something,
    unread,
)
from benchwater.render.sections import (
    STATUS_WORDS,
    ActionLine,
    action_line,
    data_uri,
    first_words,
    section_anchors,
)
from benchwater.render.text import month_name, months_in_words, sentences, span_title
from benchwater.units import figures
from benchwater.words import counted, shorten, visible

MOST_VITALS = 10
_LONGEST_GLANCE = 84
_LONGEST_UNSAID = 75
_LONGEST_MONTH = 6
_MOST_UNSAID = 2
_LONGEST_RUNNING = 36


@dataclass(frozen=True, slots=True)
class VitalView:
    """One number of the front page, its change, and its months as a small plot; `span` if not the report's.

    `source` is empty in a season's first month; `good` is `better`, `worse` or empty.
    """

    label: str
    span: str
    value: str
    change: str
    good: str
    season: str
    alt: str
    source: str


@dataclass(frozen=True, slots=True)
class FrontAction:
    """An action of the front page, and since when it stands, in words."""

    line: ActionLine
    since: str
    is_new: bool


@dataclass(frozen=True, slots=True)
class GlanceLine:
    """One section in one line of the front page; `span` names the days of `text` if not the report's."""

    span: str
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
    vitals_of: str
    unread: Unread
    recent: str
    to_do: tuple[FrontAction, ...]
    more_to_do: str
    nothing_to_do: str
    holds: tuple[FrontAction, ...]
    mended: tuple[FrontAction, ...]
    before: str
    is_first: bool
    to_write: tuple[ToWrite, ...]
    glance: tuple[GlanceLine, ...]
    unsaid: tuple[GlanceLine, ...]
    more_unsaid: str
    rests_on: str


def compose(report: Report) -> Page:
    """Return the page of a report."""
    anchors = section_anchors(report.sections)
    advice, first = front_advice(report), is_first(report)
    unsaid = tuple(_unsaid(report, anchors))
    bench = shorten(visible(report.bench.name), _LONGEST_RUNNING)
    vitals = tuple(
        _vital_view(series, report) for series in report.vitals if series.season.value is not None
    )[:MOST_VITALS]
    recent = next((ranked.span for ranked in report.actions if ranked.state != "mended"), None)
    return Page(
        title=f"Season report, {bench}, {report.label}",
        period=span_title(report.period),
        season=span_title(report.season) if report.season != report.period else "",
        running=f"{bench} · {span_title(report.period)}",
        vitals=vitals,
        vitals_of="season to date" if report.period.name == "season" else month_name(report.period.start),
        unread=unread(report),
        recent=months_in_words(recent) if recent is not None else "",
        to_do=tuple(_front_action(ranked, report, anchors) for ranked in advice.to_do),
        more_to_do=f"{counted(advice.left, 'more thing')} to do: see the sections." if advice.left else "",
        nothing_to_do=_nothing_to_do(report),
        holds=tuple(_front_action(ranked, report, anchors) for ranked in advice.holds),
        mended=tuple(_front_action(ranked, report, anchors) for ranked in advice.mended),
        before=month_name(advice.mended[0].span.end - timedelta(days=1)) if advice.mended else "",
        is_first=first,
        to_write=next_to_write(report) if first else (),
        glance=tuple(
            _glance_line(section, anchors[section.id])
            for section in report.sections
            if (shows_something(section) if first else section.status != "empty")
        ),
        unsaid=unsaid[:_MOST_UNSAID],
        more_unsaid=f"{counted(len(unsaid) - _MOST_UNSAID, 'more section')} likewise."
        if len(unsaid) > _MOST_UNSAID
        else "",
        rests_on=_rests_on(report),
    )


def _front_action(ranked: RankedAction, report: Report, anchors: dict[str, str]) -> FrontAction:
    line = action_line(
        ranked.action,
        report.bench,
        longest=LONGEST_BECAUSE,
        section=ranked.section_title,
        anchor=anchors.get(ranked.section_id, ""),
    )
    if ranked.state in ("holds", "mended"):
        line = replace(line, text=sentences(line.text, LONGEST_KEPT))
    month = month_name(ranked.since) + (" or before" if ranked.or_earlier else "")
    since = {"new": "new", "open": f"open since {month}", "holds": f"since {month}"}
    return FrontAction(
        line=line,
        since=since.get(ranked.state, f"on the list since {month}"),
        is_new=ranked.state == "new",
    )


def _nothing_to_do(report: Report) -> str:
    if report.not_read or report.set_aside:
        return "Nothing from what could be read: mend what stands above first."
    if any(section.status == "ok" for section in report.sections) and not is_first(report):
        return "The logs call for nothing in particular this time."
    return "The logs hold too little yet to advise anything."


def _vital_view(series: VitalSeries, report: Report) -> VitalView:
    """Return the value of the period, or of the season in a season report, and its change by month."""
    whole = report.period.name == "season"
    now, earlier = series.months[-1], series.months[:-1]
    before = earlier[-1] if any(month.value is not None for month in earlier) else None
    shown = _vital_number(series.season.value if whole else now.value, series.unit, report.bench)
    change, good = "", ""
    if whole:
        last = _vital_number(now.value, series.unit, report.bench)
        change = "" if last == shown else f"{month_name(now.span.start)}: {last}"
        change = f"nothing logged in {month_name(now.span.start)}" if now.value is None else change
    elif before is None:
        change = ""
    elif before.value is None or now.value is None:
        empty = before if before.value is None else now
        change = f"nothing logged in {month_name(empty.span.start)}"
    else:
        was, month = _vital_number(before.value, series.unit, report.bench), month_name(before.span.start)
        month = month if len(month) <= _LONGEST_MONTH else month[:3]
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
    to_date = whole or (before is not None and bool(before.value) and series.season.value == now.value)
    return VitalView(
        label=series.label,
        span="to date" if to_date and not whole and "to date" not in series.label else "",
        value=shown,
        change=change,
        good=good,
        season="" if to_date or season == shown else f"{season} this season",
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


def _unsaid(report: Report, anchors: dict[str, str]) -> Iterator[GlanceLine]:
    """Yield what the logs leave open and what would close it, thin sections first."""
    yield from _open_sections(report, anchors)
    for section in report.sections:
        part = section.parts[-1]
        if part.section.unsaid:
            yield GlanceLine(
                span="",
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
            span="",
            title=section.title + when,
            anchor=anchors[section.id],
            status=part.section.status,
            word=STATUS_WORDS[part.section.status],
            text=sentences(visible(part.section.why), _LONGEST_UNSAID),
        )


def _glance_line(section: ReportSection, anchor: str) -> GlanceLine:
    text, span = first_words(section)
    of_season = span is not None and span.name == "season" and len(section.parts) > 1
    return GlanceLine(
        span="season" if of_season else "",
        title=section.title,
        anchor=anchor,
        status=section.status,
        word=STATUS_WORDS[section.status],
        text=sentences(visible(text), _LONGEST_GLANCE - 13 * of_season),
    )


def _rests_on(report: Report) -> str:
    if not report.sources:
        return "No log was read."
    rows = sum(source.rows for source in report.sources)
    used = sum(source.used for source in report.sources)
    repeated = sum(source.repeated for source in report.sources)
    sentence = f"{used} of {counted(rows, 'row')} from {counted(len(report.sources), 'file')} used"
    sentence += f", {repeated} repeated elsewhere" if repeated else ""
    return f"{sentence}, {sum(source.set_aside for source in report.sources)} set aside."
