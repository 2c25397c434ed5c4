"""Computes which temperatures passed a limit, how hot melts became, how long they stood, and lead vapour."""

import csv
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from benchwater.ledger.pieces import SOFTENING_MARGIN_C, softens
from benchwater.plugin import Bench, Season, Span

MELT_ALERT_C, MELT_NEVER_C, PLASTIC_CEILING_C = 450.0, (900.0 - 32) / 1.8, 190.0
PROJECT_CHOICE = "benchwater's own, no published source"
COMMON_PRACTICE = "common practice, no published source"
MELT, PLASTIC, OVEN = "melt", "plastic", "oven"
COLUMNS = "date mold cavity material session fill melt_temp_c coat cure_temp_c".split()
ROUNDING = 1e-6
LEAD_MELTS_C = 327.462
KELVIN, GAS_CONSTANT, LEAD_G_PER_MOL = 273.15, 8.314462618, 207.2
Reference = Mapping[str, Any]


@dataclass(frozen=True, slots=True, order=True)
class Exceedance:
    """One temperature over a limit, as a row of the table, and what was too hot.

    `kind` is MELT, PLASTIC or OVEN; `place` tells sessions, or batches, of a kind apart.
    """

    date: date
    what: str
    value: float
    limit: float
    source: str
    kind: str
    place: str


@dataclass(frozen=True, slots=True)
class Peak:
    """The hottest reading of a session and material; `name` is these two, `session` the day and its name."""

    day: date
    session: str
    name: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured:
    """The sessions in which one kind of material was poured.

    `unread` of them have no temperature, `hours` are the times from first to last row of those with clock
    times. `hottest` is the peak of all `readings`, None without any.
    """

    sessions: int
    unread: int
    fills: int
    hours: tuple[float, ...]
    readings: int
    hottest: Peak | None

    @property
    def read(self) -> int:
        """Sessions with a temperature."""
        return self.sessions - self.unread


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperatures:
    """What was written down of a span: what was over a limit, what was poured, and `ovens`, batches read."""

    ovens: int
    exceedances: tuple[Exceedance, ...]
    metal: Poured
    plastic: Poured


def bench_temperatures(season: Season, span: Span) -> Temperatures:
    """Holds the temperatures of a span against their limits."""
    bench = season.bench
    poured, cured = rows_or_none(season, "pour", span), rows_or_none(season, "finishing", span)
    metal, plastic = (_sessions(poured, bench, kind) for kind in ("metal", "plastic"))
    return Temperatures(
        ovens=int(cured["cure_temp_c"].notna().sum()),
        exceedances=tuple(
            sorted(
                [
                    *_over(metal, MELT, "melt of", (MELT_ALERT_C, MELT_NEVER_C), PROJECT_CHOICE),
                    *_over(plastic, PLASTIC, "hot", (PLASTIC_CEILING_C,), COMMON_PRACTICE),
                    *_ovens(cured, bench),
                ]
            )
        ),
        metal=_poured(metal),
        plastic=_poured(plastic),
    )


def rows_or_none(season: Season, kind: str, span: Span) -> pd.DataFrame:
    """Returns the rows of a log, none where no plugin reads it: this section appears all the same."""
    if season.holds(kind):
        return season.rows(kind, span)
    types = {"date": "datetime64[us]", "melt_temp_c": "float64", "cure_temp_c": "float64", "fill": "float64"}
    return pd.DataFrame(columns=COLUMNS).astype({name: types.get(name, "str") for name in COLUMNS})


def _sessions(poured: pd.DataFrame, bench: Bench, kind: str) -> pd.DataFrame:
    """Returns the rows of one kind of material, with `day`, `session` (may be empty) and `material`."""
    usual = {mold: spec.material for mold, spec in bench.molds.items()}
    named = poured["material"].astype("str")
    material = named.where(named.notna(), poured["mold"].astype("str").map(usual)).astype("category")
    wanted = [name for name in material.cat.categories if bench.items[name].kind == kind]
    rows = material.isin(wanted)
    found = poured.loc[rows, ["date", "fill", "melt_temp_c", "mold"]]
    return found.assign(
        day=found["date"].dt.normalize(),
        session=poured.loc[rows, "session"].astype("str").fillna("").astype("category"),
        material=material[rows],
    )


def _peaks(rows: pd.DataFrame, over: float = -math.inf) -> Iterator[Peak]:
    """Yields the hottest reading of each session and material that passed a temperature, day by day."""
    read = rows[rows["melt_temp_c"].notna()]
    by_session = read.groupby(["day", "session", "material"], observed=True)
    peaks = by_session["melt_temp_c"].max().reset_index()
    for day, session, material, peak in peaks[peaks["melt_temp_c"] > over].itertuples(index=False):
        name = f"{material}, {session}" if session else material
        yield Peak(day.date(), f"{day:%Y-%m-%d} {session}", name, float(peak))


def _over(
    rows: pd.DataFrame, kind: str, what: str, limits: tuple[float, ...], source: str
) -> Iterator[Exceedance]:
    """Yields the sessions hotter than the first of the limits, each with the highest that it passed."""
    for peak in _peaks(rows, limits[0] + ROUNDING):
        limit = max(each for each in limits if peak.value > each + ROUNDING)
        yield Exceedance(peak.day, f"{what} {peak.name}", peak.value, limit, source, kind, peak.session)


def _ovens(cured: pd.DataFrame, bench: Bench) -> Iterator[Exceedance]:
    ovens = cured.loc[cured["cure_temp_c"].notna(), ["date", "mold", "cavity", "coat", "cure_temp_c"]]
    for place, day, mold, cavity, coat, heat in ovens.itertuples():
        what, value = f"oven, {coat} on {mold} {cavity}", float(heat)
        cure, alloy = bench.items[coat].cure, bench.items[bench.material_of(mold)]
        found = []
        if cure is not None and cure.max_temp_c is not None and value > cure.max_temp_c + ROUNDING:
            found.append((cure.max_temp_c, f"cure window of {coat}, bench.toml"))
        if alloy.kind == "metal" and alloy.melts_c is not None and softens(value, alloy.melts_c):
            below = bench.show(SOFTENING_MARGIN_C, "delta_degC")
            source = f"{below} below where {alloy.name} begins to melt, bench.toml"
            found.append((alloy.melts_c - SOFTENING_MARGIN_C, source))
        for limit, source in found:
            yield Exceedance(day.date(), what, value, limit, source, OVEN, str(place))


def _poured(rows: pd.DataFrame) -> Poured:
    by_session = rows.groupby(["day", "session"], observed=True)
    clock, hottest = by_session["date"].agg(["min", "max"]), by_session["melt_temp_c"].max()
    hours = (clock["max"] - clock["min"]).dt.total_seconds() / 3600
    fills = rows.dropna(subset="fill")[["day", "session", "mold", "fill"]].drop_duplicates()
    read = rows[rows["melt_temp_c"].notna()]
    top = read["melt_temp_c"].max()
    return Poured(
        sessions=len(clock),
        unread=int(hottest.isna().sum()),
        fills=len(fills),
        hours=tuple(hours[hours > 0].tolist()),
        readings=len(read),
        hottest=None if read.empty else next(_peaks(read, np.nextafter(top, -math.inf))),
    )


def lead_vapour_pressure(temp_c: float) -> float:
    """Returns the vapor pressure in Pa of liquid lead: log10(P/Pa) = 9.917 - 9701 / T, T in kelvin.

    Alcock, Itkin and Horrigan 1984, Canadian Metallurgical Quarterly 23:309-313, as in the CRC Handbook
    (coefficients from memory, checked within 2.5 % against tabulated values at 400 to 700 degC). It holds
    from the melting point to 1200 K.
    """
    return float(10 ** (9.917 - 9701 / (temp_c + KELVIN)))


def saturated_lead_vapour(temp_c: float) -> float:
    """Returns micrograms of lead in a cubic metre of air in equilibrium with pure lead at `temp_c`.

    An ideal gas, P M / (R T). It bounds the vapour at the surface, and says nothing of what is breathed.
    """
    return lead_vapour_pressure(temp_c) * LEAD_G_PER_MOL * 1e6 / (GAS_CONSTANT * (temp_c + KELVIN))


@cache
def exposure_limits() -> tuple[Reference, ...]:
    """Returns published limits: of `what`, `whose`, `value`, `unit`, `since` (may be empty) and `source`.

    `limit` is the value with its unit, joined by no-break spaces.
    """
    rows = []
    for row in _rows("exposure_limits.csv"):
        value, unit = float(row["value"]), row["unit"].replace("/", " per ")
        rows.append({**row, "value": value, "limit": f"{value:g} {unit}".replace(" ", "\u00a0")})
    return tuple(rows)


@cache
def tackle_rules() -> tuple[Reference, ...]:
    """Returns examples of published rules on lead tackle that differ in kind."""
    return tuple(_rows("tackle_rules.csv"))


@cache
def bench_cautions() -> tuple[Reference, ...]:
    """Returns the usual cautions; `card` is what the card says of one, empty where it is not on it."""
    return tuple(_rows("bench_cautions.csv"))


def _rows(name: str) -> list[dict[str, str]]:
    text = (Path(__file__).parent / "data" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
