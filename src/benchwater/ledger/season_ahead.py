"""The season ahead: the months of the year that are fished, and until when a plan of it reaches."""

from datetime import date, timedelta

from benchwater.plugin.season import Season


def months_ahead(season: Season, until: date) -> tuple[date, ...]:
    """The first days of the months to be fished from the season's end to `until`.

    These are the months of the year from the first that any season was fished in to the last, or to the
    month of `until` where that is later in the season. Empty where no hour of fishing is logged.
    """
    fished = _fished(season)
    if not fished:
        return ()
    last = max(*fished, _place(season, until.month))
    months, month = [], season.end.replace(day=1)
    while month <= until:
        if fished[0] <= _place(season, month.month) <= last:
            months.append(month)
        month = _next(month)
    return tuple(months)


def usual_end(season: Season) -> date | None:
    """The last day usually fished of the season after this one; None where no hour of fishing is logged."""
    fished = _fished(season)
    if not fished:
        return None
    month = season.bench.season_of(season.end - timedelta(days=1))[1].replace(day=1)
    for _ in range(fished[-1] + 1):
        month = _next(month)
    return month - timedelta(days=1)


def _fished(season: Season) -> list[int]:
    """The places in the season, from 0, of the months of the year with hours of fishing, in order."""
    if not season.holds("fishing"):
        return []
    rows = season.log("fishing")
    months = rows.loc[rows["fished_h"] > 0, "date"].dt.month.unique()
    return sorted(_place(season, int(month)) for month in months)


def _place(season: Season, month: int) -> int:
    return (month - season.bench.season_start[0]) % 12


def _next(month: date) -> date:
    return (month + timedelta(days=31)).replace(day=1)
