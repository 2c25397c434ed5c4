"""Each cavity against the others of its mold, where all are equally warm."""

import math

import pandas as pd

from benchwater.mathematics.clustered import clustered_wilson_interval, design_effect
from benchwater.mathematics.one_against_rest import adjusted_p, one_against_rest, times_as_often
from benchwater.mathematics.stratified import ShareRatio
from benchwater.plugin import Action
from benchwater.words import make_finding, p_words, times

from .draft import ENOUGH_CASTINGS, ENOUGH_FLAWED, Draft
from .rates import estimate_and_limits


def by_cavity(draft: Draft, molds: list[str]) -> None:
    """Each cavity against the others of its mold at equal temperature."""
    poured = {mold: draft.rows[(draft.rows["mold"] == mold) & (draft.rows["castings"] > 0)] for mold in molds}
    compared, asked = [], []
    for mold, rows in poured.items():
        stratum, effect, same = _strata(draft, mold, rows)
        held = rows.assign(stratum=stratum).dropna(subset="stratum")
        counts = held["stratum"], held["cavity"].tolist(), held["castings"], held["rejects"]
        compared.append(one_against_rest(*counts, dispersion=effect))
        asked.append((rows, counts, effect, same))
    for mold, (rows, counts, effect, same), adjusted in zip(poured, asked, adjusted_p(compared), strict=True):
        for cavity, own in rows.groupby("cavity"):
            by_fill = own.groupby("key")[["castings", "rejects"]].sum()
            made, bad = int(by_fill["castings"].sum()), int(by_fill["rejects"].sum())
            rate = clustered_wilson_interval(
                bad, made, design_effect(by_fill["rejects"], by_fill["castings"])
            )
            p = adjusted.get(str(cavity))
            draft.tables["by_cavity"].append((mold, str(cavity), made, bad, *estimate_and_limits(rate), p))
            enough = rows["castings"].sum() >= ENOUGH_CASTINGS and bad >= ENOUGH_FLAWED
            if enough and p is not None and p < 0.05:
                often = times_as_often(*counts, str(cavity), dispersion=effect)
                if often.ratio is not None and often.ratio > 1:
                    _worse_cavity(draft, own, often, p, same)


def _strata(draft: Draft, mold: str, rows: pd.DataFrame) -> tuple[pd.Series, float, str]:
    """What is equally warm, by how much to widen, and in words: the fill; or bins, else sessions, apart."""
    together = rows.groupby("key")["cavity"].transform("nunique") > 1
    if rows.loc[together, "castings"].sum() >= rows["castings"].sum() / 2:
        return rows["key"], 1.0, "in the same fill, whatever the heat"
    fills = draft.warm(mold)
    if fills.empty:
        made = draft.of(mold)
        effect = design_effect(made["rejects"], made["castings"], made["session"])
        return rows["session"], effect, "in the same session (how warm it was, the log does not tell)"
    effect = design_effect(fills["rejects"], fills["castings"], fills["bin"])
    return rows["key"].map(fills.set_index("key")["bin"]), effect, "at the same heat"


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
