"""The verdict on each build for each water with a note, and the logged trips that carried a forbidden one."""

from dataclasses import dataclass
from datetime import date

from benchwater.ledger.castings import verdict
from benchwater.plugin import Season, Span, Water


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterRule:
    """A water: the builds to leave at home, those of which it cannot be told, and days that carried one."""

    water: Water
    forbidden: tuple[str, ...]
    not_known: tuple[str, ...]
    carried: tuple[tuple[date, str], ...]


def waters_with_rules(season: Season, span: Span) -> tuple[WaterRule, ...]:
    """Each water of bench.toml, with the trips of the span."""
    return tuple(_rule(water, season, span) for water in season.bench.waters.values())


def _rule(water: Water, season: Season, span: Span) -> WaterRule:
    verdicts = {build: verdict(season, build, water) for build in season.bench.builds}
    forbidden = tuple(build for build, said in verdicts.items() if said == "forbidden")
    carried: list[tuple[date, str]] = []
    if season.holds("fishing"):
        rows = season.rows("fishing", span)
        there = rows["water"].astype("str").str.casefold() == water.name.casefold()
        with_lead = rows[there & rows["build"].isin(forbidden)]
        days = with_lead.assign(day=with_lead["date"].dt.date)[["day", "build"]].drop_duplicates()
        carried = [(day, str(build)) for day, build in days.itertuples(index=False, name=None)]
    return WaterRule(
        water=water,
        forbidden=forbidden,
        not_known=tuple(build for build, said in verdicts.items() if said == "not known"),
        carried=tuple(sorted(carried)),
    )
