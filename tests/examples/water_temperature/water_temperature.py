"""Catch rate by water temperature: a logger's readings, joined to the fishing log by day and water.

    time,water_temp [F]              date,water,build,fished,fate
    2026-05-03 06:00,58              2026-05-03,Mill Reach,perch-grub,3 h,kept
    2026-05-03 12:00,60

That day at Mill Reach the water had 59 °F, in the mean of the day's readings, so its three hours and its fish
count for the band from 55 to 60 °F. A reading whose file names no water is for the one that bench.toml names:

    [plugins.water_temperature]
    water = "Mill Reach"
    band = 5

A log is known by its header, so a fishing log must not have a column `water_temp` of its own beside this.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from benchwater.plugin import (
    Analysis,
    Bench,
    Cell,
    Column,
    Finding,
    LogKind,
    Option,
    RowProblem,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
    hookimpl,
)

CONTRACT_VERSION_NEEDED = 1
ID = "water_temperature"
COLDEST_C, HOTTEST_C = -3.0, 45.0
LEAST_DAYS = 5
METHODS = (
    "A day's water temperature is the mean of its readings. Fish per bait-hour is the ratio of the totals "
    "over days on one water: Cochran 1977, Sampling Techniques, chapter 6; never narrower than exact Poisson "
    "limits (Garwood 1936).",
    "Water warms with the season, so a difference between bands may also be the month.",
)
COLUMNS = (
    TableColumn(name="from", label="From", unit="degC"),
    TableColumn(name="to", label="To", unit="degC"),
    TableColumn(name="days", label="Days"),
    TableColumn(name="effort", label="Bait-hours", unit="h", digits=1),
    TableColumn(name="fish", label="Fish", unit="pieces"),
    TableColumn(name="rate", label="Fish per hour", unit="fish/h", digits=2),
    TableColumn(name="low", label="Low", unit="fish/h", digits=2),
    TableColumn(name="high", label="High", unit="fish/h", digits=2),
)

Place = tuple[str, str]


def check_reading(row: Mapping[str, object], bench: Bench) -> Iterable[RowProblem]:
    """A logger that lies in the boat, or in ice, says nothing about the water."""
    reading = row["water_temp_c"]
    if isinstance(reading, float) and not COLDEST_C <= reading <= HOTTEST_C:
        coldest, hottest = bench.show(COLDEST_C, "degC"), bench.show(HOTTEST_C, "degC")
        yield RowProblem(column="water_temp", why=f"is no temperature of water ({coldest} to {hottest})")


LOGGER = LogKind(
    name=ID,
    title="Water temperature log",
    columns=(
        Column(name="date", meaning="time of the reading", kind="date", needed=True, also=("time",)),
        Column(name="water_temp", meaning="what it read", kind="temperature", needed=True),
        Column(name="water", meaning="where it hangs", kind="name"),
    ),
    check=check_reading,
)


@dataclass(slots=True)
class Band:
    """Hours and fish of the days whose water was in one band of temperature, a pair a day and water."""

    hours: list[float] = field(default_factory=list)
    fish: list[int] = field(default_factory=list)


def analyse(season: Season, span: Span) -> Section:
    """Join the readings to the days fished, and give the catch rate of each band."""
    options = season.options(ID)
    hours, fish = _fished(season, span)
    if not hours:
        return Section.empty("Nothing was fished in these days.")
    readings = _readings(season, span, options["water"])
    width = options["band"]
    bands: dict[int, Band] = defaultdict(Band)
    unread = 0
    for (day, water), effort in sorted(hours.items()):
        reading = readings.get((day, water), readings.get((day, "")))
        if reading is None:
            unread += 1
            continue
        band = bands[math.floor(_printed(reading, season.bench) / width)]
        band.hours.append(effort)
        band.fish.append(fish.get((day, water), 0))
    rows = [_row(number, width, bands[number], season.bench) for number in sorted(bands)]
    joined = len(hours) - unread
    findings = [_finding(row, season.bench) for row in rows]
    if unread:
        told = f"{unread} of {len(hours)} days on a water have no reading, and count for no band."
        findings.append(Finding(id="unread", text=told, value=unread, unit="1", n=len(hours)))
    if joined == 0:
        return Section(
            status="thin",
            why="No day fished has a reading of its water.",
            findings=tuple(findings),
            methods=METHODS,
        )
    enough = joined >= LEAST_DAYS
    return Section(
        status="ok" if enough else "thin",
        why=""
        if enough
        else f"Only {joined} days have a reading; {LEAST_DAYS} are needed to conclude anything.",
        findings=tuple(findings),
        tables=(
            Table(id="bands", title="Catch rate by water temperature", columns=COLUMNS, rows=tuple(rows)),
        ),
        methods=METHODS,
    )


def _fished(season: Season, span: Span) -> tuple[dict[Place, float], dict[Place, int]]:
    """Bait-hours and fish by day and water."""
    hours: dict[Place, float] = defaultdict(float)
    fish: dict[Place, int] = defaultdict(int)
    fished, caught = season.rows("fishing", span), season.rows("catch", span)
    effort = fished["fished_h"] * fished["count"]
    for day, water, bait_hours in zip(fished["date"], fished["water"], effort, strict=True):
        hours[_place(day, water)] += float(bait_hours)
    for day, water, count in zip(caught["date"], caught["water"], caught["count"], strict=True):
        fish[_place(day, water)] += int(count)
    return {place: total for place, total in hours.items() if total > 0}, fish


def _readings(season: Season, span: Span, hangs_in: str | None) -> dict[Place, float]:
    """The mean reading by day and water; the water is empty where neither file nor bench.toml names it."""
    table = season.rows(ID, span)
    by_place: dict[Place, list[float]] = defaultdict(list)
    for day, water, reading in zip(table["date"], table["water"], table["water_temp_c"], strict=True):
        named = water if isinstance(water, str) else hangs_in
        by_place[_place(day, named)].append(float(reading))
    return {place: math.fsum(all_day) / len(all_day) for place, all_day in by_place.items()}


def _place(day: object, water: object) -> Place:
    return f"{day:%Y-%m-%d}", water.casefold() if isinstance(water, str) else ""


def _printed(celsius: float, bench: Bench) -> float:
    return celsius if bench.system == "metric" else round(celsius * 1.8 + 32, 9)


def _canonical(printed: float, bench: Bench) -> float:
    return printed if bench.system == "metric" else (printed - 32) / 1.8


def _row(number: int, width: int, band: Band, bench: Bench) -> tuple[Cell, ...]:
    from catch_rate.catch_rates import ratio_of_totals

    rate = ratio_of_totals(band.fish, band.hours)
    return (
        _canonical(number * width, bench),
        _canonical((number + 1) * width, bench),
        len(band.hours),
        math.fsum(band.hours),
        sum(band.fish),
        rate.ratio,
        rate.low,
        rate.high if math.isfinite(rate.high) else None,
    )


def _finding(row: tuple[Cell, ...], bench: Bench) -> Finding:
    low_c, high_c, days, effort, fish, rate, low, high = (
        None if cell is None else float(str(cell)) for cell in row
    )
    group = f"{bench.show(low_c, 'degC')} to {bench.show(high_c, 'degC')}"
    limits = f"{bench.show(low, 'fish/h')} to {bench.show(high, 'fish/h')}"
    text = (
        f"At {group}: {bench.show(rate, 'fish/h')} ({limits}), {fish:.0f} fish in "
        f"{bench.show(effort, 'h')} of fishing on {days:.0f} days."
    )
    return Finding(
        id="rate", group=group, text=text, value=rate, low=low, high=high, unit="fish/h", n=int(days or 0)
    )


@hookimpl
def log_kinds() -> Iterable[LogKind]:
    """The logger's file."""
    return [LOGGER]


@hookimpl
def analyses() -> Iterable[Analysis]:
    """Catch rate by water temperature."""
    return [
        Analysis(
            id=ID,
            title="Water temperature",
            question="At which water temperatures do my baits catch?",
            order=920,
            analyse=analyse,
            needs=("fishing", ID),
            options=(
                Option(name="water", meaning="the water of readings that name none", kind="text"),
                Option(
                    name="band",
                    meaning="width of a band, in printed degrees",
                    kind="whole",
                    default=5,
                    least=1,
                ),
            ),
        )
    ]
