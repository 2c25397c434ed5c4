"""Was anything hotter than it should be; and the cautions that hold every month.

Say the pot stood at 925 °F on 4 July: that is over the 900 °F this report never wants to see, and it says
so, with the date. If the alloy holds lead, air in equilibrium with pure lead so hot would hold 66 µg of it in
a cubic meter: a bound on vapor at the surface, and not what anyone breathed. Dust, dross and unwashed hands
are the main ways lead gets in, and follow no thermometer, so no temperature is called safe here.

An exceedance is a fact and not an estimate: once is enough to be told. Everything else on this page is read
from published tables, each row with its source, and gives way to a doctor and to the local authority.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
import pandas as pd

from benchwater.ledger.cure import SOFTENING_MARGIN_C, softens
from benchwater.ledger.log_columns import alphabetical, factorized, group_by, renamed
from benchwater.plugin import (
    Action,
    Analysis,
    Bench,
    Cell,
    Finding,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
    hookimpl,
)
from benchwater.units import figures
from benchwater.words import counted, day_words

from .safety_tables import (
    Caution,
    ExposureLimit,
    TackleRule,
    bench_cautions,
    exposure_limits,
    tackle_rules,
)
from .vapour import LEAD_MELTS_C, saturated_lead_vapour

MELT_ALERT_C, MELT_NEVER_C, PLASTIC_CEILING_C = 450.0, (900.0 - 32) / 1.8, 190.0
PROJECT_CHOICE, COMMON_PRACTICE = (
    "project choice, no published source",
    "common practice, no published source",
)
MELT, PLASTIC, OVEN = "melt", "plastic", "oven"
VAPOUR_UNIT = "µg/m³"
COLUMNS = "date mold cavity material session fill melt_temp_c coat cure_temp_c".split()
ROUNDING = 1e-6

METHODS = (
    f"Melt: an alert above {MELT_ALERT_C:.0f} °C (842 °F), and 482 °C (900 °F) as never to be passed: "
    f"{PROJECT_CHOICE}. Hot plastic: {PLASTIC_CEILING_C:.0f} °C (374 °F), {COMMON_PRACTICE}. Oven: the upper "
    f"end of the coat's window in bench.toml, and {SOFTENING_MARGIN_C:.0f} K (18 °F) below where the head's "
    f"alloy begins to melt (margin: {PROJECT_CHOICE}). A session counts once, by its hottest reading and the "
    "highest limit that it passed; a batch once a limit.",
    "Lead vapor: log10(P/Pa) = 9.917 − 9701/T over liquid lead (Alcock, Itkin and Horrigan 1984, as in the "
    "CRC Handbook), an ideal gas in air at the surface.",
    "Limits, rules and cautions: as read, each row with its source and how it was checked in the JSON twin; "
    "this program does not keep them up to date.",
)


class Exceedance(NamedTuple):
    """One temperature over a limit, as a row of the table, and what kind of thing was too hot."""

    date: date
    what: str
    value: float
    limit: float
    source: str
    kind: str


def analyse(season: Season, span: Span) -> Section:
    """What was too hot, how hot at most, how long; and with the season the standing tables."""
    bench, standing = season.bench, span.name == "season"
    poured, cured = _rows(season, "pour", span), _rows(season, "finishing", span)
    metal, plastic = (_sessions(poured, bench, kind) for kind in ("metal", "plastic"))
    found = sorted([*_melts(metal), *_plastics(plastic), *_ovens(cured, bench)])
    readings = int(poured["melt_temp_c"].notna().sum() + cured["cure_temp_c"].notna().sum())
    findings = [
        _over_limit(found, readings, bench),
        _hottest("hottest_melt", "metal", metal, season),
        *([_hottest("hottest_plastic", "plastic", plastic, season)] if len(plastic) else []),
        _time_at_pot(metal, plastic, bench),
    ]
    tables = [_exceedances(found)]
    if standing:
        findings += _vapour(metal, bench)
        tables += _standing_tables()
    return Section(
        status="ok",
        findings=tuple(findings),
        tables=tuple(tables),
        actions=tuple(_actions(found, season, standing)),
        methods=METHODS,
    )


def _rows(season: Season, kind: str, span: Span) -> pd.DataFrame:
    """The rows of a log, none where no plugin reads that log: this page is printed all the same."""
    if season.holds(kind):
        return season.rows(kind, span)
    types = {"date": "datetime64[us]", "melt_temp_c": "float64", "cure_temp_c": "float64", "fill": "float64"}
    return pd.DataFrame(columns=COLUMNS).astype({name: types.get(name, "str") for name in COLUMNS})


def _sessions(poured: pd.DataFrame, bench: Bench, kind: str) -> pd.DataFrame:
    """What was poured of one kind of material, with its day and its session's name, empty without one."""
    said = group_by(factorized(poured["mold"]), factorized(poured["material"]))
    material = renamed(said, bench.material_of)
    rows = material.of(name for name in material.keys if bench.items[name].kind == kind)
    told = poured[["date", "fill", "melt_temp_c", "mold"]].iloc[rows]
    return told.assign(
        day=told["date"].dt.normalize(),
        sitting=alphabetical(
            renamed(group_by(factorized(poured["session"])), lambda name: name or "").take(rows)
        ),
        material=alphabetical(material.take(rows)),
    )


class Peak(NamedTuple):
    """The hottest reading of a session and material."""

    day: date
    name: str
    value: float


def _peaks(rows: pd.DataFrame, over: float = -math.inf) -> Iterator[Peak]:
    """The hottest reading of each session and material that passed a temperature, session by session."""
    read = rows[rows["melt_temp_c"].notna()]
    peaks = read.groupby(["day", "sitting", "material"])["melt_temp_c"].max().reset_index()
    for day, sitting, material, peak in peaks[peaks["melt_temp_c"] > over].itertuples(index=False):
        yield Peak(day.date(), f"{material}, {sitting}" if sitting else material, float(peak))


def _melts(metal: pd.DataFrame) -> Iterator[Exceedance]:
    for day, name, peak in _peaks(metal, MELT_ALERT_C + ROUNDING):
        limit = MELT_NEVER_C if peak > MELT_NEVER_C + ROUNDING else MELT_ALERT_C
        yield Exceedance(day, f"melt of {name}", peak, limit, PROJECT_CHOICE, MELT)


def _plastics(plastic: pd.DataFrame) -> Iterator[Exceedance]:
    for day, name, peak in _peaks(plastic, PLASTIC_CEILING_C + ROUNDING):
        yield Exceedance(day, f"hot {name}", peak, PLASTIC_CEILING_C, COMMON_PRACTICE, PLASTIC)


def _ovens(cured: pd.DataFrame, bench: Bench) -> Iterator[Exceedance]:
    ovens = cured.loc[cured["cure_temp_c"].notna(), ["date", "mold", "cavity", "coat", "cure_temp_c"]]
    for day, mold, cavity, coat, heat in ovens.itertuples(index=False):
        what, value = f"oven, {coat} on {mold} {cavity}", float(heat)
        cure, alloy = bench.items[coat].cure, bench.items[bench.material_of(mold)]
        if cure is not None and cure.max_temp_c is not None and value > cure.max_temp_c + ROUNDING:
            yield Exceedance(
                day.date(), what, value, cure.max_temp_c, f"cure window of {coat}, bench.toml", OVEN
            )
        if alloy.kind == "metal" and alloy.melts_c is not None and softens(value, alloy.melts_c):
            below = bench.show(SOFTENING_MARGIN_C, "delta_degC")
            source = f"{below} below where {alloy.name} begins to melt, bench.toml"
            yield Exceedance(day.date(), what, value, alloy.melts_c - SOFTENING_MARGIN_C, source, OVEN)


def _over_limit(found: list[Exceedance], readings: int, bench: Bench) -> Finding:
    if not readings:
        text = "No melt or oven temperature was written down, so none could be held against a limit."
        return Finding(id="over_limit", text=text, n=0)
    more: dict[str, Cell] = {kind: sum(each.kind == kind for each in found) for kind in (MELT, PLASTIC, OVEN)}
    said = ", ".join(f"{kind} {count}" for kind, count in more.items() if count)
    of = f"{counted(readings, 'temperature')} written down"
    were = "was" if len(found) == 1 else "were"
    text = (
        f"{len(found)} of {of} {were} over a limit: {said}." if found else f"None of {of} was over a limit."
    )
    return Finding(id="over_limit", text=text, value=len(found), n=readings, more=more)


def _hottest(id: str, name: str, rows: pd.DataFrame, season: Season) -> Finding:
    """The hottest reading, with its day, and how many sessions had none."""
    bench, end, read = season.bench, season.end, rows[rows["melt_temp_c"].notna()]
    sittings = rows.groupby(["day", "sitting"])["melt_temp_c"].max()
    silent = f" In {int(sittings.isna().sum())} of {len(sittings)} sessions none was written down."
    if read.empty:
        text = f"No temperature of molten {name} was written down."
        return Finding(id=id, text=text, unit="degC", n=0)
    day, material, peak = next(_peaks(read, np.nextafter(read["melt_temp_c"].max(), -math.inf)))
    return Finding(
        id=id,
        text=f"Hottest {name}: {bench.show(peak, 'degC')} ({material}, {day_words(day, end)})."
        + (silent if sittings.isna().any() else ""),
        value=peak,
        unit="degC",
        n=len(read),
        more={"date": day, "material": material},
    )


def _time_at_pot(metal: pd.DataFrame, plastic: pd.DataFrame, bench: Bench) -> Finding:
    """Sessions and fills, and the hours between first and last row where rows carry clock times."""
    said, hours = [], []
    more: dict[str, Cell] = {}
    for name, rows in (("metal", metal), ("plastic", plastic)):
        clock = rows.groupby(["day", "sitting"])["date"].agg(["min", "max"])
        took = (clock["max"] - clock["min"]).dt.total_seconds() / 3600
        hours += took[took > 0].tolist()
        fills = rows.dropna(subset="fill")[["day", "sitting", "mold", "fill"]].drop_duplicates()
        more |= {f"{name}_sessions": len(clock), f"{name}_fills": len(fills)}
        said.append(f"{name} in {counted(len(clock), 'session')} ({counted(len(fills), 'numbered fill')})")
    text = f"Poured: {' and '.join(said)}."
    if hours:
        text += f" {len(hours)} have clock times and took at least {bench.show(sum(hours), 'h')} in all."
    else:
        text += (
            " Time at the pot is not known: a clock time beside the date of first and last fills would tell."
        )
    return Finding(id="time_at_pot", text=text, value=sum(hours) if hours else None, unit="h", more=more)


def _vapour(metal: pd.DataFrame, bench: Bench) -> Iterator[Finding]:
    hottest = metal["melt_temp_c"].max()
    if pd.isna(hottest) or hottest < LEAD_MELTS_C:
        return
    bound = saturated_lead_vapour(float(hottest))
    heat, most = bench.show(float(hottest), "degC"), f"{figures(bound, significant=2)} {VAPOUR_UNIT}"
    text = (
        f"If the alloy holds lead: air in equilibrium with pure lead at {heat} holds at most {most} of "
        "vapor, at the surface. This is NOT an exposure estimate, and no temperature is safe: dust, fume and "
        "unwashed hands follow no thermometer."
    )
    yield Finding(id="lead_vapour_bound", text=text, value=bound, unit=VAPOUR_UNIT)


def _exceedances(found: list[Exceedance]) -> Table:
    columns = (
        TableColumn(name="date", label="Date"),
        TableColumn(name="what", label="What"),
        TableColumn(name="value", label="Read", unit="degC"),
        TableColumn(name="limit", label="Limit", unit="degC"),
        TableColumn(name="source", label="Whose limit"),
    )
    rows = tuple(each[: len(columns)] for each in found)
    return Table(
        id="exceedances", title="Temperatures over a limit", columns=columns, rows=rows, print_rows=12
    )


def _standing_tables() -> tuple[Table, ...]:
    """The cautions, the limits and the rules, as their data files hold them."""
    return (
        _read_table("cautions", "Every time", bench_cautions(), "about About|what What to do", "source"),
        _read_table(
            "published_limits",
            "Published limits, for scale",
            exposure_limits(),
            "what Of|whose Whose|limit Limit|since Since|source Read in",
            "value unit checked",
            "For workplaces, in air measured over a shift: nothing was measured here. No lead level is safe.",
        ),
        _read_table(
            "tackle_rules",
            "Examples of published rules on lead tackle: check your own",
            tackle_rules(),
            "place Where|rule What it covers|jig_heads Jig heads|dated Date|source Source",
            "checked",
            "They differ by mass or length, < or ≤, sale or use, jig heads and paint, and they change. Only "
            "your own rule says whether a bait may be sold or fished; this report never does. Secondary: "
            "read in a text that reports the rule.",
        ),
    )


def _read_table(
    id: str,
    title: str,
    rows: Sequence[Caution | ExposureLimit | TackleRule],
    shown: str,
    hidden: str,
    note: str = "",
) -> Table:
    """A table of reference rows: fields with the heading they are printed under, and those not printed."""
    headings = [each.split(" ", 1) for each in shown.split("|")]
    columns = [TableColumn(name=name, label=label) for name, label in headings]
    columns += [TableColumn(name=name, label=name, hidden=True) for name in hidden.split()]
    cells = tuple(tuple(getattr(row, column.name) or None for column in columns) for row in rows)
    return Table(id=id, title=title, columns=tuple(columns), rows=cells, note=note)


def _actions(found: list[Exceedance], season: Season, standing: bool) -> Iterator[Action]:
    bench = season.bench
    over = {kind: [each for each in found if each.kind == kind] for kind in (MELT, PLASTIC)}
    said = {kind: _passed(many, season) for kind, many in over.items() if many}
    if over[MELT]:
        alert = bench.show(MELT_ALERT_C, "degC")
        yield Action(
            id="melt-too-hot",
            text=f"Keep the melt below {alert}: read it before the first fill, and turn the pot down.",
            because=f"{said[MELT]} The limit is a {PROJECT_CHOICE}.",
            urgent=True,
        )
    if over[PLASTIC]:
        ceiling = bench.show(PLASTIC_CEILING_C, "degC")
        yield Action(
            id="plastic-too-hot",
            text=f"Keep hot plastic below {ceiling}, and stop at the first browning or smoke.",
            because=f"{said[PLASTIC]} Scorched PVC gives off hydrogen chloride ({COMMON_PRACTICE}).",
        )
    whole = Span(name="season", label="season", start=season.start, end=season.end)
    if standing and not len(_rows(season, "finishing", whole)):
        planned = list(_cannot_cure(bench))
        if planned:
            yield Action(
                id="cure-melts-heads",
                text="Keep heads out of the oven where their own metal begins to melt.",
                because=f"Planned in bench.toml: {'; '.join(planned)}.",
                urgent=True,
            )


def _passed(found: Sequence[Exceedance], season: Season) -> str:
    """`Over it 3 times, the hottest 925 °F on 4 July (melt of alloy).`."""
    top = max(found, key=lambda each: each.value)
    heat, day = season.bench.show(top.value, "degC"), day_words(top.date, season.end)
    if len(found) == 1:
        return f"Over it once: {heat} on {day} ({top.what})."
    return f"Over it {len(found)} times, the hottest {heat} on {day} ({top.what})."


def _cannot_cure(bench: Bench) -> Iterator[str]:
    """Builds whose coat cures at no less than where their head begins to melt or soften."""
    for build in bench.builds.values():
        cure = bench.items[build.coat].cure if build.coat else None
        alloy = bench.items[bench.material_of(build.head[0])] if build.head else None
        if cure is None or alloy is None or cure.min_temp_c is None or alloy.melts_c is None:
            continue
        if softens(cure.min_temp_c, alloy.melts_c):
            heat, melts = bench.show(cure.min_temp_c, "degC"), bench.show(alloy.melts_c, "degC")
            yield f"{build.name} ({build.coat} cures from {heat}, {alloy.name} melts from {melts})"


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
