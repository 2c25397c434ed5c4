"""What became of the baits: how long one lasts in use, what ends it, and what makes a difference.

A grub head tagged PE-01 is fished 2 h in March and kept, then 45 min in April until the grub is torn off:

    date,build,fished,fate,count,bait,cause,leader,habitat
    2026-03-29,perch-grub,2 h,kept,,PE-01,,wire,gravel
    2026-04-05,perch-grub,45 min,worn,,PE-01,torn,no,weeds
    2026-04-05,crappie-grub,1 h,kept,3,,,no,weeds

It ended at 2.75 h in use. April's report follows it from 2 h on (it had to last that long to be there), the
season's from new. The three untagged ones came home after 1 h: each lasts 1 h or more. So 1 bait ended in
5.75 bait-hours, torn, and not in its first hour.
"""

from collections.abc import Iterable

from benchwater.ledger.bait_lives import factors_of, number_of_baits, rows_in_use, summed_alike, untagged
from benchwater.plugin import Analysis, Season, Section, Span, Vital, hookimpl
from benchwater.words import counted

from .advice import advice
from .bait_contrasts import LEAST_ENDS, compare_baits
from .contrasts import contrasts_told, log_ranks
from .curves import curve_groups, lives_of
from .lives import (
    LEAST_AT_RISK,
    LEAST_BAITS,
    life_in_use,
    loss_rate,
    main_cause,
    tagging,
    untagged_words,
)
from .methods import METHODS
from .pictures import causes_picture, survival_picture
from .tables import cause_summary, contrasts_table, curve_tables, losses_table, rates_table


def analyse(season: Season, span: Span) -> Section:
    """What became of the baits in use during the span."""
    from .followed_stretch import well_followed_to

    rows = rows_in_use(season.log("fishing"), span)
    if rows.empty:
        return Section.empty("No bait was logged as fished.")
    bench, ends, baits = season.bench, int(rows["ended"].sum()), number_of_baits(rows)
    thin = ends < LEAST_ENDS or baits < LEAST_BAITS
    loose = untagged(rows)
    few = f"Only {counted(ends, 'end')} of use among {counted(baits, 'bait')}; to conclude anything takes "
    ended = rows[rows["ended"] > 0].groupby("cause")["ended"].sum().sort_index()
    causes = {str(cause): int(n) for cause, n in ended.sort_values(ascending=False, kind="stable").items()}
    factors = factors_of(rows, bench)
    alike, sorting = summed_alike(rows, factors)
    contrasts, skipped = ([], []) if thin else compare_baits(alike, sorting)
    lives = {name: lives_of(part, causes) for name, part in curve_groups(rows, factors[0]).items()}
    horizon = well_followed_to(lives["all"].records, LEAST_AT_RISK)
    return Section(
        status="thin" if thin else "ok",
        why=few + f"{LEAST_ENDS} among {LEAST_BAITS}." if thin else "",
        unsaid=untagged_words(loose, baits) if loose and not thin else "",
        findings=(
            *main_cause(causes, lives["all"], horizon, bench),
            loss_rate(rows, baits, bench),
            *life_in_use(lives["all"], horizon, bench),
            *contrasts_told(contrasts),
            *([] if thin else log_ranks(rows, factors)),
            *tagging(rows, baits),
        ),
        tables=(
            cause_summary(causes, lives["all"], horizon),
            rates_table(alike, sorting),
            contrasts_table(contrasts, skipped),
            losses_table(rows),
            *curve_tables(lives, causes),
        ),
        figures=(
            survival_picture(lives, horizon, bench),
            *([causes_picture(causes, lives["all"], horizon, bench)] if causes else []),
        ),
        actions=tuple(advice(rows, contrasts)),
        methods=METHODS,
    )


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Baits lost and worn."""
    rows = season.rows("fishing", span)
    ended = int(rows.loc[rows["fate"] != "kept", "count"].sum()) if len(rows) else None
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
            vitals=vitals,
        )
    ]
