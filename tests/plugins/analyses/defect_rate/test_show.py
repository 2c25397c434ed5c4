"""A chart draws no more marks than can be distinguished."""

import numpy as np

from defect_rate.show import distinct_marks

PLACES = 100


def test_a_season_of_sessions_is_drawn_whole() -> None:
    for sessions in (1, 7, 41, 99, PLACES):
        drawn = distinct_marks(np.arange(sessions), sessions, np.full(sessions, 0.2))
        assert drawn.tolist() == [*range(sessions)]


def test_of_marks_that_cover_each_other_one_is_drawn_and_single_marks_stay() -> None:
    dice = np.random.default_rng(1)
    at, up = np.arange(5000), dice.choice([0.0, 0.2, 0.25], 5000)
    up[[17, 4321]] = 0.9
    drawn = distinct_marks(at, 5000, up)
    assert {17, 4321} <= set(drawn.tolist())
    assert len(drawn) <= 3 * PLACES + 2
    places = [(x * PLACES // 5000, int(y * PLACES)) for x, y in zip(at, up, strict=True)]
    assert {places[one] for one in drawn} == set(places)
    assert len(drawn) == len(set(places))
