"""The front page's numbers, month by month: calls each analysis' `vitals`, each in its own guard."""

import math
import traceback
from collections.abc import Callable, Sequence
from functools import partial

from benchwater.analyse.report import MonthVital, VitalSeries
from benchwater.analyse.run import within
from benchwater.analyse.spans import month_after
from benchwater.plugin.hooks import Analysis
from benchwater.plugin.season import Season, Span
from benchwater.plugin.section import Vital
from benchwater.plugin_host.loaded import LoadedPlugin, PluginProblem
from benchwater.supervisor import plugin_call
from benchwater.text import error_text

LONGEST_VITALS_S = 60.0


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
            with plugin_call(f"The vitals of {analysis.id} of {plugin.where}", LONGEST_VITALS_S):
                series += within(LONGEST_VITALS_S, partial(_series, analysis, season, whole, months))
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
