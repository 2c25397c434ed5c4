"""Which baits stay at home where lead may not go, as the maker wrote down from local rules.

bench.toml says `[waters."Mill reach"]`, `lead = "not allowed"`, and where and when that was read. Of a water
without such a note nothing is said: what is allowed where is for local rules alone to say.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from benchwater.plugin import Analysis, Season, Section, Span, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """What to leave at home, and the trips that carried such a bait."""
    from .compute import waters_with_rules
    from .findings import METHODS, actions, findings
    from .show import table

    rules = waters_with_rules(season, span)
    return Section(
        status="ok",
        findings=tuple(findings(rules)),
        tables=(table(rules),),
        actions=tuple(actions(rules)),
        methods=METHODS,
    )


ANALYSIS = Analysis(
    id="lead_rules",
    title="Where lead may not go",
    question="Which baits stay at home, by what you wrote of each water?",
    order=880,
    analyse=analyse,
)


def with_a_rule(season: Season) -> Sequence[Analysis]:
    """The analysis, where bench.toml notes a rule of any water."""
    return [ANALYSIS] if season.bench.waters else []


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis."""
    return [replace(ANALYSIS, split=with_a_rule, needs=("fishing",))]  # so that a trip's report has it
