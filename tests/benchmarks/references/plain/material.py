"""Where the material went: balances, adjusted counts, yields, casting masses; a flow and the stock."""

import math

import numpy as np
import pandas as pd
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline
from scipy.stats import chi2

from benchmarks.references.plain.logs import BENCH, CAVITIES, COATS, END, POURS, SPANS, STOCK, amounts
from benchmarks.references.plain.page import (
    COLD,
    HOT,
    INK,
    PAGE,
    TABLES,
    design_effect,
    picture,
    say,
    show,
    wilson,
)


def casting_masses():
    """What a casting weighs, by cavity and material: the mean of those weighed, else the nominal mass."""
    weighed = POURS[(POURS["outcome"] == "good") & (POURS["mass_g"] > 0)].copy()
    inserts = {
        cavity: amounts(pd.Series([BENCH["items"][told["insert"]]["mass"]]))[0] if "insert" in told else 0.0
        for cavity, told in CAVITIES.items()
    }
    weighed["each"] = weighed["mass_g"] / weighed["count"]
    weighed["each"] -= [inserts.get(key, 0.0) for key in zip(weighed["mold"], weighed["cavity"], strict=True)]
    rows = []
    poured = POURS[["mold", "cavity", "material"]].drop_duplicates()
    for mold, cavity, material in poured.itertuples(index=False):
        told = CAVITIES.get((mold, cavity))
        if told is None:
            continue
        nominal = amounts(pd.Series([told["mass"]]))[0]
        each = weighed.query("mold == @mold and cavity == @cavity and material == @material")["each"]
        enough = len(each) >= 3
        error = each.std() / math.sqrt(len(each)) if enough else nominal * 0.05 / math.sqrt(3)
        mass = each.mean() if enough else nominal
        rows.append(
            (mold, cavity, material or BENCH["molds"][mold]["material"], mass, error, nominal, len(each))
        )
    columns = ["mold", "cavity", "material", "mass_g", "std_uncertainty_g", "nominal_g", "weighed"]
    return pd.DataFrame(rows, columns=columns).drop_duplicates(["mold", "cavity", "material"])


def work_rows(masses):
    """What castings and coats took of each item, day by day: metal in good ones, inserts in rejects too."""
    mean = {
        key: (mass, error)
        for *key, mass, error in masses.iloc[:, :5].itertuples(index=False)
        for key in [tuple(key)]
    }
    cast = POURS[POURS["outcome"].isin(["good", "reject"])]
    rows = []
    for date, mold, cavity, material, count, outcome in cast[
        ["date", "mold", "cavity", "material", "count", "outcome"]
    ].itertuples(index=False):
        material = material or BENCH["molds"][mold]["material"]
        mass, error = mean.get((mold, cavity, material), (0.0, 0.0))
        if outcome == "good":
            rows.append((date, material, "in_castings", count * mass, count * error))
        if "insert" in CAVITIES.get((mold, cavity), {}):
            rows.append((date, CAVITIES[mold, cavity]["insert"], "in_castings", count, 0.0))
    recipe = {
        (build["head"]["mold"], build["head"]["cavity"], build["coat"]["item"]): amounts(
            pd.Series([build["coat"]["mass"]])
        )[0]
        for build in BENCH["builds"].values()
        if "coat" in build
    }
    for date, mold, cavity, coat, count in COATS[["date", "mold", "cavity", "coat", "count"]].itertuples(
        index=False
    ):
        if count:
            each = recipe.get((mold, cavity, coat), 0.15)
            rows.append((date, coat, "in_castings", float(count) * each, 0.1 * float(count) * each))
    return pd.DataFrame(rows, columns=["date", "item", "move", "amount", "error"])


MASSES = casting_masses()
MOVES = pd.concat(
    [STOCK[["date", "item", "move", "amount"]].assign(error=0.0), work_rows(MASSES)]
).sort_values("date", kind="stable")
SIGN = {"received": 1, "recovered": 1, "in_castings": -1, "used": -1, "discarded": -1}


def step(item):
    """The standard uncertainty of a count: the scale's step as a rectangle."""
    scale = BENCH["items"][item].get("scale")
    return amounts(pd.Series([scale["resolution"]]))[0] / math.sqrt(12) if scale else 0.0


def balance(span):
    start, end = SPANS[span]
    rows = []
    for item in BENCH["items"]:
        mine = MOVES[MOVES["item"] == item]
        counts = mine[mine["move"] == "counted"]
        before, within = counts[counts["date"] < start], counts[counts["date"] < end]
        if within.empty:
            continue
        opening, closing = (before if len(before) else within.head(1)).iloc[-1], within.iloc[-1]
        flows = mine[
            (mine["date"] > opening["date"]) & (mine["date"] <= closing["date"]) & (mine["move"] != "counted")
        ]
        sums = flows.groupby("move")["amount"].sum()
        moved = [float(sums.get(move, 0.0)) for move in SIGN]
        book = opening["amount"] + sum(
            sign * amount for sign, amount in zip(SIGN.values(), moved, strict=True)
        )
        error = math.sqrt(2 * step(item) ** 2 + (flows["error"] ** 2).sum())
        gap = book - closing["amount"]
        verdict = "closes" if abs(gap) <= 2 * error + 1e-9 else "missing" if gap > 0 else "surplus"
        rows.append((item, opening["amount"], *moved, book, closing["amount"], gap, error, verdict))
    columns = [
        "item",
        "opening",
        *SIGN,
        "book_closing",
        "counted",
        "unaccounted",
        "std_uncertainty",
        "verdict",
    ]
    return pd.DataFrame(rows, columns=columns)


def adjust(item):
    """Counts and the stretches between them, adjusted to agree: least squares, and the chi-square of it."""
    mine = MOVES[MOVES["item"] == item]
    counts = mine[mine["move"] == "counted"]
    if len(counts) < 2:
        return None
    flows, errors = [], []
    for first, last in zip(counts["date"], counts["date"].iloc[1:], strict=False):
        part = mine[(mine["date"] > first) & (mine["date"] <= last) & (mine["move"] != "counted")]
        flows.append((part["amount"] * part["move"].map(SIGN)).sum())
        errors.append(max(math.sqrt((part["error"] ** 2).sum()), step(item), 0.5))
    measured = np.r_[counts["amount"], flows]
    variance = np.r_[np.full(len(counts), max(step(item), 0.5) ** 2), np.square(errors)]
    links = np.zeros((len(flows), len(measured)))
    for at in range(len(flows)):
        links[at, [at, at + 1, len(counts) + at]] = 1, -1, 1
    spread = links * variance @ links.T
    off = links @ measured
    fix = variance * (links.T @ np.linalg.solve(spread, off))
    statistic = float(off @ np.linalg.solve(spread, off))
    z = fix / np.sqrt(
        variance * np.einsum("ij,jk,ik->i", links.T * variance[:, None], np.linalg.inv(spread), links.T)
    )
    dates = [*counts["date"].dt.strftime("%Y-%m-%d"), *counts["date"].iloc[1:].dt.strftime("%Y-%m-%d")]
    rows = zip(dates, measured, np.sqrt(variance), measured - fix, -fix, z, strict=True)
    told = [
        dict(zip(("date", "measured", "error", "adjusted", "adjustment", "z"), row, strict=True))
        for row in rows
    ]
    return statistic, chi2.sf(statistic, len(flows)), told


def yields(span):
    start, end = SPANS[span]
    rows = []
    mass = {(mold, cavity): each for mold, cavity, _, each in MASSES.iloc[:, :4].itertuples(index=False)}
    for mold, group in POURS[(POURS["date"] >= start) & (POURS["date"] < end)].groupby("mold"):
        group = group.assign(
            grams=[mass.get(key, 0.0) for key in zip(group["mold"], group["cavity"], strict=True)]
            * group["count"]
        )
        made = group.groupby("outcome")["count"].sum()
        weight = group.groupby("outcome")["grams"].sum()
        good, bad, blank = (float(made.get(each, 0)) for each in ("good", "reject", "blank"))
        cast = group[group["outcome"] != "blank"].assign(
            made=lambda each: each["count"], bad=lambda each: each["count"] * (each["outcome"] == "reject")
        )
        effect, poured = design_effect(cast), float(weight.sum())
        first, metal = good / (good + bad), float(weight.get("good", 0)) / poured
        rows.append(
            (
                mold,
                good,
                bad,
                blank,
                first,
                *wilson(good, good + bad, effect),
                metal,
                *wilson(metal * (good + bad + blank), good + bad + blank, effect),
                poured,
            )
        )
    columns = [
        "mold",
        "good",
        "rejects",
        "blanks",
        "first_pass",
        "low",
        "high",
        "metal",
        "metal_low",
        "metal_high",
        "poured_g",
    ]
    return pd.DataFrame(rows, columns=columns)


def draw_flow(axes, row, into, out):
    """What came in on the left, through the middle, to what became of it on the right."""
    whole = max(row[into].sum(), row[out].sum())
    axes.set_axis_off()
    axes.add_patch(Rectangle((0.48, 0), 0.04, whole, color=INK))
    for names, left in ((into, True), (out, False)):
        inner = outer = whole
        for name in [name for name in names if row[name] > 0]:
            amount = row[name]
            a, b = (0.04, outer), (0.48, inner)
            if not left:
                a, b = (0.52, inner), (0.96, outer)
            half = (a[0] + b[0]) / 2
            corners = [
                a,
                (half, a[1]),
                (half, b[1]),
                b,
                (b[0], b[1] - amount),
                (half, b[1] - amount),
                (half, a[1] - amount),
                (a[0], a[1] - amount),
                a,
            ]
            codes = [1, 4, 4, 4, 2, 4, 4, 4, 79]
            axes.add_patch(PathPatch(Outline(corners, codes), color=COLD, alpha=0.3, linewidth=0))
            axes.text(
                0 if left else 1,
                outer - amount / 2,
                f"{name}\n{amount / 453.59237:.2f} lb",
                ha="right" if left else "left",
                va="center",
                fontsize=7,
            )
            outer -= amount + 0.05 * whole
            inner -= amount
    axes.set_xlim(0, 1)
    axes.set_ylim(-0.3 * whole, 1.05 * whole)


def draw_stock(axes, item):
    mine = MOVES[MOVES["item"] == item]
    counts = mine[mine["move"] == "counted"]
    ends = [*counts["date"].iloc[1:], END]
    for (_, count), end in zip(counts.iterrows(), ends, strict=True):
        part = mine[(mine["date"] > count["date"]) & (mine["date"] <= end) & (mine["move"] != "counted")]
        level = count["amount"] + (part["amount"] * part["move"].map(SIGN)).cumsum()
        axes.step(
            [count["date"], *part["date"], end],
            np.r_[count["amount"], level, level.iloc[-1] if len(level) else count["amount"]] / 453.59237,
            where="post",
            color=INK,
        )
    axes.plot(counts["date"], counts["amount"] / 453.59237, "s", color=HOT, mfc="white", label="counted")
    axes.set_ylabel(f"{item}, lb")
    axes.legend(frameon=False)


def material():
    PAGE.append("<h2>Where the material went</h2>")
    for span in SPANS:
        table, made = balance(span), yields(span)
        say(f"The books of {(table['verdict'] == 'closes').sum()} of {len(table)} items close.")
        for row in made.itertuples():
            limits = f"({row.low:.0%} to {row.high:.0%})"
            made_ = row.good + row.rejects
            say(f"{row.mold}: {row.first_pass:.0%} of {made_:.0f} castings were good {limits}.")
        for row in table[table["in_castings"] * table["discarded"] > 0].itertuples():
            say(f"{row.item}: {row.discarded / (row.discarded + row.in_castings):.0%} was thrown away.")
        still = (table["verdict"] == "closes") & (table[list(SIGN)] == 0).all(axis=1)
        if still.any():
            say(f"Nothing moved, and all is there: {', '.join(table['item'][still])}.")
        in_order = pd.concat([table[~still], table[still]])
        show("Material balance", span, in_order, span == "season", paper=int((~still).sum()))
        show("What each mold gave", span, made, span == "month")
        show("What a casting is taken to weigh", span, MASSES, True)
    adjusted = {item: adjust(item) for item in BENCH["items"]}
    TABLES["reconciled"] = {item: told for item, told in adjusted.items() if told}
    for item, told in TABLES["reconciled"].items():
        if told[1] < 0.05:
            told = f"(chi-square {told[0]:.1f}, p = {told[1]:.3f})"
            say(f"{item}: the counts do not agree with the rows between them {told}.")
    metal = table[table["item"] == "alloy"].iloc[0]
    picture(
        lambda axes: draw_flow(
            axes, metal, ["opening", "received", "recovered"], ["in_castings", "used", "discarded", "counted"]
        )
    )
    picture(lambda axes: draw_stock(axes, "alloy"))
