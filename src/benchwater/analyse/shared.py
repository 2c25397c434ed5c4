"""All that is asked of the analyses for one report, shared out with a second process."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from benchwater.analyse.report import ReportSection, VitalSeries
from benchwater.analyse.run import run_analyses
from benchwater.analyse.vitals import run_vitals
from benchwater.aside.sharing import share_out
from benchwater.plugin.hooks import Analysis
from benchwater.plugin.season import Season, Span
from benchwater.plugin_host.loaded import LoadedPlugin, PluginProblem


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysed:
    """What the analyses gave: sections and vitals in their order, and plugins that broke over vitals."""

    sections: tuple[ReportSection, ...]
    vitals: tuple[VitalSeries, ...]
    problems: tuple[PluginProblem, ...]


def run_shared(
    analyses: Sequence[tuple[Analysis, LoadedPlugin]],
    season: Season,
    spans: Sequence[Span],
    whole: Span,
    *,
    progress: Callable[[str], None] = lambda title: None,
    on_failure: Callable[[str, str], None] = lambda analysis, trace: None,
) -> Analysed:
    """The section of each analysis, a part for each of `spans`, and its vitals of `whole`, a season.

    Analyses that ship may be worked out in a second process. Those of other plugins are all run in this one,
    one after the other, whatever they keep in memory. `progress` hears the titles of those run here,
    `on_failure` the id and traceback of each one that broke.
    """
    made = share_out(
        [partial(_one, pair, season, spans, whole) for pair in analyses],
        only_here=[number for number, (_, plugin) in enumerate(analyses) if plugin.origin != "shipped"],
        begin=lambda number: progress(analyses[number][0].title),
        ahead=_import,
    )
    for _, failures in made:
        for analysis, trace in failures:
            on_failure(analysis, trace)
    return Analysed(
        sections=tuple(section for one, _ in made for section in one.sections),
        vitals=tuple(series for one, _ in made for series in one.vitals),
        problems=tuple(problem for one, _ in made for problem in one.problems),
    )


def _import() -> None:
    """What most analyses import when called, so that two processes need not."""
    import scipy.optimize
    import scipy.special  # noqa: F401


def _one(
    pair: tuple[Analysis, LoadedPlugin], season: Season, spans: Sequence[Span], whole: Span
) -> tuple[Analysed, list[tuple[str, str]]]:
    failures: list[tuple[str, str]] = []

    def note(analysis: str, trace: str) -> None:
        failures.append((analysis, trace))

    sections = run_analyses([pair], season, spans, on_failure=note)
    vitals, problems = run_vitals([pair], season, whole, on_failure=note)
    return Analysed(sections=sections, vitals=vitals, problems=problems), failures
