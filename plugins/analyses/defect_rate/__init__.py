"""Finds which castings go bad, and how warm the mold must be before good inserts go in.

Say the round jig was filled 102 times with the probe in it, and 119 of its 510 castings were bad: all of
them at 200 °F, one in thirteen at 335 °F, and one in four again, with flash, at 410 °F. Short fills and cold
shuts are fitted as they fall with temperature, flash and porosity as they rise; added up, with misset hooks
and the like at their own constant share, they stay under the 10 % this bench aims at from about 315 °F to
380 °F. So: no hooks below 315 °F, a rest above 380 °F. How many warm-up fills that takes follows from the
heat that each fill leaves in the mold. Cavities are compared within one fill, where all are equally warm.

Castings of one session share metal, hand and day, so they are not independent: intervals and tests take
sessions as their units, chart limits the fills. Without a thermometer, the number of the fill tells from when
on castings are good; the heat balance estimates how warm the mold was, and the section shows those castings
separately, as estimated, and draws no advice from them.
"""

from collections.abc import Iterable

from benchwater.plugin import Action, Analysis, Season, Section, Span, Vital, hookimpl


def analyse(season: Season, span: Span) -> Section:
    """Makes the section: rates, temperature, heat, cavities, sessions; advice and cards with the season."""
    from benchwater.ledger.log_rows import photos_of

    from .advice import all_actions, all_cards
    from .compute import bad_castings
    from .findings import METHODS, all_findings, is_sure, rows_decide, too_little, what_would_settle
    from .show import all_figures, all_tables

    result = bad_castings(season, span)
    if result is None:
        refused = len(season.rows_set_aside("pour", span))
        if refused:
            return Section.empty(f"None of the castings logged could be read: {refused} rows are set aside.")
        return Section.empty("No casting was logged in this span, good or bad.")
    undecided, sure, whole = rows_decide(result), is_sure(result), span.name == "season"
    why = undecided or too_little([mold for mold in result.molds if not sure or mold.by_temperature.castings])
    rows, settling = season.rows("pour", span), list(what_would_settle(result)) if whole else []
    return Section(
        status="ok" if sure else "thin",
        why="" if sure else why,
        unsaid=" ".join(each.text for each in settling) if sure else "",
        findings=(*all_findings(result), *settling),
        tables=all_tables(result, note=why if sure else ""),
        figures=tuple(all_figures(result)),
        actions=tuple(all_actions(result)) if sure and whole else (),
        methods=METHODS,
        cards=all_cards(result) if whole and not undecided else (),
        photos=photos_of(
            rows[rows["outcome"] == "reject"],
            lambda row: f"{row['flaw'] or 'bad'}: {row['mold']} {row['cavity']}, {row['date']:%Y-%m-%d}",
        ),
    )


def advise(season: Season, span: Span) -> Iterable[Action]:
    """The actions of `analyse`, without findings, tables and figures: none but for a whole season."""
    from .advice import all_actions
    from .compute import bad_castings
    from .findings import is_sure

    result = bad_castings(season, span) if span.name == "season" else None
    return () if result is None or not is_sure(result) else all_actions(result)


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Returns the castings made, and the share that was good: none where rows set aside would decide it."""
    from benchwater.ledger.log_rows import rows_left_open

    from .rates import with_rows_left_open

    rows = season.rows("pour", span)
    made = int(rows.loc[rows["outcome"] != "blank", "count"].sum())
    good = int(rows.loc[rows["outcome"] == "good", "count"].sum())
    refused = rows_left_open(season, "pour", span)
    known = made and with_rows_left_open(made - good, made, 1.0, refused)[1] is None
    share = good / made if known else None
    return (
        Vital(id="castings_made", label="castings made", value=made if len(rows) else None, unit="pieces"),
        Vital(id="first_pass_yield", label="good castings", value=share, unit="1", better="up", n=made),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """The one analysis."""
    return [
        Analysis(
            id="defect_rate",
            title="Bad castings",
            question="How warm must the mold be before good inserts go in, and which castings go bad?",
            order=200,
            needs=("pour",),
            analyse=analyse,
            advise=advise,
            vitals=vitals,
        )
    ]
