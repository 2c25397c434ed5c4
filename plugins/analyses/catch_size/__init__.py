"""Finds how big the fish are: lengths by species, how many reach a good size, and how plump they are.

Of five perch one was not measured, and one was weighed too:

    date,species,build,count,length,mass
    2026-05-09,yellow perch,perch-grub,3,8 1/2 in,
    2026-05-09,Yellow Perch,perch-grub,1,6 in,1.4 oz
    2026-05-09,perca flavescens,pond-guard,,,

A yellow perch is of stock length from 5 in and of quality length from 8 in, so 3 of the 4 measured reached
quality (`psd` is the share 0.75 with unit `1`). The standard
weight at 6 in is 46 g, and 1.4 oz is 39.7 g: relative weight 86, where 100 is as plump as the best quarter of
populations. `mass` is that of one fish, also in a row of several. A species without a published
standard gets its lengths only. Where the standard differs by sex or water, write `brown trout (lotic)`.
"""

from collections.abc import Iterable

from benchwater.plugin import Analysis, Season, Section, Span, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """Makes the section: lengths, size distribution and condition of each species."""
    from benchwater.ledger.log_rows import photos_of

    from .compute import ENOUGH_FISH, caught_species, rows_in_doubt
    from .findings import all_findings, card, methods
    from .show import all_tables, length_figure

    if season.rows("catch", span).empty:
        return Section.empty("No fish was logged in these days.")
    species = caught_species(season, span)
    most = max((each.measured_fish for each in species), default=0)
    best = card(species, season.bench, span) if span.name == "season" else None
    thin = most < ENOUGH_FISH
    return Section(
        status="thin" if thin else "ok",
        why=f"No species has {ENOUGH_FISH} measured fish, and fewer say little." if thin else "",
        findings=tuple(all_findings(species, rows_in_doubt(season, span), season.bench, span)),
        tables=all_tables(species),
        figures=(length_figure(species, season.bench),) if most else (),
        methods=methods(species),
        cards=(best,) if best else (),
        photos=photos_of(
            season.rows("catch", span),
            lambda row: " ".join(
                [
                    row["species"],
                    season.bench.show(row["length_mm"] or None, "mm"),
                    f"on {row['build']},",
                    f"{row['date']:%Y-%m-%d}",
                ]
            ),
            by="length_mm",
        ),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis."""
    return [
        Analysis(
            id="catch_size",
            title="Catch size",
            question="How long and how plump are the fish I catch?",
            order=450,
            analyse=analyse,
            advise=lambda season, span: (),
            needs=("catch",),
        )
    ]
