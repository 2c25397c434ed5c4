"""Every published case is used by a test; those the report has no use for say why, and are held to scipy."""

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import isotonic_regression
from scipy.stats import nbinom

from benchwater.statistics.interval import normal_quantile
from benchwater.statistics.stock_level import GammaRate, predictive_cdf, shared_rate
from reference_cases import STATS, TRADE, read_table, reference_case

TESTS = Path(__file__).parents[1]
CASES = {path.stem for path in STATS.glob("*.json")}
KINDS = {row["kind"] for row in read_table(TRADE / "worked_examples.csv")}

ORACLE_ONLY = {
    "isotonic_small": "no analysis fits a monotone curve: cold and hot flaws are fitted as logistic ones",
    "newsvendor_magazine": "the maker sets a service level: no price of a bait that lacks is known",
}
NOT_USED_CASES = {
    "chart_c_wafers": "sessions are charted by their share of bad castings, not by a count of flaws",
    "chart_u_cloth": "as chart_c_wafers",
    "gum_h2": "no analysis correlates inputs by a matrix: errors of one source add, others are independent",
}
NOT_USED = {
    "alloy_density": "masses are weighed or stated: no analysis takes one from a volume of mixed metals",
    "powder_mass": "the coat on a piece comes from its recipe or from what was used, not from area and layer",
    "powder_coverage": "as powder_mass",
    "hook_key": "a hook's size is part of its item's name, never a number (`4/0` is refused)",
}


def used(names: set[str]) -> set[str]:
    """The names that some test's text holds in quotes, this file apart."""
    texts = [path.read_text(encoding="utf-8") for path in sorted(TESTS.rglob("test_*.py"))]
    here = Path(__file__).read_text(encoding="utf-8")
    found = set(re.findall(r'"(\w+)"', "\n".join(text for text in texts if text != here)))
    return names & found


def test_every_statistical_case_is_used_by_a_test() -> None:
    assert len(CASES) == 32
    assert {path.stem for path in STATS.glob("*.csv")} == CASES
    here = {
        name for name in CASES if f'reference_case("{name}")' in Path(__file__).read_text(encoding="utf-8")
    }
    assert CASES - used(CASES) == here | set(NOT_USED_CASES)
    assert set(ORACLE_ONLY) <= here


def test_every_kind_of_trade_example_is_used_by_a_test_or_says_why_not() -> None:
    assert set(NOT_USED) <= KINDS
    assert KINDS - used(KINDS) <= set(NOT_USED)


def close(case: str, key: str, value: object) -> None:
    found = reference_case(case)
    expected, tol = found.answer(key)
    assert value == pytest.approx(expected, abs=tol), key
    if key in found.published:
        assert value == pytest.approx(found.published[key]["value"], abs=found.published[key]["tol"]), key


def test_the_prior_that_groups_share_is_the_maximum_likelihood_fit_of_bliss_and_fisher_1953() -> None:
    case = reference_case("negbin_mites")
    counts = np.repeat(case.numbers("count"), np.array(case.numbers("leaves"), dtype=int))
    rate = shared_rate(counts, np.ones(counts.size))
    assert rate is not None
    close("negbin_mites", "n", counts.size)
    close("negbin_mites", "mean", rate.mean)
    close("negbin_mites", "variance", counts.var(ddof=1))
    close("negbin_mites", "k", rate.shape)
    below = [predictive_cdf(rate, 1, mites) for mites in range(-1, 9)]
    fitted, tol = case.answer("fitted")
    assert 150 * np.diff(below) == pytest.approx(fitted, abs=tol)
    printed = case.published["fitted"]
    assert 150 * np.diff(below)[:8] == pytest.approx(printed["value"], abs=printed["tol"])
    share = rate.exposure / (rate.exposure + 1)
    close("negbin_mites", "loglik", float(nbinom.logpmf(counts, rate.shape, share).sum()))
    close("negbin_mites", "se_mean", float(np.sqrt((rate.mean + rate.mean**2 / rate.shape) / counts.size)))


def test_predictive_quantiles_agree_with_scipy() -> None:
    for shape, exposure in ((0.7, 3.0), (4.0, 55.0)):
        known = nbinom(shape, exposure / (exposure + 8.0))
        own = [predictive_cdf(GammaRate(shape=shape, exposure=exposure), 8.0, k) for k in range(12)]
        assert own == pytest.approx(known.cdf(np.arange(12)), abs=1e-12)


def test_critical_ratio_of_the_weekly_magazine() -> None:
    # Nahmias, Production and Operations Analysis, chapter 5.
    case = "newsvendor_magazine"
    demand = np.array(reference_case("newsvendor_magazine").numbers("demand"))
    ratio = 0.5 / (0.5 + 0.15)
    z = normal_quantile(2 * ratio - 1)
    close(case, "mean", demand.mean())
    close(case, "sd", demand.std(ddof=1))
    close(case, "critical_ratio", ratio)
    close(case, "z", z)
    close(case, "q_normal", demand.mean() + z * demand.std(ddof=1))
    close(case, "q_empirical", np.quantile(demand, ratio, method="inverted_cdf"))
    close(case, "F14", (demand <= 14).mean())
    close(case, "F15", (demand <= 15).mean())


def test_monotone_fit_of_nine_points() -> None:
    # scipy's own: kept so that a monotone fit, should one be wanted, starts from a checked one.
    case = reference_case("isotonic_small")
    y, w = case.numbers("y"), case.numbers("w")
    close("isotonic_small", "increasing", isotonic_regression(y, weights=w).x)
    close("isotonic_small", "decreasing", isotonic_regression(y, weights=w, increasing=False).x)
