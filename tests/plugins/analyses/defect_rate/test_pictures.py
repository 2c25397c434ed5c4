"""No more marks than can be told apart."""

import importlib
import sys

import numpy as np
import pytest

from benchwater.plugin_host.places import import_plugin, shipped_folder


@pytest.fixture(scope="module")
def pictures():
    import_plugin(shipped_folder() / "analyses/defect_rate", "defect_rate_under_test")
    yield importlib.import_module("defect_rate_under_test.pictures")
    for name in [name for name in sys.modules if name.startswith("defect_rate_under_test")]:
        del sys.modules[name]


def test_a_season_of_sessions_is_drawn_whole(pictures):
    for sessions in (1, 7, 101, 239, pictures.PLACES):
        drawn = pictures.told_apart(np.arange(sessions), sessions, np.full(sessions, 0.2))
        assert drawn.tolist() == [*range(sessions)]


def test_of_marks_on_each_other_one_is_drawn_and_none_that_stands_alone_is_lost(pictures):
    dice = np.random.default_rng(1)
    at, up = np.arange(5000), dice.choice([0.0, 0.2, 0.25], 5000)
    up[[17, 4321]] = 0.9
    drawn = pictures.told_apart(at, 5000, up)
    assert {17, 4321} <= set(drawn.tolist())
    assert len(drawn) <= 3 * pictures.PLACES + 2
    places = [(x * pictures.PLACES // 5000, int(y * pictures.PLACES)) for x, y in zip(at, up, strict=True)]
    assert {places[one] for one in drawn} == set(places)
    assert len(drawn) == len(set(places))
