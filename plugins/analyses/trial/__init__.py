"""What a trial showed: baits or fills whose treatment was drawn by lot, and nothing else.

`benchwater sheets --trial leader --arms yes,no` prints the lot: which bait to fish with a leader in which
place of each block. Its rows come back with `trial`, `block`, `slot` and `arm`. Because chance alone chose
the arm, a difference between arms that the lot cannot explain is caused by the treatment; no other comparison
in the report can say that.
"""

from collections.abc import Iterable, Sequence
from functools import partial

from benchwater.plugin import Analysis, Season, Section, Span, hookimpl


def trials(season: Season) -> Sequence[Analysis]:
    """One analysis for each trial that the logs name, in alphabetical order."""
    from .compute import trial_names

    return [
        Analysis(
            id=f"trial:{name}",
            title=f"The trial: {name.replace('_', ' ')}",
            question=f"Does {name.replace('_', ' ')} itself make the difference?",
            order=350,
            analyse=partial(analyse, name),
        )
        for name in trial_names(season)
    ]


def analyse(name: str, season: Season, span: Span) -> Section:
    """What one trial says, from its first row up to the end of the span."""
    from .compute import LEAST_BLOCKS, compute
    from .findings import METHODS, actions, findings, table

    found = compute(season, span, name)
    if found is None:
        return Section.empty("No row of this trial lies in these days.")
    thin = found.blocks < LEAST_BLOCKS or found.events == 0
    return Section(
        status="thin" if thin else "ok",
        why=f"A trial needs {LEAST_BLOCKS} blocks and something lost or bad to say anything." if thin else "",
        findings=tuple(findings(found)),
        tables=(table(found),),
        actions=() if thin else tuple(actions(found)),
        methods=METHODS,
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis for each trial."""
    return [
        Analysis(
            id="trial",
            title="Trials",
            question="What did a trial drawn by lot show?",
            order=350,
            analyse=lambda season, span: Section.empty("No trial was logged."),
            split=trials,
            needs=("fishing",),  # so that a trip's report has its trials; those of fills need no fishing
        )
    ]
