"""Finished baits in the inventory log: counted, received, given and sold, worked out by hand."""

from datetime import datetime

import pytest

from benchwater.ledger.made import baits_dressed, seen_at_all
from benchwater.ledger.pieces import pieces_on_hand, share_pieces
from benchwater.plugin import Season
from benchwater.testing import make_season
from small_bench import SMALL_BENCH, read_files

BLACK, BARE = ("round-jig", "1/8", "black"), ("round-jig", "1/8", None)
BENCH = SMALL_BENCH + '[builds.plain]\nhead = { mold = "round-jig", cavity = "1/8" }\n'
POUR = "date,mold,cavity,outcome,count\n2026-05-01,round-jig,1/8,good,40\n"
COAT = "date,mold,cavity,coat,count\n2026-05-02,round-jig,1/8,black,20\n"
STOCK = "date,item,move,amount,cost\n"
FISHED = "date,build,fished,fate,count\n"


def season(stock: str, fished: str = "", *, coat: str = COAT) -> Season:
    logs = {"pour.csv": POUR, "coat.csv": coat, "stock.csv": STOCK + stock, "water.csv": FISHED + fished}
    return make_season(BENCH, logs).season


def on_hand(of: Season, target: int = 0) -> dict[str, int]:
    targets = [(build, target) for build in of.bench.builds.values()]
    return dict(share_pieces(pieces_on_hand(of), targets).on_hand)


def dressed(of: Season, build: str, day: str) -> float:
    return baits_dressed(of, datetime.fromisoformat(day))[build].number


def test_rows_that_name_a_build_are_split_off_and_every_row_is_accounted_for(tmp_path):
    text = STOCK + (
        "2026-05-01,hook-2,received,100,22\n2026-05-02,perch-grub,bought,6,9\n"
        "2026-05-03,Perch Grub,gave away,1,\n2026-05-04,perch-grub,sold,2,8\n"
        "2026-05-05,perch-grub,used,1,\n2026-05-06,perch-grub,counted,3,1\n2026-05-07,frog,counted,3,\n"
    )
    reading = read_files(tmp_path, {"stock.csv": text})
    builds = reading.tables["builds"][["build", "move", "amount", "line"]]
    assert builds.values.tolist() == [
        ["perch-grub", "received", 6, 3],
        ["perch-grub", "given", 1, 4],
        ["perch-grub", "sold", 2, 5],
        ["perch-grub", "counted", 3, 7],
    ]
    assert reading.tables["inventory"]["item"].tolist() == ["hook-2"]
    assert [(each.log, each.rows, each.used, each.set_aside) for each in reading.sources] == [
        ("inventory", 2, 1, 1),
        ("builds", 5, 4, 1),
    ]
    assert [(each.line, each.value) for each in reading.set_aside] == [(8, "frog"), (6, "used")]
    assert [(each.line, each.column) for each in reading.cells_set_aside] == [(7, "cost")]
    assert ("gave away", "given") in {(each.written, each.read_as) for each in reading.read_as}


def test_received_baits_are_on_hand_without_a_casting_and_given_and_sold_ones_are_gone():
    of = season(
        "2026-05-03,perch-grub,received,6,\n2026-05-04,perch-grub,given,1,\n2026-05-05,perch-grub,sold,2,8\n"
    )
    pieces = pieces_on_hand(of)
    assert pieces.bodies[BLACK] == 20 + 6 - 1 - 2
    assert pieces.bodies[BARE] == 40 - 20
    assert on_hand(of)["perch-grub"] == 23


def test_a_count_pins_how_many_are_on_hand_and_later_rows_move_it():
    counted = "2026-05-03,perch-grub,counted,12,\n"
    assert on_hand(season(counted))["perch-grub"] == 12
    later = season(
        counted + "2026-05-05,perch-grub,received,3,\n2026-05-06,perch-grub,sold,1,4\n",
        "2026-05-04,perch-grub,2,lost,2\n",
    )
    assert pieces_on_hand(later).counted == {"perch-grub": 12 + 3 - 1 - 2}
    assert on_hand(later)["perch-grub"] == 12
    same_day = season(counted + "2026-05-03,perch-grub,sold,1,4\n", "2026-05-03,perch-grub,2,lost,2\n")
    assert pieces_on_hand(same_day).counted == {"perch-grub": 12}, "a count is made at the end of its day"
    more = season(counted, coat=COAT + "2026-05-09,round-jig,1/8,black,5\n")
    assert on_hand(more)["perch-grub"] == 12 + 5


def test_a_count_above_what_was_made_says_that_the_rest_is_from_before_the_logs():
    pieces = pieces_on_hand(season("2026-05-03,perch-grub,counted,25,\n"))
    assert (pieces.bodies[BLACK], pieces.earlier[BLACK]) == (25, 5)


def test_a_count_of_bare_baits_leaves_the_castings_in_the_box():
    of = season("2026-05-03,plain,counted,4,\n")
    assert pieces_on_hand(of).bodies[BARE] == 20
    assert on_hand(of)["plain"] == 4
    shares = share_pieces(
        pieces_on_hand(of), [(of.bench.builds["plain"], 10), (of.bench.builds["perch-grub"], 36)]
    )
    # 20 castings: 4 are plain baits; 16 for the 6 plain and 16 coated ones still wanted.
    assert shares.on_hand["plain"] == 4 + 4
    assert sum(shares.lacking["round-jig", "1/8"].values()) == 6 + 16 - 16


@pytest.mark.parametrize(
    ("stock", "fished", "number"),
    [
        ("", "2026-05-04,perch-grub,2,lost,3\n", 3),
        ("2026-05-03,perch-grub,received,2,\n", "2026-05-04,perch-grub,2,lost,3\n", 1),
        ("2026-05-03,perch-grub,counted,12,\n", "", 12),
        ("2026-05-03,perch-grub,received,2,\n2026-05-03,perch-grub,counted,12,\n", "", 10),
        (
            "2026-05-03,perch-grub,counted,12,\n2026-05-09,perch-grub,counted,15,\n",
            "2026-05-04,perch-grub,2,lost,2\n",
            17,
        ),
        (
            "2026-05-03,perch-grub,counted,12,\n2026-05-05,perch-grub,given,2,\n2026-05-09,perch-grub,counted,10,\n",
            "",
            12,
        ),
        ("2026-05-03,perch-grub,sold,2,8\n", "2026-05-04,perch-grub,2,lost,3\n", 5),
        ("2026-05-03,perch-grub,counted,30,\n", "", 20),
    ],
)
def test_baits_were_dressed_as_far_as_they_were_not_bought(stock, fished, number):
    of = season(stock, fished)
    assert sum(n for _, n in seen_at_all(of).get("perch-grub", ())) == number
    assert dressed(of, "perch-grub", "2026-06-01") >= number
