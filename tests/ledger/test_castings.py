"""What castings weigh: by weighing, else by the bench; alike for every analysis."""

import math

import pytest

from benchwater.ledger.castings import CastingMass, casting_mass, castings, castings_made, other_unit
from benchwater.ledger.stock import stock_movements
from benchwater.testing import make_season

BENCH = """
[bench]
name = "Test bench"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "0.1 g" }
[items.hook]
kind = "insert"
mass = "1 g"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/4"
mass = "10 g"
tolerance = "6 %"
insert = "hook"
[[molds.ball.cavities]]
name = "1/2"
mass = "20 g"
tolerance = "6 %"
"""
HEAD = "date,mold,cavity,outcome,count,mass\n"
SPREAD = 0.6 / math.sqrt(3)


def weighed(*rows: str, cavity: str = "1/4") -> CastingMass:
    text = HEAD + "".join(f"2026-03-03,ball,{row}\n" for row in rows)
    return casting_mass(make_season(BENCH, {"pour.csv": text}).season, ("ball", cavity), "alloy")


def test_a_casting_weighs_the_mean_of_the_weighed_without_their_inserts() -> None:
    found = weighed("1/4,good,2,21.6", "1/4,good,2,22.0", "1/4,reject,9,50", "1/4,good,12,")
    assert found.mass_g == pytest.approx((21.6 + 22.0 - 4) / 4)
    assert found.weighed == 4
    assert found.step == 0.1


def test_fewer_than_three_weighed_castings_leave_the_nominal_mass_with_its_tolerance() -> None:
    for found in (weighed("1/4,good,12,"), weighed("1/4,good,2,21.6"), weighed("1/4,good,9,8.9")):
        assert (found.mass_g, found.u, found.weighed) == (10.0, pytest.approx(SPREAD), 0)


def test_an_insert_of_no_stated_mass_is_taken_to_weigh_nothing() -> None:
    bench, text = BENCH.replace('mass = "1 g"\n', ""), HEAD + "2026-03-03,ball,1/4,good,4,43.6\n"
    found = castings(make_season(bench, {"pour.csv": text}).season)
    assert found[["insert", "insert_g", "net_mass_g"]].iloc[0].tolist() == ["hook", 0.0, 43.6]


def test_two_weighings_say_too_little_of_the_scatter_for_less_than_the_tolerance() -> None:
    found = weighed("1/4,good,2,21.6", "1/4,good,2,22.0")
    assert found.scatter == pytest.approx(SPREAD)
    assert found.u == pytest.approx(math.hypot(SPREAD / 2, 0.1 / math.sqrt(12) / 2))


def test_the_cavities_of_a_mold_tell_of_their_scatter_together() -> None:
    # About means of 10 and 20, 1 % up and down, of one piece and of two: (2 + 4) parts in 1e4 on 4 degrees.
    large = ["1/2,good,2,40.4", "1/2,good,2,39.6", "1/2,good,2,40.0"]
    small = ["1/4,good,1,11.1", "1/4,good,1,10.9", "1/4,good,1,11.0"]
    s = math.sqrt((2 * 0.01**2 + 4 * 0.01**2) / 4)
    for cavity, mean, pieces, per in (("1/4", 10, 3, 1), ("1/2", 20, 6, 2)):
        found = weighed(*small, *large, cavity=cavity)
        assert found.scatter == pytest.approx(mean * s * math.sqrt(4 / 2))
        assert found.u == pytest.approx(
            math.hypot(found.scatter / math.sqrt(pieces), 0.1 / math.sqrt(12) / per)
        )


def test_the_demos_castings_weigh_what_the_balance_takes_them_to(demo) -> None:
    """Unweighed castings of a month enter the books at the same mean mass."""
    season = demo("2026-10").season
    moved = stock_movements(season)
    seen = 0
    for (mold, cavity), cast in castings_made(season).items():
        for material in cast.good_of:
            source = f"mean mass of {mold} {cavity} in {material}"
            mass = casting_mass(season, (mold, cavity), material)
            own = moved[moved["source"] == source]
            pieces = -own["amount"].to_numpy() / mass.mass_g
            assert pieces == pytest.approx(pieces.round())
            assert own["shared_u"].to_numpy() == pytest.approx(pieces * mass.u)
            seen += len(own)
    assert seen > 50


@pytest.mark.parametrize(
    ("each", "unit", "times"),
    [
        (311.8, "grams", 28.35),
        (11 * 453.59237, "grams", 453.59237),
        (11_000, "grams", 1000.0),
        (0.388, "ounces", 1 / 28.35),
    ],
)
def test_masses_all_in_another_unit_are_doubted_once_and_used_for_nothing(
    each: float, unit: str, times: float
) -> None:
    """A casting of 10 g with its hook of 1 g: 11 read as ounces, or 0.388 ounces read as grams."""
    rows = "".join(f"2026-03-{day:02},ball,1/4,good,2,{2 * each}\n" for day in range(3, 9))
    season = make_season(BENCH, {"pour.csv": HEAD + rows}).season
    found = other_unit(season)
    assert found is not None
    assert (found.rows, found.castings, found.unit) == (6, 12, unit)
    assert found.times == pytest.approx(times, rel=0.01)
    assert casting_mass(season, ("ball", "1/4"), "alloy").weighed == 0


def test_a_few_odd_masses_are_no_other_unit() -> None:
    odd = "".join(f"2026-03-{day:02},ball,1/4,good,2,{300 if day < 6 else 22}\n" for day in range(3, 12))
    assert other_unit(make_season(BENCH, {"pour.csv": HEAD + odd}).season) is None
