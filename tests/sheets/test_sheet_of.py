"""What is on a sheet: every column in the order of the CSV, the bench as boxes, units said."""

from collections.abc import Iterable

import pytest

from benchwater.plugin import Bench, Column, LogKind, RowProblem
from benchwater.sheets.compose import sheet_of
from benchwater.sheets.layout import LEAST_ROW_MM, MOST_PAGES, NUMBER_MM, TICK_MM, Entry, Sheet, paper_width
from sheets.sample_benches import LONG, crowded, demo, empty, kind
from small_bench import shipped_kinds, small_bench

BENCHES = {"demo": demo, "small": small_bench, "crowded": crowded, "empty": empty}


def everything() -> Iterable[tuple[str, str]]:
    return [(bench, each.name) for bench in BENCHES for each in shipped_kinds()]


def entry(sheet: Sheet, column: str, page: int = 0) -> Entry:
    entries = (*sheet.head_entries, *sheet.pages[page].entries)
    return next(each for each in entries if column in each.columns)


def says(found: Entry) -> list[tuple[str, ...]]:
    return [box.cells for box in found.boxes]


@pytest.mark.parametrize(("bench", "log"), everything())
def test_every_column_is_there_once_and_in_the_order_of_the_csv(bench: str, log: str) -> None:
    sheet = sheet_of(kind(log), BENCHES[bench]())
    names = [column.name for column in kind(log).columns if column.on_sheets]
    for page in sheet.pages:
        for entries in (sheet.head_entries, page.entries):
            numbers = [number for each in entries for number in each.numbers]
            assert numbers == sorted(numbers)
        held = [
            pair
            for each in (*sheet.head_entries, *page.entries)
            for pair in zip(each.numbers, each.columns, strict=True)
        ]
        assert sorted(held) == list(enumerate(names, 1))


@pytest.mark.parametrize(("bench", "log"), everything())
def test_a_hand_can_write_on_it_and_it_fits_between_the_margins(bench: str, log: str) -> None:
    sheet = sheet_of(kind(log), BENCHES[bench]())
    assert sheet.row_mm >= LEAST_ROW_MM >= 7
    assert sheet.rows >= 10
    for page in sheet.pages:
        assert page.tick_mm >= TICK_MM
        width = sum(len(each.boxes) * page.tick_mm + each.write_mm * each.written for each in page.entries)
        assert width == pytest.approx(paper_width(sheet.paper) - NUMBER_MM)
        assert all(each.write_mm >= 11 for each in page.entries if each.written)


def test_the_molds_of_the_bench_are_boxes_one_for_each_cavity():
    sheet = sheet_of(kind("pour"), demo())
    molds = entry(sheet, "mold")
    assert molds is entry(sheet, "cavity")
    assert says(molds) == [(mold.name, cavity) for mold in demo().molds.values() for cavity in mold.cavities]
    assert molds.boxes[0].lines == ("round-jig", "1/16")
    assert molds.written
    assert molds.prompt == "other"


def test_words_are_ticked_and_a_word_of_ones_own_is_written():
    assert says(entry(sheet_of(kind("pour"), demo()), "outcome")) == [("good",), ("reject",), ("blank",)]
    assert not entry(sheet_of(kind("pour"), demo()), "outcome").written
    leader = entry(sheet_of(kind("fishing"), demo()), "leader")
    assert says(leader) == [("yes",), ("no",)]
    assert leader.written


def test_only_names_that_the_log_would_accept_have_a_box():
    pour, finishing = sheet_of(kind("pour"), demo()), sheet_of(kind("finishing"), demo())
    assert says(entry(pour, "material")) == [
        ("alloy",),
        ("tin-bismuth",),
        ("plastic-pearl",),
        ("plastic-chartreuse",),
    ]
    assert says(entry(finishing, "coat")) == [("chartreuse",), ("pearl",)]


def test_the_unit_of_a_bare_number_is_said_from_the_bench_or_as_documented():
    sheet = sheet_of(kind("pour"), small_bench())
    assert entry(sheet, "mold_temp").note == "°F"
    assert entry(sheet, "count").note == "empty: 1"
    assert entry(sheet_of(kind("finishing"), small_bench()), "cure_time").note == "min"
    assert entry(sheet_of(kind("catch"), small_bench()), "length").note == "in"
    assert entry(sheet_of(kind("catch"), empty()), "length").note == "mm"
    assert entry(sheet_of(kind("pour"), empty()), "melt_temp").note == "°C"
    assert entry(sheet_of(kind("inventory"), crowded()), "cost").note == "EUR"
    items = entry(sheet_of(kind("inventory"), small_bench()), "item").boxes
    assert [box.lines for box in items] == [("alloy", "lb"), ("hook-2", "pieces"), ("black", "g")]


def test_what_is_the_same_all_day_is_written_once():
    names = {
        log: [each.heading for each in sheet_of(kind(log), demo()).head_entries] for log in ("pour", "catch")
    }
    assert names == {"pour": ["date", "session"], "catch": ["date", "water", "angler", "trip"]}
    assert sheet_of(kind("inventory"), demo()).head_entries == ()


def test_an_empty_bench_leaves_room_to_write_the_names():
    sheet = sheet_of(kind("pour"), empty())
    for column in ("mold", "cavity", "material"):
        assert not entry(sheet, column).boxes
        assert entry(sheet, column).written
    assert len(sheet.pages) == 1


def test_forty_molds_are_dealt_over_pages_each_complete_and_none_is_lost():
    sheet = sheet_of(kind("pour"), crowded())
    assert len(sheet.pages) > 1
    assert sheet.boxless == 0
    boxes = [box for page in range(len(sheet.pages)) for box in entry(sheet, "mold", page).boxes]
    assert [box.cells for box in boxes] == [
        (mold.name, cavity) for mold in crowded().molds.values() for cavity in mold.cavities
    ]
    for number in range(len(sheet.pages)):
        assert entry(sheet, "mold", number).written
        assert says(entry(sheet, "outcome", number)) == [("good",), ("reject",), ("blank",)]
    where = {box.cells[0]: page.number for page in sheet.pages for box in page.entries[0].boxes}
    together = {(page.number, box.cells[0]) for page in sheet.pages for box in page.entries[0].boxes}
    assert len(where) == len(together), "a mold's cavities stay on one page"
    assert "mold 00" in sheet.pages[0].part


def test_names_beyond_the_last_page_are_counted():
    sheet = sheet_of(kind("pour"), crowded(200))
    assert len(sheet.pages) == MOST_PAGES
    shown = sum(len(page.entries[0].boxes) for page in sheet.pages)
    every = sum(len(mold.cavities) for mold in crowded(200).molds.values())
    assert shown + sheet.boxless == every
    assert sheet.boxless > 0


def test_long_names_are_cut_and_still_told_apart():
    sheet = sheet_of(kind("fishing"), crowded())
    boxes = [box for page in sheet.pages for box in page.entries[0].boxes]
    assert all(len(line) <= 22 for box in boxes for line in box.lines)
    assert len({box.lines for box in boxes}) == len(boxes) == 40
    assert boxes[7].cells == (f"build 07 {LONG}",)


def test_the_strip_warns_of_bench_and_water_first_of_where_the_log_is_kept():
    bench, boat = sheet_of(kind("pour"), demo()).cautions, sheet_of(kind("catch"), demo()).cautions
    assert {each.about for each in bench} == {each.about for each in boat}
    assert {"Molten metal", "Lead", "Hot plastic", "Ovens", "On the water"} <= {each.about for each in bench}
    assert bench[0].about == "Molten metal"
    assert boat[0].about == "On the water"
    assert "Life jacket" in boat[0].what
    assert [each.about for each in boat if each.here] == ["On the water"]


DATE = Column(name="date", meaning="day", kind="date", needed=True)


def test_a_log_of_more_columns_than_a_page_holds_goes_on_under_the_same_row_numbers():
    wide = LogKind(
        name="weather",
        title="Weather",
        columns=(DATE, *(Column(name=f"wind_{n}", meaning="how strong", kind="number") for n in range(40))),
    )
    sheet = sheet_of(wide, demo())
    assert len(sheet.pages) == 3
    headings = [name for page in sheet.pages for each in page.entries for name in each.columns]
    assert headings == [f"wind_{n}" for n in range(40)]
    assert sheet.pages[1].part.endswith("of the same rows")


def test_a_check_that_cannot_bear_a_bare_row_costs_no_box():
    def check(row: object, bench: Bench) -> Iterable[RowProblem]:
        raise KeyError("depth")

    odd = LogKind(
        name="odd",
        title="Odd",
        columns=(DATE, Column(name="coat", meaning="which", kind="name", refers_to="item")),
        check=check,
    )
    assert len(entry(sheet_of(odd, small_bench()), "coat").boxes) == 3


def test_a_cavity_apart_from_its_mold_has_boxes_of_its_own():
    apart = LogKind(
        name="apart",
        title="Apart",
        columns=(
            DATE,
            Column(name="cavity", meaning="of it", kind="name", refers_to="cavity"),
            Column(name="mold", meaning="which", kind="name", refers_to="mold"),
        ),
    )
    sheet = sheet_of(apart, demo())
    assert says(entry(sheet, "cavity")) == [("1/16",), ("1/8",), ("1/4",), ("grub",)]
    assert says(entry(sheet, "mold")) == [(name,) for name in demo().molds]


def test_many_words_are_listed_below_and_not_boxed():
    many = tuple(f"sky {number}" for number in range(12))
    log = LogKind(
        name="sky", title="Sky", columns=(DATE, Column(name="sky", meaning="how", kind="word", words=many))
    )
    sheet = sheet_of(log, demo())
    assert not entry(sheet, "sky").boxes
    assert "one of: sky 0, sky 1" in dict(sheet.legend)["sky"]
