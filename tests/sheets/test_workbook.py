import io

import python_calamine

from benchwater.read.folder import read_folder
from benchwater.read.workbook import read_workbook
from benchwater.sheets.screens import blank_workbook, offered_words
from small_bench import shipped_kinds, small_bench


def test_a_blank_workbook_has_a_sheet_for_each_log_and_is_read_back_without_a_complaint(tmp_path):
    (tmp_path / "season.xlsx").write_bytes(blank_workbook(shipped_kinds(), small_bench()))
    reading = read_folder(tmp_path, shipped_kinds(), small_bench())
    assert [source.log for source in reading.sources] == [
        kind.name for kind in shipped_kinds() if not kind.part_of
    ]
    assert (reading.not_read, reading.set_aside, reading.unread_columns) == ((), (), ())


def test_the_same_bench_gives_the_same_bytes():
    assert blank_workbook(shipped_kinds(), small_bench()) == blank_workbook(shipped_kinds(), small_bench())


def test_the_lists_hold_the_names_of_the_bench_and_every_offered_word_is_understood(tmp_path):
    bench = small_bench()
    data = blank_workbook(shipped_kinds(), bench)
    names = python_calamine.load_workbook(io.BytesIO(data)).get_sheet_by_name("names").to_python()
    held = {cell for row in names for cell in row}
    assert {"round-jig", "1/8", "hook-2", "perch-grub", "reject", "bite off", "yes"} <= held
    fillers = {"date": "2026-05-01", "count": "1", "amount": "1", "fished": "1 h", "species": "perch"}
    for kind in shipped_kinds():
        lines = []
        for column in kind.columns:
            for word in offered_words(column, kind, bench):
                row = {
                    each.name: fillers.get(each.name) or (offered_words(each, kind, bench) or ("x",))[0]
                    for each in kind.columns
                    if each.needed
                }
                lines.append(",".join((row | {column.name: word}).get(c.name, "") for c in kind.columns))
        heading = ",".join(column.name for column in kind.columns)
        (tmp_path / f"{kind.name}.csv").write_text("\n".join([heading, *lines]) + "\n", encoding="utf-8")
    reading = read_folder(tmp_path, shipped_kinds(), bench)
    refused = [*reading.set_aside, *reading.cells_set_aside]
    assert [each for each in refused if each.reason in {"word", "name"}] == []
    assert reading.not_read == ()


def test_the_sheet_of_names_is_hidden():
    sheets = read_workbook(blank_workbook(shipped_kinds(), small_bench()))
    assert [sheet.name for sheet in sheets if sheet.is_hidden] == ["names"]
