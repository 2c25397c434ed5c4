"""Stock: every movement and every count of every item that the logs account for.

Received and recovered stock enters. The metal of good castings, the inserts of good and rejected ones, coat
on coated pieces, used and discarded stock leave. The metal of rejects, sprues and blank fills stays inside
the shop; an insert cut out of a reject comes back as `recovered`.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import datetime
from math import isfinite, nan
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger import computed_once, log_table, rows_by, sum_in_order
from benchwater.ledger.castings import OUNCE_G, casting_mass, castings, coatings
from benchwater.plugin.bench import Bench, Item
from benchwater.plugin.season import Season
from benchwater.statistics.uncertainty import reading_step, rectangular_uncertainty, resolution_uncertainty

if TYPE_CHECKING:
    import pandas as pd

ENTERS = ("received", "recovered")
IN_CASTINGS = "in_castings"
FLOWS = (*ENTERS, IN_CASTINGS, "used", "discarded")
COAT_SHARE = 0.10
NOMINAL = "nominal mass of "
OUNCE_ML = 29.5735295625
FloatArray = NDArray[np.float64]
_Part = dict[str, NDArray[Any]]
COLUMNS = ["item", "date", "kind", "amount", "u", "source", "shared_u"]


def stock_movements(season: Season) -> "pd.DataFrame":
    """Every change of stock up to the report's end: inventory rows, then castings, then coats.

    | column | meaning |
    |---|---|
    | `item` | category: the item whose stock changes |
    | `date` | when |
    | `kind` | category: one of `FLOWS` |
    | `amount` | in the item's unit, below 0 where it leaves; nan where not known |
    | `u` | the movement's own standard uncertainty |
    | `source` | category: an error that its movements share, such as a cavity's mean mass; or "" |
    | `shared_u` | standard uncertainty from that source: within a source these add before they are squared |
    """
    return _movements_and_notes(season)[0]


def stock_notes(season: Season) -> tuple[str, ...]:
    """What a reader must know of how the movements were worked out, in sentences."""
    return _movements_and_notes(season)[1]


@computed_once
def stock_counts(season: Season) -> "pd.DataFrame":
    """Every count up to the report's end, in order of `moment`.

    | column | meaning |
    |---|---|
    | `item` | category: the item counted |
    | `date` | when it was counted |
    | `moment` | the moment it stands for: without a time the end of its day, for an item's first the start |
    | `amount`, `u` | what was found, in the item's unit, and its standard uncertainty |
    | `replaced` | True where a later row of the same moment stands instead |
    """
    import pandas as pd

    table = _inventory(season)
    counts = table.loc[table["move"] == "counted", ["item", "date", "amount", "u"]]
    ends_day = (counts["date"] == counts["date"].dt.normalize()) & counts.duplicated("item")
    moment = counts["date"].where(~ends_day, counts["date"] + pd.Timedelta(days=1))
    counts = counts.assign(moment=moment).sort_values("moment", kind="stable", ignore_index=True)
    return counts.assign(replaced=counts.duplicated(["item", "moment"], keep="last"))


@computed_once
def scale_steps(season: Season) -> Mapping[str, float]:
    """The step of each item's scale, in its unit: as stated, else as its rows read, 0 without any."""
    table = log_table(season, "inventory", ("item", "move"), ("amount",))
    read = table[table["move"] != "received"]
    readings, of_item = read["amount"].to_numpy(), rows_by(read, "item")
    steps = {}
    for name, item in season.bench.items.items():
        steps[name] = item.resolution or 0.0
        if item.resolution is None and name in of_item:
            units = (1.0, OUNCE_G if item.unit == "g" else OUNCE_ML)
            steps[name] = reading_step(readings[of_item[name]], units=units)
    return steps


def table_unit(bench: Bench, item: Item) -> str | None:
    """The one unit that a table prints all masses in, or all volumes; None for what is counted in pieces.

    It is the one that all such items of the bench are kept in, else that of the bench's system.
    """
    if item.unit == "pieces":
        return None
    kept = {each.print_unit for each in bench.items.values() if each.unit == item.unit}
    us = {"g": "oz", "mL": "fl oz"}
    return kept.pop() if len(kept) == 1 else us[item.unit] if bench.system == "us" else item.unit


def on_hand(season: Season, start: datetime, end: datetime) -> dict[str, float]:
    """The stock of every item at `end`: the last count since `start` rolled forward, else by the book.

    nan for an item never counted, or whose use is not known. The material balance calls these
    `counted_closing` and `book_closing`.
    """
    counts, moved = stock_counts(season), stock_movements(season)
    counts = counts[~counts["replaced"] & (counts["date"] < end)]
    days, moments, found = (counts[name].to_numpy() for name in ("date", "moment", "amount"))
    when, amounts, of_item = moved["date"].to_numpy(), moved["amount"].to_numpy(), rows_by(moved, "item")
    begin, close = np.array([start, end], dtype="datetime64[us]")

    def net(rows: NDArray[np.int64], since: np.datetime64, until: np.datetime64) -> float:
        return sum_in_order(amounts[rows[(when[rows] >= since) & (when[rows] < until)]])

    stock = dict.fromkeys(season.bench.items, nan)
    for name, of_counts in rows_by(counts, "item").items():
        if not season.bench.items[name].use_known:
            continue
        own = of_item.get(name, of_counts[:0])
        first, last = of_counts[max(int((moments[of_counts] <= begin).sum()) - 1, 0)], of_counts[-1]
        if last != first and days[last] >= begin:
            stock[name] = float(found[last]) + net(own, moments[last], close)
        if not isfinite(stock[name]):
            opening = max(begin, moments[first])
            stock[name] = float(found[first]) + net(own, moments[first], opening) + net(own, opening, close)
    return stock


@computed_once
def _inventory(season: Season) -> "pd.DataFrame":
    """The inventory with `u`: as stated, 0 for what was received, else from the step of the scale."""
    table = log_table(season, "inventory", ("item", "move"), ("amount", "uncertainty"))
    steps, names = scale_steps(season), table["item"].cat.categories
    of_scale = np.array([resolution_uncertainty(steps[name]) for name in names])[table["item"].cat.codes]
    read_off = np.where(table["move"] == "received", 0.0, of_scale)
    return table.assign(u=np.where(table["uncertainty"].notna(), table["uncertainty"], read_off))


@computed_once
def _movements_and_notes(season: Season) -> tuple["pd.DataFrame", tuple[str, ...]]:
    import pandas as pd

    sources, notes = {"": 0}, list(_scale_notes(season))
    parts = (
        _from_inventory(season),
        _inserts(season),
        _metals(season, sources, notes),
        _coats(season, sources, notes),
    )
    columns: dict[str, Any] = {name: np.concatenate([part[name] for part in parts]) for name in COLUMNS}
    for name, words in (("item", season.bench.items), ("kind", FLOWS), ("source", sources)):
        columns[name] = pd.Categorical.from_codes(
            columns[name], categories=pd.Index(list(words), dtype="str")
        )
    return pd.DataFrame(columns), tuple(dict.fromkeys(notes))


def _scale_notes(season: Season) -> Iterator[str]:
    for name, step in scale_steps(season).items():
        item = season.bench.items[name]
        if item.resolution is None and step:
            shown = season.bench.show(step, item.unit, item=name)
            yield f"{name} states no scale; its rows read like one with a step of {shown}."


def _from_inventory(season: Season) -> _Part:
    table = _inventory(season)
    table = table[table["move"] != "counted"]
    amount, kind = table["amount"].to_numpy(), table["move"].cat.set_categories(list(FLOWS)).cat.codes
    signed = np.where(table["move"].isin(ENTERS), amount, -amount)
    return _part(season, table, "item", signed, kind=kind.to_numpy(), u=table["u"].to_numpy())


def _inserts(season: Season) -> _Part:
    """The inserts cast in, in good castings and in rejects."""
    table = castings(season)
    cast_in = table[table["outcome"].isin(["good", "reject"]) & table["insert"].notna()]
    return _part(season, cast_in, "insert", -cast_in["count"].to_numpy())


def _metals(season: Season, sources: dict[str, int], notes: list[str]) -> _Part:
    """What good castings weigh, cavity by cavity; the source of an error is a cavity's mean mass."""
    bench, table = season.bench, castings(season)
    good = table[table["outcome"] == "good"]
    count, net = good["count"].to_numpy(), good["net_mass_g"].to_numpy()
    amount, u, shared_u = (np.zeros(len(good)) for _ in range(3))
    source, groups = np.zeros(len(good), dtype=np.int32), rows_by(good, "mold", "cavity", "material")
    for (mold, cavity, material), rows in groups.items():
        mass = casting_mass(season, (mold, cavity), material)
        weighed, usual, mean = np.isfinite(net[rows]), bench.molds[mold].material, mass.mass_g
        if not mass.weighed and material != usual and not weighed.all():
            notes.append(f"{mold} {cavity} in {material}: its nominal mass in {usual} stood in, uncorrected.")
        if bench.items[material].unit != "g":
            weighed, mean = np.zeros(len(rows), dtype=bool), nan
            notes.append(
                f"{material} is kept by volume without a density: what went into castings is not known."
            )
        amount[rows] = np.where(weighed, -net[rows], -count[rows] * mean)
        u[rows] = np.where(weighed, resolution_uncertainty(mass.step), mass.scatter * np.sqrt(count[rows]))
        shared_u[rows] = np.where(weighed, 0.0, count[rows] * mass.u)
        shared = (
            f"mean mass of {mold} {cavity} in {material}" if mass.weighed else f"{NOMINAL}{mold} {cavity}"
        )
        source[rows] = np.where(weighed, 0, sources.setdefault(shared, len(sources)))
    part = _part(season, good, "material", amount, u=u, source=source, shared_u=shared_u)
    order = np.concatenate([np.zeros(0, dtype=np.int64), *groups.values()])
    return {name: column[order] for name, column in part.items()}


@computed_once
def coat_masses(season: Season) -> Mapping[tuple[str, ...], tuple[float, float]]:
    """Mass in g of a coat on a piece and its standard uncertainty, by (mold, cavity, coat) and by (coat,).

    The mean of what builds state, good to `COAT_SHARE` of it, or to half their range where that is more. No
    build states it for a key that is missing, or the coat is kept by volume.
    """
    stated: defaultdict[tuple[str, ...], list[float]] = defaultdict(list)
    for build in season.bench.builds.values():
        coat, mass = build.coat, build.coat_mass_g
        if coat is not None and mass is not None and season.bench.items[coat].unit == "g":
            for piece in {build.head or (), build.trailer or (), ()}:
                stated[*piece, coat].append(mass)
    found = {}
    for key, masses in stated.items():
        mean, range_ = sum(masses) / len(masses), max(masses) - min(masses)
        found[key] = mean, rectangular_uncertainty(max(COAT_SHARE * mean, range_ / 2))
    return found


def _coats(season: Season, sources: dict[str, int], notes: list[str]) -> _Part:
    """What went onto coated pieces; the source of an error is a coat on the pieces of one cavity."""
    table, masses = coatings(season), coat_masses(season)
    mean, u, source = np.zeros(len(table)), np.zeros(len(table)), np.zeros(len(table), dtype=np.int32)
    for key, rows in rows_by(table, "mold", "cavity", "coat").items():
        mold, cavity, coat = key
        mean[rows], u[rows] = masses.get(key, masses.get((coat,), (nan, 0.0)))
        if key in masses or (coat,) in masses:
            source[rows] = sources.setdefault(f"coat {coat} on {mold} {cavity}", len(sources))
        else:
            notes.append(
                f"{coat} on {mold} {cavity}: no build says how many grams a piece takes; use not known."
            )
    count = table["count"].to_numpy()
    return _part(season, table, "coat", -count * mean, source=source, shared_u=count * u)


def _part(season: Season, rows: "pd.DataFrame", item: str, amount: FloatArray, **columns: Any) -> _Part:
    """Columns of movements at the `date` of some rows; words as codes; they go into castings if not said."""
    usual = {"kind": FLOWS.index(IN_CASTINGS), "u": 0.0, "source": 0, "shared_u": 0.0} | columns
    items = rows[item].cat.set_categories(list(season.bench.items)).cat.codes.to_numpy()
    return {
        "item": items,
        "date": rows["date"].to_numpy(),
        "amount": amount,
        **{name: np.broadcast_to(values, amount.shape) for name, values in usual.items()},
    }
