"""What became of the baits: life curves, causes, rates and their contrasts."""

import math

import numpy as np
import pandas as pd
from scipy.stats import binomtest, chi2
from statsmodels.duration.survfunc import SurvfuncRight, survdiff
from statsmodels.stats.multitest import multipletests

from benchmarks.references.plain.logs import BAITS, BENCH, SPANS, Z
from benchmarks.references.plain.page import HOT, INK, PAGE, TABLES, picture, say, show


def followed():
    """Every row as a stretch of its bait's life: from which hours to which, and whether it ended."""
    rows = BAITS.dropna(subset=["fished_h"]).copy()
    rows["bait"] = rows["bait"].where(rows["bait"] != "", "row " + rows.index.astype(str))
    ended = (rows["fate"] != "kept").astype(int)
    rows["life"] = rows["bait"] + "/" + (ended.groupby(rows["bait"]).cumsum() - ended).astype(str)
    rows["exit"] = rows.groupby("life")["fished_h"].cumsum()
    rows["entry"], rows["ended"] = rows["exit"] - rows["fished_h"], ended
    rows["leader"] = np.where(rows["leader"].isin(["", "no"]), "no leader", "leader")
    for item in ("guard", "eye-3mm", "rattle", "skirt-black", "skirt-olive"):
        has = rows["build"].map(lambda build, item=item: item in BENCH["builds"][build].get("fittings", {}))
        rows[item] = np.where(has, item, f"no {item}")
    rows["coat"] = rows["build"].map(
        lambda build: BENCH["builds"][build].get("coat", {}).get("item", "no coat")
    )
    return rows


def survival(rows):
    """Kaplan and Meier with late entry, log(-log) limits."""
    told = SurvfuncRight(
        rows["exit"], rows["ended"], entry=np.maximum(rows["entry"] - 1e-9, 0), freq_weights=rows["count"]
    )
    inside = (told.surv_prob > 0) & (told.surv_prob < 1)
    log = np.log(-np.log(told.surv_prob[inside]))
    error = told.surv_prob_se[inside] / np.abs(told.surv_prob[inside] * np.log(told.surv_prob[inside]))
    low, high = told.surv_prob.copy(), told.surv_prob.copy()
    low[inside], high[inside] = (np.exp(-np.exp(log + sign * Z * error)) for sign in (1, -1))
    return pd.DataFrame(
        {
            "time_h": told.surv_times,
            "at_risk": told.n_risk,
            "lost": told.n_events,
            "survival": told.surv_prob,
            "low": low,
            "high": high,
        }
    )


def incidences(rows, causes):
    """The share that each cause has ended (Aalen and Johansen), with log(-log) limits."""
    times = np.unique(rows.loc[rows["ended"] == 1, "exit"])
    weight = rows["count"].to_numpy()[:, None]
    at_risk = (
        (rows["entry"].to_numpy()[:, None] < times) & (rows["exit"].to_numpy()[:, None] >= times)
    ) * weight
    number = at_risk.sum(axis=0)
    hits = np.array(
        [
            ((rows["exit"].to_numpy()[:, None] == times) * weight)[
                (rows["cause"] == cause) & (rows["ended"] == 1)
            ].sum(axis=0)
            for cause in causes
        ]
    )
    alive = np.r_[1.0, np.cumprod(1 - hits.sum(axis=0) / number)]
    share = np.cumsum(alive[:-1] * hits / number, axis=1)
    variance = np.empty_like(share)
    total = hits.sum(axis=0)
    for at in range(len(times)):
        ahead = share[:, [at]] - share[:, : at + 1]
        n, d, s = number[: at + 1], total[: at + 1], alive[: at + 1]
        variance[:, at] = (
            ahead**2 * d / (n * np.maximum(n - d, 1))
            + s**2 * hits[:, : at + 1] * (n - hits[:, : at + 1]) / n**3
            - 2 * ahead * s * hits[:, : at + 1] / n**2
        ).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        half = Z * np.sqrt(variance) / np.abs(share * np.log(share))
        low, high = share ** np.exp(half), share ** np.exp(-half)
    return times, share, low, high


def rate_of(lost, hours_):
    return (
        lost / hours_,
        chi2.ppf(0.025, 2 * lost) / 2 / hours_ if lost else 0.0,
        chi2.ppf(0.975, 2 * lost + 2) / 2 / hours_,
    )


FACTORS = (
    "leader",
    "coat",
    "guard",
    "eye-3mm",
    "rattle",
    "skirt-black",
    "skirt-olive",
    "build",
    "water",
    "angler",
    "habitat",
)


def rate_tables(rows):
    """Rates by factor and group with exact limits; each group against the others, also among like trips."""
    hours_ = rows["fished_h"] * rows["count"]
    lost = rows["ended"] * rows["count"]
    found, contrasts = [("all", "all", hours_.sum(), lost.sum(), *rate_of(lost.sum(), hours_.sum()))], []
    strata = rows["habitat"] + rows["leader"]
    for factor in FACTORS:
        tags = (
            rows[factor].str.split("; ?", regex=True)
            if factor == "habitat"
            else rows[factor].map(lambda name: [name])
        )
        groups = sorted({tag for told in tags for tag in told})
        for group in groups if len(groups) > 1 else []:
            inside = tags.map(lambda told, group=group: group in told)
            mine, time = lost[inside].sum(), hours_[inside].sum()
            found.append((factor, group, time, mine, *rate_of(mine, time)))
            other, rest = lost[~inside].sum(), hours_[~inside].sum()
            if time < 5 or rest < 5 or mine + other < 5:
                continue
            test = binomtest(int(mine), int(mine + other), time / (time + rest))
            low, high = (
                share / (1 - share) * rest / time if share < 1 else math.inf for share in test.proportion_ci()
            )
            ratio = mine / time / (other / rest) if other else math.inf
            parts = (
                pd.DataFrame(
                    {
                        "s": strata,
                        "a": lost * inside,
                        "b": lost * ~inside,
                        "t": hours_ * inside,
                        "r": hours_ * ~inside,
                    }
                )
                .groupby("s")
                .sum()
            )
            whole = parts["t"] + parts["r"]
            up, down = (parts["a"] * parts["r"] / whole).sum(), (parts["b"] * parts["t"] / whole).sum()
            among = up / down if down else math.inf
            error = (
                math.sqrt(
                    ((parts["a"] + parts["b"]) * parts["t"] * parts["r"] / whole**2).sum() / (up * down)
                )
                if up * down
                else math.inf
            )
            contrasts.append(
                (
                    factor,
                    group,
                    "the others",
                    ratio,
                    low,
                    high,
                    test.pvalue,
                    math.nan,
                    among,
                    among * math.exp(-Z * error),
                    among * math.exp(min(Z * error, 50)),
                )
            )
    table = pd.DataFrame(found, columns=["factor", "group", "bait_hours", "lost", "rate", "low", "high"])
    names = [
        "factor",
        "group",
        "against",
        "ratio",
        "low",
        "high",
        "p",
        "p_adjusted",
        "within",
        "within_low",
        "within_high",
    ]
    against = pd.DataFrame(contrasts, columns=names)
    if len(against):
        against["p_adjusted"] = multipletests(against["p"], method="holm")[1]
    return table, against.sort_values("p")


def draw_survival(axes, curves, horizon):
    for (name, (rows, told)), colour, style in zip(curves.items(), (INK, HOT), ("-", "--"), strict=False):
        x, y, low, high = (
            np.r_[first, told[column]]
            for first, column in ((0, "time_h"), (1, "survival"), (1, "low"), (1, "high"))
        )
        axes.fill_between(x, low, high, step="post", color=colour, alpha=0.15, linewidth=0)
        axes.step(x, y, style, where="post", color=colour, label=name)
        for tick in np.arange(0, horizon + 0.01, 1):
            risk = rows.loc[(rows["entry"] <= tick) & (rows["exit"] >= tick), "count"].sum()
            axes.annotate(
                f"{risk:.0f}",
                (tick, 0),
                (0, -36 - 9 * (name == "leader")),
                textcoords="offset points",
                ha="center",
                fontsize=7,
                annotation_clip=False,
            )
    axes.set(xlim=(0, horizon), ylim=(0, 1.02), xlabel="hours in use", ylabel="share still in use")
    axes.legend(frameon=False)


def draw_causes(axes, causes, times, share, horizon):
    inside = times <= horizon
    x, below = np.r_[0, times[inside], horizon], 0.0
    for cause, rising, colour in zip(
        causes,
        share[:, inside],
        ("#0f4c5c", "#e0481f", "#5d2981", "#3a97c9", "#cc3a8a", "#62a035"),
        strict=False,
    ):
        top = below + np.r_[0, rising, rising[-1:]]
        axes.fill_between(x, below, top, step="post", color=colour, linewidth=0)
        axes.annotate(
            f"{cause} {rising[-1]:.0%}",
            (horizon, (top[-1] + np.max(np.r_[0, below])) / 2),
            (4, 0),
            textcoords="offset points",
            fontsize=7,
            annotation_clip=False,
        )
        below = top
    axes.set(xlim=(0, horizon), ylim=(0, 1), xlabel="hours in use", ylabel="share of baits")


def baits():
    PAGE.append("<h2>What became of the baits</h2>")
    everything = followed()
    for span, (start, end) in SPANS.items():
        rows = everything[(everything["date"] >= start) & (everything["date"] < end)]
        lost = rows[rows["ended"] == 1]
        causes = list(lost.groupby("cause")["count"].sum().sort_values(ascending=False).index)
        horizon = 4.0 if span == "season" else 2.0
        whole, (times, share, low, high) = survival(rows), incidences(rows, causes)
        at = max(int((times <= horizon).sum()) - 1, 0)
        summary = [
            (
                cause,
                lost.loc[lost["cause"] == cause, "count"].sum(),
                horizon,
                share[n, at],
                low[n, at],
                high[n, at],
            )
            for n, cause in enumerate(causes)
        ]
        ended, hours_ = lost["count"].sum(), (rows["fished_h"] * rows["count"]).sum()
        rate, least, most = rate_of(ended, hours_)
        baits_ = rows.drop_duplicates("life")["count"].sum()
        between = f"{1 / most:.1f} to {1 / least:.1f} h"
        say(f"{ended} of {baits_} baits ended in {hours_:.1f} hours: one in {1 / rate:.1f} h ({between}).")
        half = whole[whole["survival"] <= 0.5]["time_h"].min()
        limits = whole[whole["high"] <= 0.5]["time_h"].min(), whole[whole["low"] <= 0.5]["time_h"].min()
        say(f"Half of baits have ended by {half:.2f} h ({limits[1]:.2f} to {limits[0]:.2f} h).")
        x, y = (
            np.r_[0, whole["time_h"][whole["time_h"] < horizon], horizon],
            np.r_[1, whole["survival"][whole["time_h"] < horizon]],
        )
        say(f"Of the first {horizon:g} h, baits serve {(np.diff(x) * y).sum():.2f} h on average.")
        table, against = rate_tables(rows)
        for factor in ("leader", "guard", "rattle", "water"):
            if rows[factor].nunique() > 1:
                statistic, p = survdiff(
                    rows["exit"], rows["ended"], rows[factor], entry=np.maximum(rows["entry"] - 1e-9, 0)
                )
                say(f"By {factor}: log-rank chi-square {statistic:.2f}, p = {p:.3f}.")
        curves = {
            name: (rows[rows["leader"] == name], survival(rows[rows["leader"] == name]))
            for name in ("no leader", "leader")
        }
        picture(lambda axes, c=curves, h=horizon: draw_survival(axes, c, h))
        picture(lambda axes, c=causes, t=times, s=share, h=horizon: draw_causes(axes, c, t, s, h))
        month = span == "month"
        show(
            "What becomes of a bait",
            span,
            pd.DataFrame(summary, columns=["cause", "baits", "hours", "share", "low", "high"]),
            month,
        )
        show("How fast baits end", span, table, month, paper=10)
        if not month:
            show("Rates held against each other", span, against, paper=6)
        show("Baits lost and worn", span, lost.groupby(["fate", "cause"])["count"].sum().reset_index(), month)
        TABLES[f"rates {span}"] = table.to_dict("records")
        TABLES[f"survival {span}"] = [
            row for name, (_, told) in curves.items() for row in told.assign(group=name).to_dict("records")
        ]
        TABLES[f"causes {span}"] = [
            dict(zip(("cause", "time_h", "incidence", "low", "high"), (cause, t, *v), strict=True))
            for n, cause in enumerate(causes)
            for t, *v in zip(times, share[n], low[n], high[n], strict=True)
        ]
