"""Every published case is used by a test."""

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import nbinom

from benchwater.statistics.stock_level import predictive_cdf, shared_rate
from reference_cases import STATS, TRADE, read_table, reference_case

TESTS = Path(__file__).parents[1]
CASES = {path.stem for path in STATS.glob("*.json")}
KINDS = {row["kind"] for row in read_table(TRADE / "worked_examples.csv")}

NOT_USED_CASES = {
    "chart_c_wafers": "sessions are charted by their share of bad castings, not by a count of flaws",
    "chart_u_cloth": "as chart_c_wafers",
    "ip_cutting453": "a casting comes out of one mold only, so the fills of each mold stand by themselves",
    "ip_cutting73": "as ip_cutting453",
    "ip_multicavity": "as ip_cutting453",
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
    assert len(CASES) == 30
    assert {path.stem for path in STATS.glob("*.csv")} == CASES
    here = {
        name for name in CASES if f'reference_case("{name}")' in Path(__file__).read_text(encoding="utf-8")
    }
    assert CASES - used(CASES) == here | set(NOT_USED_CASES)


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
