import pytest

from benchwater.statistics.trend import cochran_armitage
from reference_cases import reference_case


@pytest.mark.parametrize(
    ("prefix", "scores"), [("", [0, 0.5, 1.5, 4, 7]), ("equal.", None), ("score8.", [0, 0.5, 1.5, 4, 8])]
)
def test_trend_matches_graubard_and_korn_1987(prefix: str, scores: list[float] | None) -> None:
    # Graubard and Korn 1987, Biometrics 43:471-476; Agresti, Categorical Data Analysis; a StatXact example.
    case = reference_case("trend_malformation")
    found = cochran_armitage(case.numbers("cases"), case.numbers("total"), scores)
    assert found is not None
    total = sum(case.numbers("total"))
    computed = {"chisq": found.statistic, "p": found.p_value, "m2": found.statistic * (total - 1) / total}
    for key, value in computed.items():
        expected, tol = case.answer(prefix + key)
        assert value == pytest.approx(expected, abs=tol)
        if prefix + key in case.published:
            printed = case.published[prefix + key]
            assert value == pytest.approx(printed["value"], abs=printed["tol"])
    assert found.slope > 0


def test_slope_is_the_change_of_a_straight_proportion() -> None:
    found = cochran_armitage([10, 20, 30], [100, 100, 100], [150, 160, 170])
    assert found is not None
    assert found.slope == pytest.approx(0.01)


def test_dispersion_divides_the_statistic() -> None:
    plain = cochran_armitage([10, 20, 30], [100, 100, 100])
    halved = cochran_armitage([10, 20, 30], [100, 100, 100], dispersion=2)
    assert plain is not None
    assert halved is not None
    assert halved.statistic == pytest.approx(plain.statistic / 2)


@pytest.mark.parametrize(
    ("events", "trials", "scores"),
    [([0, 0], [4, 4], [1, 2]), ([4, 4], [4, 4], [1, 2]), ([1, 2], [4, 4], [1, 1])],
)
def test_nothing_to_test_gives_none(events: list[float], trials: list[float], scores: list[float]) -> None:
    assert cochran_armitage(events, trials, scores) is None


def test_events_above_trials_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and trials"):
        cochran_armitage([5, 1], [4, 4])
