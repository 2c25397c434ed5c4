"""Bad castings: by temperature, cavity and session, the window of each mold, and its heat."""

import math
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import brentq, least_squares
from scipy.stats import chi2
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.multitest import multipletests

from benchmarks.references.plain.logs import GOAL, POURS, SPANS, Z
from benchmarks.references.plain.page import (
    COLD,
    HOT,
    INK,
    PAGE,
    TABLES,
    design_effect,
    picture,
    rates,
    say,
    show,
    wilson,
)


def fit(fills, flaw):
    """A logistic curve over temperature, errors clustered by fill; None where there is too little to fit."""
    if fills[flaw].sum() < 5:
        return None
    ends = np.column_stack([fills[flaw], fills["made"] - fills[flaw]])
    across = np.column_stack([np.ones(len(fills)), (fills["mold_temp_c"] - 150) / 30])
    groups = pd.factorize(fills["fill_id"])[0]
    return GLM(ends, across, family=Binomial()).fit(cov_type="cluster", cov_kwds={"groups": groups})


def curve(model, grid):
    """The share with its limits, by the delta method on the logit."""
    across = np.column_stack([np.ones(len(grid)), (grid - 150) / 30])
    eta, error = across @ model.params, np.sqrt(np.einsum("ij,jk,ik->i", across, model.cov_params(), across))
    return tuple(1 / (1 + np.exp(-each)) for each in (eta, eta - Z * error, eta + Z * error))


def crossing(models, plain, low, high, best):
    """Where the sum of the flaws meets the goal on both sides of the best temperature, with delta limits."""

    def total(temp, shift=None):
        told = plain
        for at, model in enumerate(models):
            params = model.params if shift is None or shift[0] != at else shift[1]
            told += 1 / (1 + math.exp(-(params[0] + params[1] * (temp - 150) / 30)))
        return told - GOAL

    found: list[Any] = []
    for a, b in ((low, best), (best, high)):
        if total(a) * total(b) >= 0:
            found.append(None)
            continue
        at = brentq(total, a, b)
        slope, variance = (total(at + 0.01) - total(at - 0.01)) / 0.02, 0.0
        for place, model in enumerate(models):
            gradient = np.array(
                [
                    (total(at, (place, model.params + nudge)) - total(at, (place, model.params - nudge)))
                    / 2e-4
                    for nudge in 1e-4 * np.eye(2)
                ]
            )
            variance += gradient @ model.cov_params() @ gradient
        half = Z * math.sqrt(variance) / abs(slope)
        found.append((at, at - half, at + half))
    return found


def heat(mold, fills):
    """A lump that each fill warms and the air cools, fitted to the measured fills of all sessions."""
    sessions = [group["mold_temp_c"].to_numpy() for _, group in fills.groupby("session")]
    if sum(np.isfinite(each).sum() for each in sessions) < 5:
        return None

    def course(parameters, session):
        gain, loss = np.exp(parameters)
        temp, told = session[np.isfinite(session)][0] if np.isfinite(session).any() else 20.0, []
        for reading in session:
            told.append(temp)
            temp = (
                (reading if np.isfinite(reading) else temp)
                + gain
                - loss * ((reading if np.isfinite(reading) else temp) - 20)
            )
        return np.array(told)

    def off(parameters):
        return np.concatenate([(course(parameters, each) - each)[np.isfinite(each)] for each in sessions])

    fitted = least_squares(off, np.log([12.0, 0.08]), loss="soft_l1")
    return fitted.x, np.concatenate([course(fitted.x, each) for each in sessions])


def one_against_rest(castings):
    """Each cavity against the others of its mold within the same fill (Mantel, Haenszel), after Holm."""
    rows = []
    for mold, group in castings.groupby("mold"):
        for cavity in sorted(group["cavity"].unique()):
            tables = []
            for _, fill in group.groupby("fill_id"):
                mine, other = fill[fill["cavity"] == cavity], fill[fill["cavity"] != cavity]
                if len(mine) and len(other):
                    tables.append(
                        [
                            [mine["bad"].sum(), (mine["made"] - mine["bad"]).sum()],
                            [other["bad"].sum(), (other["made"] - other["bad"]).sum()],
                        ]
                    )
            p = (
                StratifiedTable(np.array(tables, dtype=float).transpose(1, 2, 0))
                .test_null_odds(correction=True)
                .pvalue
                if tables
                else math.nan
            )
            bad, made = group.loc[group["cavity"] == cavity, ["bad", "made"]].sum()
            rows.append((mold, cavity, made, bad, bad / made, *wilson(bad, made, design_effect(group)), p))
    table = pd.DataFrame(
        rows, columns=["mold", "cavity", "castings", "bad", "rate", "low", "high", "p_adjusted"]
    )
    known = table["p_adjusted"].notna()
    if known.any():
        table.loc[known, "p_adjusted"] = multipletests(table.loc[known, "p_adjusted"], method="holm")[1]
    return table


def by_session(castings):
    rows = []
    for mold, group in castings.groupby("mold"):
        center, effect = group["bad"].sum() / group["made"].sum(), design_effect(group)
        for session, part in group.groupby("session"):
            made, bad = part["made"].sum(), part["bad"].sum()
            half = 3 * math.sqrt(center * (1 - center) * effect / made)
            low, high = max(0.0, center - half), min(1.0, center + half)
            rows.append(
                (mold, session, made, bad, bad / made, center, low, high, not low <= bad / made <= high)
            )
    return pd.DataFrame(
        rows, columns=["mold", "session", "castings", "bad", "rate", "center", "lower", "upper", "signal"]
    )


def draw_window(axes, bins, models, grid, plain, window):
    total = np.full(len(grid), plain)
    fahrenheit = grid * 1.8 + 32
    for name, colour, model in models:
        rate, low, high = curve(model, grid)
        total = total + rate
        axes.fill_between(fahrenheit, 100 * low, 100 * high, color=colour, alpha=0.15, linewidth=0)
        axes.plot(fahrenheit, 100 * rate, "--", color=colour)
        axes.annotate(name, (fahrenheit[60], 100 * rate[60]), fontsize=7)
    axes.plot(fahrenheit, 100 * total, color=INK)
    if window[0]:
        axes.axvspan(
            window[0][0] * 1.8 + 32,
            (window[1][0] if window[1] else grid[-1]) * 1.8 + 32,
            color="#eaf1f0",
            zorder=0,
        )
    middle = (bins["from_f"] + bins["to_f"]) / 2
    axes.vlines(middle, 100 * bins["low"], 100 * bins["high"], color=INK)
    axes.plot(middle, 100 * bins["rate"], "o", color=INK)
    axes.axhline(100 * GOAL, color="black", linestyle="--", linewidth=0.8)
    axes.set(ylim=(0, 104), xlabel="mold temperature before the fill, °F", ylabel="bad castings, %")


def draw_sessions(axes, table):
    order = np.arange(len(table))
    axes.fill_between(order, 100 * table["lower"], 100 * table["upper"], color=INK, alpha=0.15, linewidth=0)
    axes.axhline(100 * table["center"].iloc[0], color="black", linestyle="--", linewidth=0.8)
    for signal, colour in ((False, INK), (True, HOT)):
        axes.plot(
            order[table["signal"] == signal],
            100 * table["rate"][table["signal"] == signal],
            "o",
            color=colour,
            mfc="white",
            label="beyond them" if signal else "within the limits",
        )
    axes.set_xticks(order, table["session"])
    axes.set(ylim=(0, 104), ylabel="bad castings, %")
    axes.legend(frameon=False, ncols=2)


def castings_of(span):
    start, end = SPANS[span]
    castings = POURS[(POURS["date"] >= start) & (POURS["date"] < end) & (POURS["outcome"] != "blank")].copy()
    castings["made"], bad = castings["count"], castings["outcome"] == "reject"
    castings["bad"] = castings["count"] * bad
    castings["cold"] = castings["count"] * (bad & castings["flaw"].isin(["short fill", "cold shut"]))
    castings["hot"] = castings["count"] * (bad & castings["flaw"].isin(["flash", "porosity"]))
    return castings


def defects():
    PAGE.append("<h2>Bad castings</h2>")
    for span in SPANS:
        castings, drawn = castings_of(span), 0
        bad, made = castings["bad"].sum(), castings["made"].sum()
        low, high = wilson(bad, made, design_effect(castings))
        limits = f"({low:.1%} to {high:.1%})"
        say(f"All molds: {bad:.0f} of {made:.0f} castings were bad, {bad / made:.1%} {limits}.")
        for row in rates(castings, ["mold"]).itertuples():
            limits = f"({row.low:.0%} to {row.high:.0%})"
            say(
                f"{row.mold}: {row.bad:.0f} of {row.castings:.0f} castings were bad, {row.rate:.0%} {limits}."
            )
        warm = castings[castings["mold_temp_c"].notna()].copy()
        warm["from_f"] = (warm["mold_temp_c"] * 1.8 + 32) // 25 * 25
        warm["to_f"] = warm["from_f"] + 25
        bins = rates(warm, ["mold", "from_f", "to_f"])
        show("By mold temperature", span, bins, True)
        curves, estimates = [], []
        for mold, of_mold in warm.groupby("mold"):
            trend = (
                np.corrcoef(of_mold["mold_temp_c"], of_mold["bad"] / of_mold["made"])[0, 1]
                if len(of_mold) > 2
                else 0
            )
            statistic = trend**2 * (len(of_mold) - 1) / design_effect(of_mold)
            say(f"{mold}: trend over temperature, p = {chi2.sf(statistic, 1):.3f}.")
            models = [
                (name, colour, model)
                for name, colour, flaw in (
                    ("short or cold shut", COLD, "cold"),
                    ("flash or porosity", HOT, "hot"),
                )
                if (model := fit(of_mold, flaw)) is not None
            ]
            if not models:
                continue
            grid = np.linspace(of_mold["mold_temp_c"].min(), of_mold["mold_temp_c"].max(), 121)
            modelled = sum(of_mold[flaw].sum() for flaw in ("cold", "hot") if of_mold[flaw].sum() >= 5)
            plain = max(0.0, (of_mold["bad"].sum() - modelled) / of_mold["made"].sum())
            total = plain + sum(curve(model, grid)[0] for *_, model in models)
            window = crossing([model for *_, model in models], plain, grid[0], grid[-1], grid[total.argmin()])
            for side, told in zip(("first met at", "passed again at"), window, strict=True):
                if told:
                    at, low, high = (each * 1.8 + 32 for each in told)
                    say(f"{mold}: the target is {side} {at:.0f} °F ({low:.0f} to {high:.0f} °F).")
            for name, _, model in models:
                told = curve(model, grid[::2])
                curves += [
                    dict(
                        zip(
                            ("mold", "flaw", "temp_c", "rate", "low", "high"), (mold, name, *row), strict=True
                        )
                    )
                    for row in zip(grid[::2], *told, strict=True)
                ]
            if drawn < 2:
                drawn += 1
                picture(
                    lambda axes, bins=bins, m=mold, mo=models, g=grid, p=plain, w=window: draw_window(
                        axes, bins[bins["mold"] == m], mo, g, p, w
                    )
                )
        TABLES[f"curve {span}"] = curves
        start, end = SPANS[span]
        for mold, fills in (
            POURS[(POURS["date"] >= start) & (POURS["date"] < end)].drop_duplicates("fill_id").groupby("mold")
        ):
            fitted = heat(mold, fills)
            if fitted is None:
                continue
            (gain, loss), course = np.exp(fitted[0]), fitted[1]
            estimates.append(
                fills.assign(estimated_c=course)[["mold", "session", "fill", "mold_temp_c", "estimated_c"]]
            )
            goal = 155.0
            if loss < gain / (goal - 20):
                fills_needed = math.log(1 - loss * (goal - 20) / gain) / math.log(1 - loss)
                say(f"{mold}: from cold about {fills_needed:.0f} warm-up fills.")
        told = pd.concat(estimates)
        TABLES[f"mold_heat {span}"] = told.to_dict("records")
        unread = castings[castings["mold_temp_c"].isna()].merge(
            told[["mold", "session", "fill", "estimated_c"]], on=["mold", "session", "fill"]
        )
        if len(unread):
            unread["from_f"] = (unread["estimated_c"] * 1.8 + 32) // 25 * 25
            unread["to_f"] = unread["from_f"] + 25
            show("By estimated mold temperature", span, rates(unread, ["mold", "from_f", "to_f"]), True)
        cavities, sessions = one_against_rest(castings), by_session(castings)
        for row in cavities[cavities["p_adjusted"] < 0.05].itertuples():
            say(f"{row.mold}: cavity {row.cavity} fails more often (p = {row.p_adjusted:.3f}).")
        for row in sessions[sessions["signal"]].itertuples():
            told = f"({row.bad:.0f} of {row.castings:.0f} bad)"
            say(f"{row.mold}: session {row.session} is beyond what chance does {told}.")
        show("By cavity", span, cavities, span == "month")
        show("By session", span, sessions, True)
    largest = sessions[sessions["mold"] == "round-jig"].reset_index()
    picture(lambda axes: draw_sessions(axes, largest), (9.4, 2.8))
