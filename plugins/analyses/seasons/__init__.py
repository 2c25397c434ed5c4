"""This season beside the ones before it, at the same day of the year, and what a dated change did.

The bench poured 700 castings by the end of July and 58 were bad; by the end of last July it was 96 of 640.
Each evening of pouring is one unit, each trip on the water another, because what is poured in one evening or
fished on one trip is alike. A change of habit that bench.toml dates (`[[changes]]`) is judged within its
season: is the rate after it other than the trend would have given?
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from benchwater.plugin import Analysis, Season, Section, Span, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """The comparisons, at the same day of the year."""
    from .compute import compare_seasons, judge_changes
    from .findings import METHODS, findings
    from .show import figures, tables

    seasons, changes = compare_seasons(season, span), judge_changes(season, span)
    if not seasons and not changes:
        return Section.empty("The logs hold one season, and bench.toml dates no change.")
    sure = any(each.found for each in seasons) or any(each.found for each in changes)
    return Section(
        status="ok" if sure else "thin",
        why="" if sure else "There is too little on one side of each comparison.",
        findings=tuple(findings(seasons, changes, season.bench, span)),
        tables=tables(seasons, changes),
        figures=tuple(figures(seasons, season.bench)),
        methods=METHODS,
    )


ANALYSIS = Analysis(
    id="seasons",
    title="Season against season",
    question="Is this season better than the ones before, and what did a change do?",
    order=820,
    analyse=analyse,
    advise=lambda season, span: (),
    season_only=True,
)


def with_something_to_compare(season: Season) -> Sequence[Analysis]:
    """The analysis, where the logs hold an earlier season or bench.toml dates a change."""
    earlier = any(
        season.holds(kind) and len(season.before(kind, season.start)) for kind in ("pour", "fishing")
    )
    return [ANALYSIS] if earlier or season.bench.changes else []


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis."""
    return [replace(ANALYSIS, split=with_something_to_compare)]
