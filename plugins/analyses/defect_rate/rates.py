"""The share of bad castings: of all, of a mold, by bin of temperature, and how it goes with that."""

import numpy as np
import pandas as pd

from benchwater.statistics.clustered import clustered_wilson_interval, design_effect
from benchwater.statistics.interval import Interval
from benchwater.statistics.trend import TrendTest, cochran_armitage
from benchwater.words import in_brackets, make_finding, p_words

from .draft import Draft, bin_edge


def overall_rates(draft: Draft, molds: list[str]) -> None:
    """The share of bad castings of all molds and of each, widened by how alike the castings of a fill are."""
    made = draft.fills[draft.fills["castings"] > 0]
    for mold in (None, *molds):
        fills = made if mold is None else draft.of(mold)
        castings, bad = int(fills["castings"].sum()), int(fills["rejects"].sum())
        effect = design_effect(fills["rejects"], fills["castings"])
        rate = clustered_wilson_interval(bad, castings, effect)
        text = f"{mold or 'All molds'}: {bad} of {castings} castings were bad, {draft.share(rate.estimate)}"
        text += f"{in_brackets(draft.share, rate.low, rate.high)}."
        alone = len(molds) == 1
        if effect > 1.2 and (mold is None or alone):
            text += f" Those of one fill are alike: they tell as much as {castings / effect:.0f} apart."
        more = {"fills": len(fills), "design_effect": effect}
        quiet = mold is not None and alone
        draft.findings.append(
            make_finding("reject_rate", text, rate, "1", n=castings, group=mold, more=more, quiet=quiet)
        )


def rates_by_bin(
    draft: Draft, table: str, mold: str, fills: pd.DataFrame
) -> tuple[list[tuple[float, ...]], TrendTest | None]:
    """The share of bad castings by bin of temperature, put into a table, and its trend."""
    effect = design_effect(fills["rejects"], fills["castings"], fills["bin"])
    numbers, place = np.unique(fills["bin"], return_inverse=True)
    castings, rejects = (np.bincount(place, fills[name]).astype(np.int64) for name in ("castings", "rejects"))
    shown: list[tuple[float, ...]] = []
    for number, made, bad in zip(numbers.tolist(), castings.tolist(), rejects.tolist(), strict=True):
        rate = clustered_wilson_interval(bad, made, min(effect, made))
        edges = bin_edge(draft.bench, number), bin_edge(draft.bench, number + 1)
        shown.append((*edges, made, bad, *estimate_and_limits(rate)))
        draft.tables[table].append((mold, *shown[-1]))
    scores = [(row[0] + row[1]) / 2 for row in shown]
    return shown, cochran_armitage(rejects, castings, scores, dispersion=effect)


def trend_words(trend: TrendTest, when: str) -> str:
    """`falls as the mold warms (p = 0.01)`; `when` says along what."""
    sure = "" if trend.p_value < 0.05 else ", though chance alone could do that"
    return f"{'falls' if trend.slope < 0 else 'rises'} {when}{sure} ({p_words(trend.p_value)})"


def estimate_and_limits(rate: Interval) -> tuple[float, float, float]:
    """An interval as three cells."""
    return rate.estimate, rate.low, rate.high
