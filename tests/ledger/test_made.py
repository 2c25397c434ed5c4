"""What was made: castings, their mass, and when a bait counts; the demo against what its makers dressed."""

from benchwater.ledger import midnight
from benchwater.ledger.made import baits_made, spoilt_share
from benchwater.plugin import Season
from benchwater.testing import make_season

BENCH = """
[bench]
name = "Test bench"
units = "metric"
season = { start = "03-01" }
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "0.1 g" }
[items.hook]
kind = "insert"
mass = "1 g"
[items.pearl]
kind = "coat"
unit = "g"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/4"
mass = "10 g"
tolerance = "6 %"
insert = "hook"
[builds.bright]
head = { mold = "ball", cavity = "1/4" }
coat = { item = "pearl", mass = "0.2 g" }
[builds.bare]
head = { mold = "ball", cavity = "1/4" }
"""
POUR = "date,mold,cavity,outcome,count,mass\n2026-03-03,ball,1/4,good,12,\n2026-03-03,ball,1/4,reject,4,\n"
COAT = "date,mold,cavity,coat,count,rejects\n2026-03-05,ball,1/4,pearl,6,2\n"
FISHED = "date,build,fished,fate,count,bait,cause\n"
STOCK = "date,item,move,amount\n"


def season(**logs: str) -> Season:
    return make_season(BENCH, {f"{name}.csv": text for name, text in logs.items()}).season


def made(build: str, **logs: str) -> float:
    return baits_made(season(**logs))[build].total


def test_without_a_further_log_good_castings_are_shared_alike() -> None:
    assert (made("bright", pour=POUR), made("bare", pour=POUR)) == (6.0, 6.0)


def test_a_coated_bait_counts_when_its_coat_came_out_good() -> None:
    assert made("bright", pour=POUR, coat=COAT) == 4.0


def test_a_bare_bait_counts_when_it_must_have_been_on_the_water() -> None:
    rows = (
        "2026-03-07,bare,1 h,kept,3,,\n"  # three at once
        "2026-03-08,bare,1 h,lost,2,,snag\n"  # may be two of the three
        "2026-03-09,bare,1 h,kept,2,,\n"  # at most one is left of those: one more
        "2026-03-09,bare,1 h,kept,1,B1,\n"  # a tag is another bait
        "2026-03-10,bare,1 h,worn,1,B1,torn\n2026-03-11,bare,1 h,kept,1,B1,\n"  # and a new one once it ended
    )
    assert made("bare", pour=POUR, coat=COAT, fished=FISHED + rows) == 3 + 1 + 2


def test_baits_seen_on_the_water_count_where_fewer_were_coated() -> None:
    rows = "2026-03-04,bright,1 h,lost,1,,snag\n2026-03-09,bright,1 h,lost,5,,snag\n"
    steps = baits_made(season(pour=POUR, coat=COAT, fished=FISHED + rows))["bright"]
    assert [(when.day, number) for when, number in steps] == [(4, 1.0), (5, 3.0), (9, 2.0)]
    (_, second, third) = (when for when, _ in steps)
    assert steps.between(second, third) == 3.0


def test_spoilt_inserts_are_those_in_rejects_and_not_recovered_by_then() -> None:
    later = POUR + "2026-03-20,ball,1/4,reject,10,\n"
    recovered, discarded = STOCK + "2026-03-10,hook,recovered,{}\n", "2026-03-10,hook,discarded,3\n"
    assert spoilt_share(season(pour=POUR), "hook") == 1.0
    assert spoilt_share(season(pour=later, stock=STOCK + discarded), "hook") == 1.0
    assert spoilt_share(season(pour=later, stock=recovered.format(3) + discarded), "hook") == 0.25
    assert spoilt_share(season(pour=POUR, stock=recovered.format(30)), "hook") == 0.0
    assert spoilt_share(season(stock=recovered.format(3)), "hook") == 1.0


def test_the_demos_coated_baits_are_those_dressed_and_those_still_to_dress(demo, truth) -> None:
    coated_left = {tuple(name.split(" ")): left for name, left in truth["coated_left"].items()}
    season = demo("2026-10").season
    bench, steps = season.bench, baits_made(season)
    for name, dressed in truth["dressed"].items():
        build = bench.builds[name]
        found = steps[name].between(midnight(season.start), midnight(season.end))
        if build.coat is not None and build.head is not None:
            assert found == dressed + coated_left.get((*build.head, build.coat), 0)
        else:
            assert 0 < found <= dressed
