"""Books kept by column beside the same books kept row by row: the demo, and seasons drawn from a seed."""

import csv
import io
from datetime import date, datetime, timedelta
from functools import cache
from math import nan
from pathlib import Path
from random import Random
from statistics import fmean
from typing import Any

import pytest

from benchwater.ledger.castings import castings, castings_made
from benchwater.ledger.costs import BaitCost, season_facts, unit_prices
from benchwater.ledger.fills import fills_of, pour_rows, runs_of
from benchwater.ledger.made import coats_made, seen_on_the_water
from benchwater.ledger.pieces import pieces_on_hand
from benchwater.ledger.stock import scale_steps, stock_counts, stock_movements
from benchwater.ledger.trips import trips_of
from benchwater.plugin import Season, Span
from benchwater.read.bench_file import parse_bench
from benchwater.testing import make_season
from cost.compute import losses_in, spoilt_in
from ledger import row_by_row
from pour_plan.compute import look_ahead

DEMO = Path(__file__).parents[2] / "sample_logs"
MOVES = ("received", "counted", "used", "discarded", "recovered")
BENCH = (DEMO / "bench.toml").read_text(encoding="utf-8")


def close(values: Any) -> Any:
    return pytest.approx(values, rel=1e-12, abs=1e-12, nan_ok=True)


@cache
def drawn(seed: int) -> Season:
    """Two years of the demo's bench in any order of things: rows of one day, times, recounts, tags anew."""
    dice, bench = Random(seed), parse_bench(BENCH).bench
    pieces = [(mold.name, cavity) for mold in bench.molds.values() for cavity in mold.cavities]
    builds, items = list(bench.builds), list(bench.items)
    metals = [item for item in items if bench.items[item].kind == "metal"]
    coats = sorted({build.coat for build in bench.builds.values() if build.coat is not None})

    def when(first: int = 0, behind: int = 600) -> str:
        day = date(2025, 1, 1) + timedelta(days=dice.randrange(first, behind))
        return f"{day}{dice.choice(['', '', ' 09:30', ' 17:00'])}"

    pour: list[list[object]] = []
    stock: list[list[object]] = []
    dips: list[list[object]] = []
    fished: list[list[object]] = []
    for _ in range(300):
        mold, cavity = dice.choice(pieces)
        outcome, count = dice.choice(["good", "good", "reject", "blank"]), dice.randrange(1, 9)
        weighed = outcome == "good" and dice.random() < 0.4
        mass = (
            f"{count * bench.cavity(mold, cavity).mass_g * dice.uniform(0.9, 1.3):.1f} g" if weighed else ""
        )
        is_metal = bench.items[bench.molds[mold].material].kind == "metal"
        named = dice.choice(["", "", *metals]) if is_metal else ""
        flaw = dice.choice(["", "short fill", "flash", "other"]) if outcome == "reject" else ""
        session, fill = dice.choice(["", "", "late"]), dice.choice(["", "", *range(1, 5)])
        temp = dice.choice(["", "290 F", f"{dice.randrange(250, 400)} F"])
        poured_on = when(490, 515) if seed % 2 else when()
        pour.append([poured_on, mold, cavity, outcome, count, mass, named, flaw, session, fill, temp])
    for _ in range(400):
        item, move = (
            dice.choice(items),
            dice.choice(["received", "counted", "used", "discarded", "recovered"]),
        )
        amount, cost = dice.randrange(1, 400), dice.choice(["", dice.uniform(1, 60)])
        stock.append([when(), item, move, amount, cost if move == "received" else ""])
    for _ in range(120):
        mold, cavity = dice.choice(pieces)
        count = dice.randrange(1, 12)
        dips.append([when(), mold, cavity, dice.choice(coats), count, dice.randrange(count + 1), "350 F"])
    for _ in range(300):
        fate = dice.choice(["kept", "kept", "lost", "worn"])
        cause = {"kept": "", "lost": dice.choice(["snag", "bite off"]), "worn": "torn"}[fate]
        tag = dice.choice(["", f"T{dice.randrange(25)}"])
        count, hours = 1 if tag else dice.randrange(1, 4), f"{dice.choice([0, 0.5, 1.25, 2])} h"
        fished.append([when(390, 530), dice.choice(builds), hours, fate, count, cause, tag, *outing(dice)])
    caught = []
    for _ in range(400):
        day, build, *_, water, trip, angler, habitat = dice.choice(fished)
        told = [dice.choice([word, word, str(word).upper(), ""]) for word in (water, trip, angler)]
        species = dice.choice(["yellow perch", "Perca flavescens", "black crappie"])
        build = dice.choice([build, build, *builds])
        caught.append([day, species, build, dice.randrange(1, 5), *told, dice.choice([habitat, "deep"])])
    logs = {
        "pour.csv": ("date,mold,cavity,outcome,count,mass,material,flaw,session,fill,mold_temp", pour),
        "stock.csv": ("date,item,move,amount,cost", stock),
        "coat.csv": ("date,mold,cavity,coat,count,rejects,cure_temp", dips),
        "fishing.csv": ("date,build,fished,fate,count,cause,bait,water,trip,angler,habitat", fished),
        "catch.csv": ("date,species,build,count,water,trip,angler,habitat", caught),
    }
    files = {}
    for name, (heading, rows) in logs.items():
        stream = io.StringIO()
        csv.writer(stream, lineterminator="\n").writerows([heading.split(","), *rows])
        files[name] = stream.getvalue()
    return make_season(BENCH, files, month="2026-05").season


def outing(dice: Random) -> list[str]:
    """Water, trip, angler and habitat of a stretch of fishing, each often not written down."""
    water, trip = dice.choice(["", "Mill reach", "mill  Reach", "Pond"]), dice.choice(["", "", "1", "dusk"])
    return [
        water,
        trip,
        dice.choice(["", "Orrin", "Ada"]),
        dice.choice(["", "weeds", "weeds; Deep", "timber"]),
    ]


SEASONS = ["demo", *range(8)]


@pytest.fixture(params=SEASONS)
def season(request, demo) -> Season:
    return demo("2026-08").season if request.param == "demo" else drawn(request.param)


def spans(season: Season) -> list[Span]:
    month = Span(
        name="period", label="m", start=date(season.end.year, season.end.month - 1, 1), end=season.end
    )
    return [month, Span(name="season", label="s", start=season.start, end=season.end)]


def in_time(movements) -> list[row_by_row.Movement]:
    return sorted(movements, key=lambda move: (move.when, move.kind, move.source, move.amount, move.u))


def test_every_movement_and_count_of_every_item(season):
    moved, counts, poured = stock_movements(season), stock_counts(season), castings(season)
    wanted = row_by_row.movements(season, scale_steps(season))
    counted, rejected = row_by_row.counts(season), row_by_row.rejected(season)
    assert any(wanted.values())
    for name in season.bench.items:
        rows = moved[moved["item"] == name].drop(columns="item")
        found = in_time(row_by_row.Movement(*row) for row in rows.itertuples(index=False))
        assert len(found) == len(wanted.get(name, []))
        for one, other in zip(found, in_time(wanted.get(name, [])), strict=True):
            assert (one.when, one.kind, one.source) == (other.when, other.kind, other.source)
            assert (one.amount, one.u, one.shared_u) == close((other.amount, other.u, other.shared_u))
        own = counts[(counts["item"] == name) & ~counts["replaced"]]
        assert list(zip(own["moment"], own["amount"], strict=True)) == counted.get(name, [])
        rejects = poured[(poured["insert"] == name) & (poured["outcome"] == "reject")]
        assert rejects["count"].sum() == rejected[name]


def test_what_was_cast_coated_and_seen_on_the_water(season):
    good, bad = row_by_row.castings(season)
    for piece, cast in castings_made(season).items():
        assert cast.good_of == {key[2]: number for key, number in good.items() if key[:2] == piece}
        assert cast.rejects == bad[piece]
    assert coats_made(season) == row_by_row.coats(season)
    seen, wanted = seen_on_the_water(season), row_by_row.seen(season)
    assert set(seen) == set(wanted)
    for name, steps in seen.items():
        assert row_by_row.running(steps) == row_by_row.running(wanted[name])
        assert list(steps.when) == sorted(steps.when)


def test_pieces_on_hand_come_and_go_in_the_order_of_the_days_work(season):
    found = pieces_on_hand(season)
    bodies, fitted, earlier = row_by_row.pieces(season)
    none = dict.fromkeys(found.bodies, 0)
    assert found.bodies == none | {body: round(number) for body, number in bodies.items()}
    assert found.fitted == close(fitted)
    assert found.earlier == {body: round(number) for body, number in earlier.items()}


def test_what_was_lost_and_spoilt(season):
    facts = season_facts(season)
    for span in spans(season):
        ended, hours, fish = row_by_row.losses(season, span)
        found = losses_in(
            season, span, {name: BaitCost(build=build) for name, build in season.bench.builds.items()}
        )
        assert (found.baits, found.fish) == (ended.total(), fish)
        assert found.hours == close(hours)
        assert spoilt_in(season, span, facts) == close(row_by_row.spoilt(season, span, facts))
        before = Span(name="season", label="b", start=date(1950, 1, 1), end=span.start)
        lost = look_ahead(season, span.start)[1].ended
        assert sum(lost.values()) == row_by_row.losses(season, before)[0].total()


def test_every_fill_of_the_pour_log_and_the_sessions_of_each_mold(season):
    for span in spans(season):
        rows = pour_rows(season.rows("pour", span))
        fills, wanted = fills_of(rows), row_by_row.fills(season, span)
        assert [fills["session"][key] for key in rows["key"]] == rows["session"].tolist()
        assert fills["key"].tolist() == list(range(len(wanted)))
        for fill, (sitting, number), told in zip(
            fills.to_dict("records"), wanted, wanted.values(), strict=True
        ):
            assert (fill["session"], fill["mold"]) == (sitting, told.mold)
            assert fill["fill"] == close(number if isinstance(number, int) else nan)
            assert fill["mold_temp_c"] == close(fmean(told.temps) if told.temps else nan)
            counts = (fill["castings"], fill["rejects"], fill["cold"], fill["hot"])
            assert counts == (told.castings, told.rejects, told.cold, told.hot)
        for mold in season.bench.molds:
            runs = runs_of(fills, mold)
            assert list(runs.sessions) == sorted(runs.sessions)
            found = {
                (sitting, fill + 1): runs.readings[place, fill]
                for place, sitting in enumerate(runs.sessions)
                for fill in range(runs.lengths[place])
            }
            read = {key: told.temps for key, told in wanted.items() if told.mold == mold and key in found}
            numbered = {key for key, told in wanted.items() if told.mold == mold and isinstance(key[1], int)}
            assert numbered <= set(found)
            for key, reading in found.items():
                assert reading == close(fmean(read[key]) if read.get(key) else nan)


def test_hours_and_fish_of_every_trip_and_group(season):
    for span in spans(season):
        book = trips_of(season.rows("fishing", span), season.rows("catch", span), season.bench)
        wanted = row_by_row.trips(season, span)
        names = list(dict.fromkeys(wanted.hours["all"].get("all", {})))
        assert (book.zero_trips, book.without_hours) == (wanted.zero_trips, wanted.without_hours)
        assert book.species_names() == list(wanted.species.values())
        days = book.table.loc[book.table["factor"] == "all", "day"]
        assert [str(day.date()) for day in days] == [name[:10] for name in names]
        for factor, groups in wanted.hours.items():
            assert sorted(book.groups(factor)) == sorted(groups)
            for group, hours in groups.items():
                for species in ("all", *book.species_names()):
                    caught, fished = book.amounts(factor, group, species)
                    fish = wanted.fish[factor, group, species]
                    assert [names[number] for number in book.of(factor, group)["trip"]] == list(hours)
                    assert list(fished) == close(list(hours.values()))
                    assert list(caught) == [fish[trip] for trip in hours]


def test_moving_averages_of_what_was_paid(season):
    up_to = datetime(season.end.year, season.end.month, 1)
    wanted = row_by_row.prices(season, up_to)
    assert any(average is not None for average in wanted.values())
    for name, price in unit_prices(season, up_to).items():
        average = wanted.get(name)
        if average is not None:
            assert price == close(average)
