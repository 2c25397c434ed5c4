"""Finds whether anything was hotter than it should be, and repeats the cautions of the bench.

Say the pot stood at 925 °F on 4 July: that is over the 900 °F this report never wants to see, and it says
so, with the date. Dust, dross and unwashed hands are the main ways lead gets in, and follow no thermometer,
so no temperature is called safe here. The cautions that prevent injury are on a card for the report's second
page; it is printed whatever the logs hold.

An exceedance is a fact and not an estimate, so the section reports a single one. Everything else comes from
published tables, each row with its source, and gives way to a doctor and to the local authority.
"""

from collections.abc import Iterable

from benchwater.plugin import Analysis, Season, Section, Span, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """Makes the section: what was too hot, how hot and how long; with the season also the standing tables."""
    from .compute import bench_temperatures
    from .findings import METHODS, all_actions, all_cards, all_findings
    from .show import exceedance_table, standing_tables

    standing, found = span.name == "season", bench_temperatures(season, span)
    return Section(
        status="ok",
        findings=tuple(all_findings(found, season, standing)),
        tables=(exceedance_table(found.exceedances, season.bench), *(standing_tables() if standing else ())),
        actions=tuple(all_actions(found.exceedances, season, standing)),
        methods=METHODS,
        cards=all_cards(season) if standing else (),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """Bench safety."""
    return [
        Analysis(
            id="bench_safety",
            title="Bench safety",
            question="Was anything hotter than it should be, and what must I never forget?",
            order=900,
            analyse=analyse,
        )
    ]
