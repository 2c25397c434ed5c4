"""Finds whether the powder was cured as it asks, how much of it went on, and what spoiled the coats.

Say chartreuse asks for 350 °F to 410 °F for 15 to 30 minutes. Nineteen round heads at 365 °F for 20 minutes
are in the window. Sixteen pulled out after 8 minutes are `too short`, four in an oven that crept up to 450 °F
`too hot`. Six tin-bismuth heads at 350 °F are in the window of their powder too, but tin-bismuth begins to
melt at 280 °F: they slump off their hooks, and no cure of this powder can be right for them. Between two
counts the jar went from 91 g to 90 g while eight heads were dipped: 0.13 g a piece, give or take the scale.

A batch shares one oven and one cure, so cures are counted in batches and not in pieces.
"""

from collections.abc import Iterable

from benchwater.ledger import recent
from benchwater.plugin import Analysis, Season, Section, Span, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """Makes the section: cures, heads at risk, flaws and coat used; advice in the season's part alone."""
    from .compute import finished_batches
    from .findings import METHODS, all_actions, all_findings, is_sure, too_little, unknown_temperatures
    from .show import all_tables

    if season.rows("finishing", span).empty:
        return Section.empty("No batch was coated in this span.")
    result = finished_batches(season, span)
    sure = is_sure(result)
    months = recent(season, "finishing")
    advice = all_actions(result, finished_batches(season, months), months.label)
    return Section(
        status="ok" if sure else "thin",
        why="" if sure else too_little(result),
        unsaid=unknown_temperatures(result) if sure else "",
        findings=tuple(all_findings(result)),
        tables=all_tables(result),
        actions=tuple(advice) if sure and span.name == "season" else (),
        methods=METHODS,
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """Finishing."""
    return [
        Analysis(
            id="finishing",
            title="Finishing",
            question="Were the coats cured as their powder asks, and what went wrong with them?",
            order=250,
            analyse=analyse,
            needs=("finishing",),
        )
    ]
