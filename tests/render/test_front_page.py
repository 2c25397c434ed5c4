"""Page one: what is not counted first, then what to do, what holds and what is off the list."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from benchwater.analyse.report import RankedAction, Report
from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.plugin import Action
from benchwater.plugin.season import Span
from benchwater.read.outcome import NotRead, SetAside, UnreadColumn
from benchwater.render.front import MOST_KEPT, MOST_LINES, front_advice, unread
from benchwater.render.html import render_paper
from benchwater.render.page import compose
from render.boxes import laid_out
from render.sample_report import sample_report

RECENT = Span(name="period", label="2026-04 to 2026-05", start=date(2026, 4, 1), end=date(2026, 6, 1))


@pytest.fixture(scope="module")
def report() -> Report:
    bare = sample_report()
    return replace(bare, set_aside=(), cells_set_aside=(), not_read=(), unread_columns=(), actions=())


def advice(id: str, state: str = "new", section: str = "a", **more: object) -> RankedAction:
    action = Action(id=id, text=str(more.pop("text", f"Do {id}.")), because="It pays.", **more)  # type: ignore[arg-type]
    return RankedAction(
        action=action,
        section_id=section,
        section_title=section,
        state=state,  # type: ignore[arg-type]
        since=date(2026, 3, 1),
        span=RECENT,
    )


def aside(value: str, line: int = 2, **more: object) -> SetAside:
    said = {
        "file": "logs/pour.csv",
        "column": "cavity",
        "why": "is none",
        "reason": "name",
        "log": "pour",
        "amount": 1.0,
    }
    return SetAside(value=value, line=line, **(said | more))  # type: ignore[arg-type]


def test_every_state_has_its_own_block_and_says_since_when(report: Report) -> None:
    listed = (
        advice("one"),
        replace(advice("two", "open"), or_earlier=True),
        advice("three", "open"),
        advice("four", "holds"),
        advice("five", "mended"),
    )
    page = compose(replace(report, actions=listed))
    assert [each.since for each in page.to_do] == ["new", "open since March or before", "open since March"]
    assert [each.since for each in page.holds] == ["since March"]
    assert [each.since for each in page.mended] == ["on the list since March"]
    assert (page.recent, page.before) == ("April and May", "May")


def test_the_best_of_each_section_stands_before_the_second_of_another(report: Report) -> None:
    many = [advice(f"{number}", worth=9.0, worth_unit="money") for number in range(20)]
    danger = [advice(f"danger {number}", section="c", urgent=True) for number in range(3)]
    listed = (*danger, *many, advice("last", section="b"))
    shown = front_advice(replace(report, actions=listed))
    assert [each.action.id for each in shown.to_do[:3]] == ["danger 0", "danger 1", "danger 2"]
    assert shown.to_do[-1].action.id == "last"
    assert shown.left == len(listed) - len(shown.to_do) > 0


def test_what_is_new_stands_before_what_has_long_been_open(report: Report) -> None:
    many = [advice(f"{number}", "open") for number in range(20)]
    shown = front_advice(replace(report, actions=(*many, advice("fresh"))))
    assert shown.to_do[-1].action.id == "fresh"


def test_the_front_page_takes_no_more_lines_than_it_has(report: Report) -> None:
    kept = [advice(f"{state} {number}", state) for state in ("holds", "mended") for number in range(9)]
    many = [advice(f"{number}", text="Do it " * 40) for number in range(9)]
    shown = front_advice(replace(report, actions=(*many, *kept)))
    assert len(shown.holds) == len(shown.mended) == MOST_KEPT
    assert 0 < 5 * len(shown.to_do) + 2 * 2 <= MOST_LINES


def test_each_section_beyond_the_usual_ones_takes_the_room_of_two_lines_of_advice(report: Report) -> None:
    many = tuple(advice(f"x{number}", section=str(number)) for number in range(30))
    (section, *_) = report.sections
    shown = [
        len(front_advice(replace(report, actions=many, sections=(section,) * count)).to_do)
        for count in (11, 12, 14)
    ]
    assert [shown[0] - each for each in shown] == [0, 1, 3]


def test_files_refused_whole_come_first_and_say_why(report: Report) -> None:
    files = [NotRead(file=f"logs/{number}.csv", why="has no heading that is known") for number in range(4)]
    said = unread(replace(report, not_read=tuple(files)))
    assert said.files == (
        "No row of 0.csv was read: it has no heading that is known.",
        "No row of 1.csv was read: it has no heading that is known.",
        "2 more files were not read: see the appendix.",
    )
    page = compose(replace(report, not_read=tuple(files)))
    assert page.nothing_to_do == "Nothing from what could be read: mend what stands above first."


def test_rows_set_aside_say_what_they_carry_and_what_brings_back_most(report: Report) -> None:
    rows = [aside("1/9", line, amount=4.0) for line in range(2, 16)]
    rows += [aside(f"5/{day}/26", day, column="date", reason="date_order") for day in range(1, 4)]
    rows += [aside("tin can", 9, log="inventory", column="item", amount=907.18474, unit="g")]
    cells = [aside("rocks", line, log="fishing", column="cause", reason="word") for line in range(2, 8)]
    column = UnreadColumn(file="pour.csv", column="Temp", may_be=("mold_temp", "melt_temp"))
    said = unread(
        replace(
            report, set_aside=tuple(rows), cells_set_aside=tuple(cells), unread_columns=(column,), sources=()
        )
    )
    assert said.rows == (
        "18 rows could not be read and count nowhere (59 castings and 2 lb, as far as they say); "
        "6 cells in other rows are unknown; 1 column was not understood."
    )
    assert said.fixes == (
        "`1/9` in column cavity (14 rows, 56 castings)",
        "`rocks` in column cause (6 cells)",
        "`5/1/26` and 2 more like it in column date (3 rows, 3 castings)",
    )


def test_a_row_of_totals_is_nothing_to_mend(report: Report) -> None:
    said = unread(replace(report, set_aside=(aside("Total", reason="totals", amount=None),)))
    assert said.rows == "1 row could not be read and counts nowhere."
    assert said.fixes == ()


def test_nothing_is_said_where_everything_was_read(report: Report) -> None:
    assert unread(report).lines == 0


POUR = """date,mold,cavity,outcome,count,flaw
2026-05-03,round jig,1/8 oz,good,6,
2026-05-03,round jig,1/8 oz,reject,2,short fill
2026-05-03,round jig,1/16 oz,good,4,
2026-05-03,round jig,1/16 oz,reject,1,
2026-05-03,round jig,1/8 oz,good,8,
"""
TRIP = """date,build,fished,fate,count,cause
2026-05-06,perch grub,3 h,kept,2,
2026-05-06,perch grub,1 h,lost,1,snag
2026-05-06,crappie dart,2 h,lost,1,bite off
"""
UNCLEAR = POUR.replace("2026-05-03", "3/5/26")


def first_report(folder: Path, **logs: str) -> tuple[Report, list[str]]:
    for name, text in logs.items():
        (folder / f"{name}.csv").write_text(text)
    report = make_report(read_workspace(folder), Request(month="2026-05"))
    pages = laid_out(render_paper(report)).pages
    return report, [words_of(page) for page in pages]


def words_of(page: Any) -> str:
    """The text of a laid-out page, each gap as one space."""
    texts = (getattr(box, "text", "") or "" for box in page._page_box.descendants())
    return re.sub(r"\s+([.,:;)])", r"\1", " ".join(" ".join(texts).split()))


@pytest.mark.parametrize(
    ("log", "shown", "to_write"),
    [
        (POUR, "castings made 21", "Start a fishing log with the columns date, build, fished and fate."),
        (TRIP, "baits lost or worn 2", "Start a pour log with the columns date, mold, cavity and outcome."),
        (UNCLEAR, "5 rows could not be read and count nowhere (21 castings", "Start a fishing log"),
    ],
)
def test_a_first_report_is_two_pages_of_counts_and_of_what_to_write_next(
    log: str, shown: str, to_write: str, tmp_path: Path
) -> None:
    report, pages = first_report(tmp_path, log=log)
    assert len(pages) == 2
    assert shown in pages[0]
    assert to_write in pages[0]
    assert len(compose(report).to_write) == 3
    assert "nothing in particular" not in pages[0]
    assert log != UNCLEAR or "There is nothing yet in the pour log" not in " ".join(pages)


def test_a_maker_who_only_fishes_gets_every_section_once_there_are_rows(tmp_path: Path) -> None:
    head, *rows = TRIP.strip().splitlines()
    _, few = first_report(tmp_path, log="\n".join([head, *rows * 9]))
    _, many = first_report(tmp_path, log="\n".join([head, *rows * 40]))
    assert "What to write down next" in few[0]
    assert "What to write down next" not in many[0]
    assert len(few) == 2 < len(many)
