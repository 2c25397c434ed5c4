"""The demo's season recomputed from its CSV file with pandas, scipy and statsmodels alone."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest
from statsmodels.duration.survfunc import SurvfuncRight
from statsmodels.stats.multitest import multipletests

from benchwater.testing import finding, records
from fished_seasons import number, of_all

CSV = Path(__file__).parents[4] / "sample_logs/water/baits.csv"


def hours(text: str) -> float:
    """`75 min`, `2h`, `1:30` or bare hours."""
    if match := re.fullmatch(r"(\d+):(\d+)", text):
        return int(match[1]) + int(match[2]) / 60
    value, unit = re.fullmatch(r"([\d.]+) ?(min|h)?", text).groups()  # type: ignore[union-attr]
    return float(value) / (60 if unit == "min" else 1)


@pytest.fixture(scope="module")
def rows() -> pd.DataFrame:
    """The log with hours in use at start and end of each row; a tag that goes on after a loss is new."""
    log = pd.read_csv(CSV, dtype=str, keep_default_na=False)
    log = log[log["build"] != "old-faithful"].reset_index(drop=True)
    log["hours"], log["baits"] = log["fished"].map(hours), log["count"].replace("", "1").astype(int)
    log["gone"] = log["fate"].isin(["lost", "worn"])
    used: dict[tuple[str, str], float] = {}
    log["entry"] = 0.0
    for at, row in enumerate(log.to_dict("records")):
        if not row["bait"]:
            continue
        tag = row["build"], row["bait"]
        log.loc[at, "entry"] = used.get(tag, 0.0)
        used[tag] = 0.0 if row["gone"] else used.get(tag, 0.0) + row["hours"]
    return log.assign(exit=log["entry"] + log["hours"])


@pytest.fixture(scope="module")
def section(demo):
    made = demo()
    return made.section("bait_mortality", made.whole)


def test_the_curve_and_the_median_are_those_of_statsmodels(rows, section) -> None:
    single = rows.loc[rows.index.repeat(rows["baits"])]
    exits, entries = single["exit"].round(6), single["entry"].round(6)
    curve = SurvfuncRight(exits, single["gone"].astype(int), entry=entries - 1e-9 * (entries == 0))
    shown = {round(number(row["time_h"]), 4): row for row in of_all(section)}
    theirs = {round(time, 4): share for time, share in zip(curve.surv_times, curve.surv_prob, strict=True)}
    assert set(shown) <= set(theirs)
    assert [row["survival"] for row in shown.values()] == pytest.approx([theirs[time] for time in shown])
    assert finding(section, "median_life").value == pytest.approx(curve.quantile(0.5), abs=1e-5)


def test_losses_over_hours_with_trips_as_the_unit(rows, section) -> None:
    rows = rows.assign(fished=rows["hours"] * rows["baits"], lost=rows["baits"] * rows["gone"])
    trips = rows.groupby(["date", "trip"])[["lost", "fished"]].sum()
    rate = finding(section, "loss_rate")
    assert rate.value == pytest.approx(trips["lost"].sum() / trips["fished"].sum())
    left_out = (trips["lost"].sum() - trips["lost"]) / (trips["fished"].sum() - trips["fished"])
    error = np.sqrt((len(trips) - 1) / len(trips) * ((left_out - left_out.mean()) ** 2).sum())
    spread = np.exp(2.0322 * error / rate.value)  # Student's t on 34 degrees of freedom
    assert len(trips) == 35
    assert number(rate.low) <= rate.value / spread * 1.001
    assert number(rate.high) >= rate.value * spread * 0.999


def test_the_exact_limits_of_the_leader_are_those_of_the_binomial(rows, section) -> None:
    leader = rows["leader"].map(lambda word: "" if word == "" else "no" if word == "no" else "yes")
    bitten = (rows["gone"] & (rows["cause"] == "bite off")) * rows["baits"]
    lost, fished = bitten.groupby(leader).sum(), (rows["hours"] * rows["baits"]).groupby(leader).sum()
    row = next(row for row in records(section, "contrasts") if row["factor"] == "leader, bite offs")
    assert row["ratio"] == pytest.approx(lost["no"] / fished["no"] / (lost["yes"] / fished["yes"]))
    share = binomtest(int(lost["no"]), int(lost["no"] + lost["yes"])).proportion_ci()
    exact = share.low / (1 - share.low) * fished["yes"] / fished["no"]
    assert number(row["low"]) == pytest.approx(exact, abs=0.01), "the wider one of the two limits"
    assert row["high"] is None, "by trips even 4999 draws leave it open"


def test_p_values_are_adjusted_as_statsmodels_does(section) -> None:
    tests = sorted(
        {
            (round(number(row["p"]), 12), round(number(row["p_adjusted"]), 12))
            for row in records(section, "contrasts")
        }
    )
    adjusted = multipletests([p for p, _ in tests], method="fdr_bh")[1]
    assert [row for _, row in tests] == pytest.approx(adjusted, rel=0.2)
