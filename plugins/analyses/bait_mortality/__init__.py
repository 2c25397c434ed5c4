"""What became of the baits: how long one lasts in use, what ends it, and what makes a difference.

A grub head tagged PE-01 is fished 2 h in March and kept, then 45 min in April until the grub is torn off:

    date,build,fished,fate,count,bait,cause,leader,habitat
    2026-03-29,perch-grub,2 h,kept,,PE-01,,wire,gravel
    2026-04-05,perch-grub,45 min,worn,,PE-01,torn,no,weeds
    2026-04-05,crappie-grub,1 h,kept,3,,,no,weeds

It ended at 2.75 h in use. April's report follows it from 2 h on (it had to last that long to be there), the
season's from new. The three untagged ones came home after 1 h: each lasts 1 h or more. So 1 bait ended in
5.75 hours of fishing (each bait's counted), torn, and not in its first hour.
"""

from collections.abc import Iterable

from benchwater.plugin import Action, Analysis, Season, Section, Span, Vital, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """What became of the baits in use during the span."""
    from benchwater.ledger import LOSSES
    from benchwater.ledger.log_rows import photos_of

    from .compute import compute
    from .findings import METHODS, actions, card, findings, unsaid, why_thin
    from .show import figures, tables

    found = compute(season, span)
    if found is None:
        refused = len(season.rows_set_aside("fishing", span))
        if refused:
            return Section.empty(f"None of the baits fished could be read: {refused} rows are set aside.")
        return Section.empty("No bait was logged as fished.")
    rows = season.rows("fishing", span)
    return Section(
        status="thin" if found.thin else "ok",
        why=why_thin(found),
        unsaid=unsaid(found),
        findings=tuple(findings(found)),
        tables=tables(found),
        figures=figures(found, season.bench),
        actions=tuple(actions(found)),
        cards=(card(found),) if found.season and not found.thin else (),
        methods=METHODS,
        photos=photos_of(
            rows[rows["fate"].isin(LOSSES)],
            lambda row: f"{row['build']} {row['bait']} {row['fate']} {row['cause']}, {row['date']:%Y-%m-%d}",
        ),
    )


def advise(season: Season, span: Span) -> Iterable[Action]:
    """The actions of `analyse`, without curves, findings and tables."""
    from .compute import compute
    from .findings import actions

    found = compute(season, span)
    return () if found is None else actions(found)


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Baits lost and worn."""
    from benchwater.ledger import LOSSES

    rows = season.rows("fishing", span)
    ended = int(rows.loc[rows["fate"].isin(LOSSES), "count"].sum()) if len(rows) else None
    return (Vital(id="baits_lost", label="baits lost or worn", value=ended, unit="pieces", better="down"),)


@hookimpl
def analyses() -> Iterable[Analysis]:
    """What became of the baits."""
    return [
        Analysis(
            id="bait_mortality",
            title="What became of the baits",
            question="How long does a bait last in use, what ends it, and what would keep it longer?",
            order=300,
            needs=("fishing",),
            analyse=analyse,
            advise=advise,
            vitals=vitals,
        )
    ]
