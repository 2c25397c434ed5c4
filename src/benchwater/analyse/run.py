"""Call the analyses one by one, each in its own guard: for sections, and for the front page's numbers."""

import math
import threading
import traceback
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from benchwater.analyse.report import MonthVital, ReportSection, SpanSection, VitalSeries
from benchwater.analyse.spans import month_after
from benchwater.plugin.hooks import Analysis
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import MOST_PHOTOS, Action, Photo, Section, Status, Vital
from benchwater.plugin.section_check import section_faults
from benchwater.plugin_host.loaded import LoadedPlugin, PluginProblem, line_of
from benchwater.supervisor import plugin_call
from benchwater.text import error_text, near_names

_Result = TypeVar("_Result")
LONGEST_ANALYSIS_S = 120.0


@dataclass(frozen=True, slots=True)
class Unread:
    """How many rows of each log are set aside, and how many files were refused whole."""

    set_aside: Mapping[str, int]
    files: int


NOTHING_UNREAD = Unread({}, 0)


def run_analyses(
    analyses: Sequence[tuple[Analysis, LoadedPlugin]],
    season: Season,
    spans: Sequence[Span],
    *,
    unread: Unread = NOTHING_UNREAD,
    progress: Callable[[str], None] = lambda title: None,
    on_failure: Callable[[str, str], None] = lambda analysis, trace: None,
) -> tuple[ReportSection, ...]:
    """Return one section for each analysis, in the order given.

    `unread` is what could not be read: a section without rows says so. `on_failure` receives the id and the
    traceback of each that raises.
    """
    sections = []
    for analysis, plugin in analyses:
        progress(analysis.title)
        parts = tuple(
            SpanSection(span=span, section=_guarded(analysis, plugin, season, span, unread, on_failure))
            for span in (spans[-1:] if analysis.season_only else spans)
        )
        status, why = _overall(parts)
        sections.append(
            ReportSection(
                id=analysis.id,
                title=analysis.title,
                question=analysis.question,
                status=status,
                why=why,
                parts=parts,
                origin=f"{plugin.origin}: {plugin.where}",
            )
        )
    return tuple(sections)


def split_analyses(
    analyses: Sequence[tuple[Analysis, LoadedPlugin]], season: Season
) -> tuple[list[tuple[Analysis, LoadedPlugin]], tuple[PluginProblem, ...]]:
    """Return the analyses, those that split as their parts; and those whose split failed."""
    parts: list[tuple[Analysis, LoadedPlugin]] = []
    broken: list[PluginProblem] = []
    for analysis, plugin in analyses:
        if analysis.split is None:
            parts.append((analysis, plugin))
            continue
        try:
            what = f"The split of {analysis.id} of {plugin.where}"
            found = list(_limited(what, partial(analysis.split, season)))
            wrong = [each for each in found if each.id.partition(":")[0] != analysis.id]
            if wrong:
                raise ValueError(f"`{wrong[0].id}` does not begin with `{analysis.id}:`")
            parts += [(each, plugin) for each in found]
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            why = f"broke while it split {analysis.id}: {error_text(error)}"
            broken.append(PluginProblem(origin=plugin.origin, name=plugin.name, why=why))
    return parts, tuple(broken)


def section_photos(section: ReportSection) -> tuple[Photo, ...]:
    """Return the pictures that a section shows, each once: the period's first, at most `MOST_PHOTOS`."""
    photos = {photo.file: photo for part in reversed(section.parts) for photo in part.section.photos}
    first = {photo.file: photo for part in section.parts for photo in part.section.photos}
    return tuple((first | photos).values())[:MOST_PHOTOS]


def shown_photos(sections: Sequence[ReportSection]) -> dict[str, None]:
    """Return the files of all pictures that the sections show, in order."""
    return {photo.file: None for section in sections for photo in section_photos(section)}


def merged_actions(section: ReportSection) -> tuple[Action, ...]:
    """Return a section's actions, each id once: the season's wording replaces the period's."""
    by_id: dict[str, Action] = {}
    for part in section.parts:
        by_id.update({action.id: action for action in part.section.actions})
    return tuple(by_id.values())


def _guarded(
    analysis: Analysis,
    plugin: LoadedPlugin,
    season: Season,
    span: Span,
    unread: Unread,
    on_failure: Callable[[str, str], None],
) -> Section:
    missing = [kind for kind in analysis.needs if not season.holds(kind)]
    if missing:
        return Section.empty(_why_missing(missing, unread))
    try:
        what = f"The analysis {analysis.id} of {plugin.where}"
        section = _limited(what, partial(analysis.analyse, season, span))
        faults = _faults(section)
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        on_failure(analysis.id, traceback.format_exc())
        why = f"This analysis broke: {error_text(error)}{_meant(error, season)}{_where(error, plugin)}"
        return Section(status="failed", why=why)
    if faults:
        on_failure(analysis.id, "\n".join(faults))
        more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
        return Section(
            status="failed", why=f"This analysis broke the contract: {faults[0]}{more} ({plugin.where})"
        )
    return section


def _why_missing(missing: Sequence[str], unread: Unread) -> str:
    """Return why a log has no rows: nothing is there yet only where nothing was set aside or refused."""
    refused = [kind for kind in missing if unread.set_aside.get(kind)]
    if refused:
        rows = sum(unread.set_aside[kind] for kind in refused)
        logs = " and ".join(f"the {kind} log" for kind in refused)
        return f"No row of {logs} could be read so far, and {rows} {'is' if rows == 1 else 'are'} set aside."
    logs = " or ".join(f"the {kind} log" for kind in missing)
    if unread.files:
        files = "1 file was" if unread.files == 1 else f"{unread.files} files were"
        return f"No file was understood as {logs}, and {files} not read."
    return f"There is nothing yet in {logs}."


def _faults(section: object) -> list[str]:
    if not isinstance(section, Section):
        return [f"`analyse` must return a Section, not {type(section).__name__}"]
    return list(section_faults(section))


def _overall(parts: Sequence[SpanSection]) -> tuple[Status, str]:
    order: tuple[Status, ...] = ("failed", "ok", "thin", "empty")
    status = next(status for status in order if any(part.section.status == status for part in parts))
    why = next((part.section.why for part in reversed(parts) if part.section.status == status), "")
    return status, why


def _meant(error: BaseException, season: Season) -> str:
    """Return the column of a log that a missing key may stand for."""
    key = error.args[0] if isinstance(error, KeyError) and error.args else None
    near = near_names(key, season.columns) if isinstance(key, str) else ()
    return f" (did you mean the column `{near[0]}`?)" if near else ""


def _where(error: BaseException, plugin: LoadedPlugin) -> str:
    found = line_of(error, plugin.path)
    if found is None:
        return ""
    module, line = found
    return f" ({'/'.join(filter(None, (plugin.where, module)))}, line {line})"


def _limited(what: str, work: Callable[[], _Result]) -> _Result:
    """Do the work of a plugin within the time that a call has; the supervisor kills what cannot be left."""
    with plugin_call(what, LONGEST_ANALYSIS_S):
        return within(LONGEST_ANALYSIS_S, work)


class TookTooLongError(RuntimeError):
    """An analysis did not return in time."""


def within(seconds: float, work: Callable[[], _Result]) -> _Result:
    """Return what `work` returns, or raise what it raises; TookTooLongError if it takes longer.

    It runs in a daemon thread. A thread cannot be stopped: one that hangs ends with the process.
    """
    results: list[_Result] = []
    raised: list[BaseException] = []

    def run() -> None:
        try:
            results.append(work())
        except KeyboardInterrupt:  # no Ctrl-C: those reach the main thread alone
            raised.append(RuntimeError("it raised KeyboardInterrupt"))
        except BaseException as error:
            raised.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    if thread.is_alive():
        raise TookTooLongError(f"it was not done after {seconds:g} seconds")
    if raised:
        raise raised[0]
    return results[0]


def run_vitals(
    analyses: Sequence[tuple[Analysis, LoadedPlugin]],
    season: Season,
    whole: Span,
    *,
    on_failure: Callable[[str, str], None] = lambda analysis, trace: None,
) -> tuple[tuple[VitalSeries, ...], tuple[PluginProblem, ...]]:
    """Return the vitals of the season and its months, in the order of the analyses, and what failed.

    An analysis without rows in the logs it needs is not called.
    """
    months = months_of(whole)
    series: list[VitalSeries] = []
    broken: list[PluginProblem] = []
    for analysis, plugin in analyses:
        if analysis.vitals is None or not all(season.holds(kind) for kind in analysis.needs):
            continue
        try:
            what = f"The vitals of {analysis.id} of {plugin.where}"
            series += _limited(what, partial(_series, analysis, season, whole, months))
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            on_failure(analysis.id, traceback.format_exc())
            why = f"broke while it made the vitals of {analysis.id}: {error_text(error)}"
            broken.append(PluginProblem(origin=plugin.origin, name=plugin.name, why=why))
    return tuple(series), tuple(broken)


def months_of(whole: Span) -> tuple[Span, ...]:
    """Return the calendar months of a season, the first and the last cut at its ends."""
    months = []
    start = whole.start
    while start < whole.end:
        end = min(month_after(start), whole.end)
        months.append(Span(name="period", label=f"{start:%Y-%m}", start=start, end=end))
        start = end
    return tuple(months)


def _series(
    analysis: Analysis, season: Season, whole: Span, months: Sequence[Span]
) -> tuple[VitalSeries, ...]:
    assert analysis.vitals is not None
    in_all = [_checked(vital) for vital in analysis.vitals(season, whole)]
    by_month = [[_checked(vital) for vital in analysis.vitals(season, month)] for month in months]
    wanted = [vital.id for vital in in_all]
    if len(set(wanted)) < len(wanted):
        raise ValueError(f"the same id twice: {', '.join(wanted)}")
    for month, vitals in zip(months, by_month, strict=True):
        if [vital.id for vital in vitals] != wanted:
            raise ValueError(f"{month.label} has other vitals than the season, or in another order")
    return tuple(
        VitalSeries(
            id=vital.id,
            label=vital.label,
            unit=vital.unit,
            better=vital.better,
            section_id=analysis.id,
            months=tuple(
                MonthVital(span=month, value=vitals[place].value, n=vitals[place].n)
                for month, vitals in zip(months, by_month, strict=True)
            ),
            season=MonthVital(span=whole, value=vital.value, n=vital.n),
        )
        for place, vital in enumerate(in_all)
    )


def _checked(vital: object) -> Vital:
    if not isinstance(vital, Vital):
        raise TypeError(f"`vitals` must give Vital, not {type(vital).__name__}")
    if vital.value is not None and not math.isfinite(vital.value):
        raise ValueError(f"vital {vital.id!r} is not a number: leave it None when it is not known")
    return vital
