"""The demo's main tables computed anew from its CSV files with general-purpose libraries alone.

From the program comes only what it wrote, the JSON; the days and constants are published ones.
"""

import csv
import json
import math
import re
import tomllib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import chi2, nbinom, norm, t

from benchwater.analyse.report import Report
from benchwater.render.json_twin import render_json

DEMO = Path(__file__).parents[3] / "sample_logs"
BENCH = tomllib.loads((DEMO / "bench.toml").read_text(encoding="utf-8"))
POUND_G, OUNCE_G, FL_OZ_ML = 453.59237, 28.349523125, 29.5735295625
MONTHS = [f"2026-{month:02}" for month in range(3, 11)]
Row = dict[str, Any]


def near(expected: Any) -> Any:
    return pytest.approx(expected, rel=1e-6, abs=1e-6)


def number(text: str) -> float:
    """`3/8`, `1 1/2`, `2,5` or `7`."""
    return sum(
        int(a) / int(b) if b else float(a)
        for a, b in re.findall(r"([\d.]+)(?:/(\d+))?", text.replace(",", "."))
    )


def grams(text: str, density: float = 1.0) -> float:
    """`2950 g`, `5 lb`, `8 fl oz` or a bare number."""
    found = re.fullmatch(r"([\d ./]+?) ?(g|lb|oz|fl oz)?", text.strip())
    assert found is not None, text
    of = {"lb": POUND_G, "oz": OUNCE_G, "fl oz": FL_OZ_ML * density}
    return number(found[1]) * of.get(found[2] or "", 1.0)


def hours(text: str) -> float:
    """`1:30`, `75 min`, `2h` or bare hours."""
    whole, _, minutes = text.partition(":")
    return int(whole) + int(minutes) / 60 if minutes else number(text) / (60 if "min" in text else 1)


class Logs:
    """The rows of the demo up to a report's end, as its CSV files hold them, and that report's JSON."""

    def __init__(self, report: Report) -> None:
        self.twin: dict[str, Any] = json.loads(render_json(report))
        self.start, self.end = self.twin["period"]["start"], self.twin["period"]["end"]
        aside = {(each["file"], each["line"]) for each in self.twin["set_aside"]}
        words = {each["written"]: each["read_as"] for each in self.twin["read_as"]}
        self.rows: dict[str, list[Row]] = defaultdict(list)
        for path in sorted(DEMO.rglob("*.?sv")):
            lines = path.read_bytes().decode("utf-8-sig", "replace")
            mark = next(mark for mark in "\t;," if mark in lines.splitlines()[0])
            table, place = csv.reader(lines.splitlines(keepends=True), delimiter=mark), 1
            heads = [re.sub(r" *\[.*", "", head.strip().lower()) for head in next(table)]
            for cells in table:
                line, place = place + 1, table.line_num
                row = {
                    head: words.get(cell.strip(), cell.strip())
                    for head, cell in zip(heads, cells, strict=False)
                }
                if (path.relative_to(DEMO).as_posix(), line) not in aside and row["date"] < self.end:
                    self.rows[
                        path.parent.name + ("/" + path.stem if path.parent.name != "pours" else "")
                    ].append(row)

    def of(self, log: str, span: str = "season") -> list[Row]:
        return [row for row in self.rows[log] if span == "season" or row["date"] >= self.start]

    def ever(self, log: str) -> list[Row]:
        """The rows of this season and those of the seasons before."""
        return self.rows["earlier/" + log.rpartition("/")[2]] + self.rows[log]

    def table(self, section: str, id: str, span: str = "") -> list[Row]:
        """The rows of a table, without those of other spans."""
        (found,) = (each for each in self.twin["sections"] if each["id"] == section)
        (table,) = (each for each in found["tables"] if each["id"] == id)
        rows = [
            dict(zip(["span", *table["columns"]][-len(row) :], row, strict=True)) for row in table["rows"]
        ]
        return [row for row in rows if span in {"", row["span"]}]

    def finding(self, section: str, id: str, group: str | None, span: str) -> Any:
        (found,) = (each for each in self.twin["sections"] if each["id"] == section)
        (one,) = (f for f in found["findings"] if (f["id"], f["group"], f["span"]) == (id, group, span))
        return one


@pytest.fixture(scope="module", params=["2026-07", "2026-10"])
def logs(request: pytest.FixtureRequest, demo_report: Callable[[str | None], Report]) -> Logs:
    """July with the season to date, and the last month with the whole season."""
    return Logs(demo_report(request.param))


def count(row: Row) -> int:
    return int(row.get("count") or 1)


def cavity(mold: str, name: str) -> Any:
    return next(each for each in BENCH["molds"][mold]["cavities"] if each["name"] == name)


def material(row: Row) -> str:
    return str(row.get("material") or BENCH["molds"][row["mold"]]["material"])


def density(item: str) -> float:
    return number(BENCH["items"][item].get("density", "1"))


class Masses:
    """What castings weigh, by mold, cavity and material: JCGM 100:2008 as the section's methods say."""

    def __init__(self, logs: Logs) -> None:
        nets: dict[tuple[str, str, str], list[tuple[float, int]]] = defaultdict(list)
        readings: dict[tuple[str, str, str], list[str]] = defaultdict(list)
        for row in logs.of("pours"):
            if row["outcome"] == "good" and row.get("mass"):
                key = row["mold"], row["cavity"], material(row)
                nets[key].append((self.net(row), count(row)))
                readings[key].append(row["mass"])
        squares: Counter[tuple[str, str]] = Counter()
        degrees: Counter[tuple[str, str]] = Counter()
        for key, rows in nets.items():
            m, n = (np.array(each, dtype=float) for each in zip(*rows, strict=True))
            squares[key[0], key[2]] += (n * (m / n / (m.sum() / n.sum()) - 1) ** 2).sum()
            degrees[key[0], key[2]] += len(m) - 1
        self.step, self.known = {}, {}
        for key, rows in nets.items():
            decimals = max(len(re.sub(r"^\d*[.,]?", "", text)) for text in readings[key])
            self.step[key] = 10.0**-decimals
            m, n = (np.array(each, dtype=float) for each in zip(*rows, strict=True))
            if n.sum() >= 3:
                mean, v = m.sum() / n.sum(), degrees[key[0], key[2]]
                s = math.sqrt(squares[key[0], key[2]] / v) * mean if v else 0.0
                spread = s * math.sqrt(v / (v - 2)) if v >= 3 else max(s, self.nominal(key)[1])
                rounding = self.step[key] / math.sqrt(12) * len(m) / n.sum()
                self.known[key] = (
                    mean,
                    math.hypot(spread / math.sqrt(n.sum()), rounding),
                    spread,
                    int(n.sum()),
                )

    @staticmethod
    def net(row: Row) -> float:
        insert = cavity(row["mold"], row["cavity"]).get("insert")
        return number(row["mass"]) - count(row) * (grams(BENCH["items"][insert]["mass"]) if insert else 0.0)

    @staticmethod
    def nominal(key: tuple[str, str, str]) -> tuple[float, float, float, int]:
        of = cavity(*key[:2])
        mass = grams(of["mass"])
        return mass, number(of["tolerance"]) / 100 * mass / math.sqrt(3), 0.0, 0

    def of(self, key: tuple[str, str, str]) -> tuple[float, float, float, int]:
        """Mean, its standard uncertainty, that of one casting, and how many were weighed."""
        return self.known.get(key, self.nominal(key))


Moved = tuple[str, str, str, float, float, str, float]


def movements(logs: Logs) -> Iterator[Moved]:
    """Day, item, kind, signed amount, its uncertainty; source and size of an error shared with others."""
    masses = Masses(logs)
    for row in logs.of("bench/stock 2026"):
        if row["move"] != "counted":
            item = BENCH["items"][row["item"]]
            amount, scale = grams(row["amount"], density(row["item"])), item.get("scale")
            u = grams(scale["resolution"]) / math.sqrt(12) if scale and row["move"] != "received" else 0.0
            u = grams(row["uncertainty"]) if row["uncertainty"] else u
            sign = 1 if row["move"] in {"received", "recovered"} else -1
            yield row["date"][:10], row["item"], row["move"], sign * amount, u, "", 0.0
    for row in logs.of("pours"):
        day, n, key = row["date"][:10], count(row), (row["mold"], row["cavity"], material(row))
        if (insert := cavity(*key[:2]).get("insert")) and row["outcome"] != "blank":
            yield day, insert, "in_castings", -float(n), 0.0, "", 0.0
        if row["outcome"] == "good" and row.get("mass"):
            yield day, key[2], "in_castings", -masses.net(row), masses.step[key] / math.sqrt(12), "", 0.0
        elif row["outcome"] == "good":
            mean, u, scatter, _ = masses.of(key)
            yield day, key[2], "in_castings", -n * mean, scatter * math.sqrt(n), " ".join(key), n * u
    for row in logs.of("bench/coating"):
        n, body = count(row), {"mold": row["mold"], "cavity": row["cavity"]}
        recipes = [
            each for each in BENCH["builds"].values() if each.get("coat", {}).get("item") == row["coat"]
        ]
        own = [grams(each["coat"]["mass"]) for each in recipes if each["head"] == body]
        own = own or [grams(each["coat"]["mass"]) for each in recipes]
        mean, half = sum(own) / len(own), max(0.1 * sum(own) / len(own), (max(own) - min(own)) / 2)
        source = f"{row['coat']} {body}"
        yield row["date"][:10], row["coat"], "in_castings", -n * mean, 0.0, source, n * half / math.sqrt(3)


@pytest.mark.parametrize("span", ["period", "season"])
def test_material_balance(logs: Logs, span: str) -> None:
    moved = list(movements(logs))
    opens = logs.start if span == "period" else "2026-03-01"
    shown = {row["item"]: row for row in logs.table("material_balance", "balance", span)}
    assert set(shown) == {row["item"] for row in logs.of("bench/stock 2026")}
    for item, row in shown.items():
        counts = [
            each for each in logs.of("bench/stock 2026") if (each["item"], each["move"]) == (item, "counted")
        ]
        # A count stands for the end of its day, the first of all for its start.
        before = [each for each in counts if each["date"] < opens] or counts[:1]
        first, last = before[-1], counts[-1]
        own = [each for each in moved if each[1] == item and opens <= each[0] < logs.end]
        flows: defaultdict[str, float] = defaultdict(float)
        shared: defaultdict[str, float] = defaultdict(float)
        for _, _, kind, amount, _, source, error in own:
            flows[kind] += abs(amount)
            shared[source] += math.copysign(error, amount)
        opening, closing = grams(first["amount"]), grams(last["amount"])
        book = opening + sum(each[3] for each in own)
        scale = BENCH["items"][item].get("scale")
        step = grams(scale["resolution"]) / math.sqrt(12) if scale else 0.0
        of_counts = [grams(each["uncertainty"]) if each["uncertainty"] else step for each in (first, last)]
        u = math.hypot(*of_counts, *(each[4] for each in own), *shared.values())
        expected = {"opening": opening, "book_closing": book, "counted_closing": closing}
        expected |= {"unaccounted": book - closing, "std_uncertainty": u}
        kinds = ("received", "recovered", "in_castings", "used", "discarded")
        expected |= {kind: flows[kind] for kind in kinds}
        assert {name: row[name] for name in expected} == near(expected), item


def test_casting_masses(logs: Logs) -> None:
    masses = Masses(logs)
    for row in logs.table("material_balance", "casting_mass", "season"):
        mean, u, _, weighed = masses.of((row["mold"], row["cavity"], row["material"]))
        assert row["weighed"] == weighed
        assert (row["mass_g"], row["std_uncertainty_g"]) == near((mean, u))


def session_sums(rows: list[Row]) -> dict[tuple[str, ...], list[int]]:
    """Bad castings and all, by day, name of the session and mold."""
    sums: dict[tuple[str, ...], list[int]] = defaultdict(lambda: [0, 0])
    for row in rows:
        if row["outcome"] != "blank":
            at = sums[row["date"][:10], row.get("session", ""), row["mold"]]
            at[0] += count(row) * (row["outcome"] == "reject")
            at[1] += count(row)
    return sums


def effect(sums: dict[tuple[str, ...], list[int]]) -> float:
    """The design effect of sessions with the doubt of few (Rao and Scott 1992; Korn and Graubard 1998)."""
    squares, binomial, degrees = 0.0, 0.0, 0
    for mold in {key[2] for key in sums}:
        y, n = np.array([each for key, each in sums.items() if key[2] == mold], dtype=float).T
        share = y.sum() / n.sum()
        if len(y) > 1:
            squares += ((y - share * n) ** 2).sum() * len(y) / (len(y) - 1)
            binomial += share * (1 - share) * n.sum()
        degrees += len(y) - 1
    if not binomial:
        return 1.0
    sizes = np.array([each[1] for each in sums.values()], dtype=float)
    capped = min(squares / binomial, (sizes**2).sum() / sizes.sum())
    return max(1.0, float(capped * (t.ppf(0.975, degrees) / norm.ppf(0.975)) ** 2))


@pytest.mark.parametrize("span", ["period", "season"])
def test_reject_rates_with_sessions_as_the_unit(logs: Logs, span: str) -> None:
    so_far, now = session_sums(logs.of("pours")), session_sums(logs.of("pours", span))
    for mold in (None, *{key[2] for key in now}):
        deff = effect({key: each for key, each in so_far.items() if mold in {None, key[2]}})
        bad, made = np.sum([each for key, each in now.items() if mold in {None, key[2]}], axis=0)
        deff = min(deff, made)
        share, n, z = bad / made, made / deff, norm.ppf(0.975)
        middle = (share + z * z / (2 * n)) / (1 + z * z / n)
        half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
        found = logs.finding("defect_rate", "reject_rate", mold, span)
        expected = (share, middle - half if bad else 0.0, middle + half)
        assert (found["value"], found["low"], found["high"]) == near(expected), mold
        assert found["n"] == made


def ratio_limits(y: np.ndarray[Any, Any], x: np.ndarray[Any, Any]) -> tuple[float, float, float]:
    """The ratio of totals by trips: the jackknife on the log scale, no narrower than Garwood's limits."""
    low, high = (chi2.ppf(0.025, 2 * y.sum()) / 2 if y.sum() else 0.0, chi2.ppf(0.975, 2 * y.sum() + 2) / 2)
    ratio, n = y.sum() / x.sum(), len(y)
    low, high = low / x.sum(), high / x.sum()
    if n > 1 and ratio:
        without = (y.sum() - y) / (x.sum() - x)
        error = math.sqrt((n - 1) / n * ((without - without.mean()) ** 2).sum())
        spread = math.exp(t.ppf(0.975, n - 1) * error / ratio)
        low, high = min(low, ratio / spread), max(high, ratio * spread)
    return ratio, low, high


@pytest.mark.parametrize("span", ["period", "season"])
def test_loss_rates_over_trips(logs: Logs, span: str) -> None:
    rows = logs.of("water/baits", span)
    groups = {("all", "all"): rows} | {
        (factor, name): [row for row in rows if row[factor] == name]
        for factor in ("build", "water")
        for name in {row[factor] for row in rows}
    }
    shown = {(row["factor"], row["group"]): row for row in logs.table("bait_mortality", "rates", span)}
    assert {key for key in shown if key[0] in {"all", "build", "water"}} <= set(groups)
    for key in set(groups) & set(shown):
        trips: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0])
        for row in groups[key]:
            trip = trips[row["date"][:10] + row["trip"]]
            trip[0] += count(row) * (row["fate"] in {"lost", "worn"})
            trip[1] += count(row) * hours(row["fished"])
        y, x = np.array(list(trips.values())).T
        row = shown[key]
        assert (row["lost"], row["bait_hours"]) == near((y.sum(), x.sum())), key
        assert (row["rate"], row["low"], row["high"]) == near(ratio_limits(y, x)), key


@pytest.mark.parametrize("span", ["period", "season"])
def test_catch_rates_over_trips(logs: Logs, span: str) -> None:
    fished: dict[str, list[Row]] = defaultdict(list)
    for row in logs.of("water/baits", span):
        fished[row["date"][:10] + " " + row["trip"]].append(row)
    for row in logs.table("catch_rate", "cpue", span):
        factor, group = row["factor"], row["group"]
        if factor not in {"all", "build", "water"}:
            continue
        trips: dict[str, list[float]] = {}
        for trip, stretches in fished.items():
            own = [each for each in stretches if factor == "all" or each[factor] == group]
            if own:
                trips[trip] = [0.0, sum(count(each) * hours(each["fished"]) for each in own)]
        for fish in logs.of("water/fish", span):
            trip = fish["date"][:10] + " " + fish["trip"]
            known = fish["build"] in {each["build"] for each in fished[trip]}
            wanted = row["species"] in {"all", fish["species"]} and (factor == "all" or fish[factor] == group)
            if known and wanted:
                trips[trip][0] += count(fish)
        y, x = np.array(list(trips.values())).T
        assert (row["fish"], row["effort_h"]) == near((y.sum(), x.sum())), row
        ratio, low, high = ratio_limits(y, x)
        assert row["rate"] == near(ratio)
        if ratio and row["low"] and row["high"] is not None:
            assert (row["low"], row["high"]) == near((low, high)), row


def prices(logs: Logs) -> dict[str, float]:
    """The moving average of what was paid, else the price of a pack."""
    found: dict[str, float] = {}
    moved, stock = list(movements(logs)), logs.of("bench/stock 2026")
    for name, item in BENCH["items"].items():
        average = None
        for row in (row for row in stock if (row["item"], row["move"]) == (name, "received") and row["cost"]):
            amount, day = grams(row["amount"], density(name)), row["date"][:10]
            counts = [
                each
                for each in stock
                if (each["item"], each["move"]) == (name, "counted") and each["date"] < day
            ]
            since = counts[-1]["date"] if len(counts) > 1 else counts[-1]["date"][:9] + "/"
            there = grams(counts[-1]["amount"]) + sum(
                each[3] for each in moved if each[1] == name and since < each[0] < day
            )
            average = (
                float(row["cost"]) / amount
                if average is None
                else (average * there + float(row["cost"])) / (there + amount)
            )
        pack = item["pack"]
        size = float(pack) if isinstance(pack, int) else grams(pack, density(name))
        found[name] = item["price"] / size if average is None else average
    return found


def test_cost_of_one_bait(logs: Logs) -> None:
    """All but what is `used` outside every recipe, glue, which every bait bears alike."""
    paid, masses = prices(logs), Masses(logs)
    made: Counter[tuple[str, ...]] = Counter()
    for row in logs.of("pours"):
        made[row["mold"], row["cavity"], row["outcome"]] += count(row)
        if row["outcome"] == "good":
            made[row["mold"], row["cavity"], "in", material(row)] += count(row)
    for row in logs.of("bench/coating"):
        dipped = row["mold"], row["cavity"], row["coat"]
        made[(*dipped, "coated")] += count(row) - int(row["rejects"] or 0)
        made[(*dipped, "stripped")] += int(row["rejects"] or 0)
    of_mold: Counter[str] = Counter()
    for row in logs.ever("pours"):
        of_mold[row["mold"]] += count(row) * (row["outcome"] == "good")
    glue = set()
    shown = {row["build"]: row for row in logs.table("cost", "per_build", "season")}
    for name, build in BENCH["builds"].items():
        if shown[name]["material"] is None or shown[name]["rejects_share"] is None:
            continue
        material_cost = rejects = share = 0.0
        for part in filter(None, (build.get("head"), build.get("trailer"))):
            key = part["mold"], part["cavity"]
            good = made[(*key, "good")]
            mix = {each[3]: n for each, n in made.items() if each[:3] == (*key, "in")}
            material_cost += sum(n / good * masses.of((*key, of))[0] * paid[of] for of, n in mix.items())
            insert = cavity(*key).get("insert")
            material_cost += paid[insert] if insert else 0.0
            rejects += made[(*key, "reject")] / good * paid[insert] if insert else 0.0
            share += BENCH["molds"][key[0]]["price"] / of_mold[key[0]]
        if coat := build.get("coat"):
            key = build["head"]["mold"], build["head"]["cavity"]
            mass = grams(coat["mass"])
            material_cost += mass * paid[coat["item"]]
            good, bad = (made[(*key, coat["item"], how)] for how in ("coated", "stripped"))
            rejects += bad / good * mass * paid[coat["item"]] if bad else 0.0
        material_cost += sum(n * paid[item] for item, n in build.get("fittings", {}).items())
        row = shown[name]
        glue.add(round(row["material"] - material_cost, 7))
        assert row["rejects_share"] == near(rejects), name
        assert row["mold_share"] == near(share), name
        assert row["cost"] == near(row["material"] + rejects + share), name
    assert len(glue) == 1, glue
    used = sum(
        grams(row["amount"])
        for row in logs.of("bench/stock 2026")
        if (row["item"], row["move"]) == ("glue", "used")
    )
    dressed = used * paid["glue"] / glue.pop()
    ended = sum(count(row) for row in logs.of("water/baits") if row["fate"] != "kept")
    assert ended < dressed < sum(n for each, n in made.items() if each[2:] == ("good",))


def test_losses_to_come_and_the_yield_of_fills(logs: Logs) -> None:
    names, total = list(BENCH["builds"]), defaultdict[tuple[str, str], float](float)
    for row in logs.ever("water/baits"):
        total[row["build"], "ended"] += count(row) * (row["fate"] in {"lost", "worn"})
        total[row["build"], "hours"] += count(row) * hours(row["fished"])
    x, h = (np.array([float(total[name, what]) for name in names]) for what in ("ended", "hours"))
    mean, seen = x.sum() / h.sum(), h > 0

    def misfit(log_shape: float) -> float:
        shape = math.exp(log_shape)
        return -float(nbinom.logpmf(x[seen], shape, 1 / (1 + mean * h[seen] / shape)).sum())

    ends = math.log(0.5), math.log(x.sum())
    shape = math.exp(min((*ends, minimize_scalar(misfit, bounds=ends, method="bounded").x), key=misfit))
    shape = min(shape, max(1.0, shape * (seen.sum() - 3) / (seen.sum() - 1)))
    sure, level = 1.0, BENCH["plan"]["service_level"]
    demand = {row["build"]: row for row in logs.table("pour_plan", "demand", "season")}
    for name, ended, fished in zip(names, x, h, strict=True):
        planned = 0.0 if name == "pea-bright" else float(BENCH["builds"][name]["planned_hours"])
        a, b = shape + ended, shape / mean + fished
        row = demand[name]
        assert row["expected_losses"] == pytest.approx(planned * a / b, rel=1e-5), name
        assert row["to_make"] == max(0, row["target_stock"] - (row["on_hand"] or 0)), name
        sure *= nbinom.cdf(max(row["target_stock"], row["on_hand"]), a, b / (b + planned))
    plan = logs.finding("pour_plan", "plan", None, "season")
    assert level <= plan["more"]["sure"] <= sure + 1e-6, "castings still to be poured may fail"
    good: Counter[tuple[str, str]] = Counter()
    poured: Counter[tuple[str, str]] = Counter()
    for row in logs.ever("pours"):
        good[row["mold"], row["cavity"]] += count(row) * (row["outcome"] == "good")
        poured[row["mold"], row["cavity"]] += count(row) * (row["outcome"] != "blank")
    usual = (sum(good.values()) + 1 - BENCH["plan"]["target_reject_rate"]) / (sum(poured.values()) + 1)
    for row in logs.table("pour_plan", "fills", "season"):
        key = row["mold"], row["cavity"]
        share = (good[key] + 10 * usual) / (poured[key] + 10)
        per_fill = cavity(*key).get("per_fill", 1)
        assert row["yielded"] == near(row["fills"] * per_fill * share), key
        assert row["surplus"] == near(row["yielded"] - row["needed"]), key
