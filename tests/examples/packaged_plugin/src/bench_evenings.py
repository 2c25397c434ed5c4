"""On how many days the maker poured."""

from collections.abc import Iterable

from benchwater.plugin import Analysis, Finding, Season, Section, Span, hookimpl

CONTRACT_VERSION_NEEDED = 1


def analyse(season: Season, span: Span) -> Section:
    """Count the days with a row in the pour log."""
    poured = season.rows("pour", span)
    if poured.empty:
        return Section.empty("Nothing was poured in these days.")
    days = int(poured["date"].dt.normalize().nunique())
    text = f"You poured on {days} {'day' if days == 1 else 'days'}."
    return Section(
        status="ok",
        findings=(Finding(id="days", text=text, value=days, n=len(poured)),),
        methods=("Days of the pour log, as written.",),
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """One analysis, after the shipped ones."""
    return [
        Analysis(
            id="bench_evenings",
            title="Days at the bench",
            question="On how many days did I pour?",
            order=940,
            analyse=analyse,
            needs=("pour",),
        )
    ]
