"""Each cavity against the others of its mold, where all are equally warm."""

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger.log_columns import alike, as_words, factorized
from benchwater.plugin import Action
from benchwater.statistics.clustered import clustered_wilson_interval, design_effect
from benchwater.words import make_finding, p_words, times

from .draft import ENOUGH_CASTINGS, ENOUGH_FLAWED, Draft
from .one_against_rest import adjusted_p, one_against_rest, times_as_often
from .rates import estimate_and_limits
from .stratified import ShareRatio


def by_cavity(draft: Draft, molds: list[str]) -> None:
    """Each cavity against the others of its mold at equal temperature."""
    poured = {mold: draft.poured[mold][draft.poured[mold]["castings"] > 0] for mold in molds}
    compared, asked = [], []
    for mold, rows in poured.items():
        stratum, effect, same = _strata(draft, mold, rows)
        told = ~np.isnan(stratum)
        held = rows[told]
        counts = stratum[told], held["cavity"].tolist(), held["castings"], held["rejects"]
        compared.append(one_against_rest(*counts, dispersion=effect))
        asked.append((rows, counts, effect, same))
    for mold, (rows, counts, effect, same), adjusted in zip(poured, asked, adjusted_p(compared), strict=True):
        for cavity, own in rows.groupby("cavity"):
            by_fill = [np.bincount(own["key"], own[column]) for column in ("rejects", "castings")]
            bad, made = (int(count.sum()) for count in by_fill)
            rate = clustered_wilson_interval(bad, made, design_effect(*by_fill))
            p = adjusted.get(str(cavity))
            draft.tables["by_cavity"].append((mold, str(cavity), made, bad, *estimate_and_limits(rate), p))
            enough = rows["castings"].sum() >= ENOUGH_CASTINGS and bad >= ENOUGH_FLAWED
            if enough and p is not None and p < 0.05:
                often = times_as_often(*counts, str(cavity), dispersion=effect)
                if often.ratio is not None and often.ratio > 1:
                    _worse_cavity(draft, own, often, p, same)


def _strata(draft: Draft, mold: str, rows: pd.DataFrame) -> tuple[NDArray[np.float64], float, str]:
    """What is equally warm, by how much to widen, and in words: the fill; or bins, else sessions, apart.

    The number of each row's stratum (rows,), nan where none is known.
    """
    key = rows["key"].to_numpy(dtype=np.int64)
    _, first = alike(as_words(key), factorized(rows["cavity"]))
    together = (np.bincount(key[first]) > 1)[key]
    if rows.loc[together, "castings"].sum() >= rows["castings"].sum() / 2:
        return np.asarray(key, dtype=np.float64), 1.0, "in the same fill, whatever the heat"
    fills = draft.warm(mold)
    if fills.empty:
        made = draft.of(mold)
        effect = design_effect(made["rejects"], made["castings"], made["session"].cat.codes)
        session = np.asarray(rows["session"].cat.codes, dtype=np.float64)
        return session, effect, "in the same session (how warm it was, the log does not tell)"
    effect = design_effect(fills["rejects"], fills["castings"], fills["bin"])
    of_fill = np.full(len(draft.fills), np.nan)
    of_fill[fills["key"]] = fills["bin"]
    return of_fill[key], effect, "at the same heat"


def _worse_cavity(draft: Draft, own: pd.DataFrame, often: ShareRatio, p: float, same: str) -> None:
    mold, cavity, n = str(own["mold"].iloc[0]), str(own["cavity"].iloc[0]), int(own["castings"].sum())
    ratio = often.ratio or math.inf
    words = f"fails {times(ratio, often.lower, often.upper)} as often as its neighbours {same}"
    if math.isinf(ratio):
        words = f"fails {same}, and its neighbours never do"
    text, name = f"{mold}: cavity {cavity} {words} ({p_words(p)}).", f"{mold} {cavity}"
    value, more = (ratio, often.lower, often.upper), {"p_adjusted": p}
    draft.findings.append(make_finding("worse_cavity", text, value, n=n, group=name, more=more))
    flaws = own[own["rejects"] > 0].groupby("flaw")["rejects"].sum().sort_values(ascending=False)
    most = f", mostly {flaws.index[0]}" if len(flaws) else ""
    because = f"{int(own['rejects'].sum())} of its {n} castings were bad{most}. It {words}"
    cold = own["cold"].sum() >= own["rejects"].sum() / 2
    text = f"{'Vent or open up' if cold else 'Look at how it closes:'} cavity {cavity} of {mold}"
    worth = draft.worth(own, "rejects", 1 - 1 / ratio)
    draft.actions.append(Action(id=f"cavity:{name}", text=text, because=because, **worth))
