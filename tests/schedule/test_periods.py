import os
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from benchwater.pipeline import read_workspace
from benchwater.schedule.periods import periods_with_rows, with_digests
from small_bench import SMALL_BENCH

DEMO = Path(__file__).parents[2] / "sample_logs"

CODE = """
import sys
from pathlib import Path
from benchwater.schedule.manifest import hash_inputs
from benchwater.schedule.owed import scan_folder
from benchwater.schedule.manifest import Manifest
folder = Path(sys.argv[1])
print([(p.label, p.rows) for p in scan_folder(folder, Manifest(), inputs=hash_inputs(folder))[0].periods])
"""


@pytest.mark.slow
def test_digests_do_not_depend_on_hash_order_locale_or_time_zone(tmp_path):
    (tmp_path / "bench.toml").write_text(SMALL_BENCH)
    (tmp_path / "pour.csv").write_text(
        "date,mold,cavity,outcome,mold_temp,flaw,mood,sky\n"
        "2026-05-02 09:30,round-jig,1/8,reject,350,flash,good,blue\n"
        "2026-05-03,round-jig,1/8,good,hot,,bad,grey\n"
    )
    printed = {
        subprocess.run(
            [sys.executable, "-c", CODE, tmp_path],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": locale},
        ).stdout
        for seed, zone, locale in (("1", "Pacific/Auckland", "C"), ("2", "America/Anchorage", "C.UTF-8"))
    }
    assert len(printed) == 1
    assert "2026-05" in printed.pop()


@pytest.fixture(scope="module")
def demo():
    """The demo season as read, and a way to digest it with other tables in place of some of its own."""
    read = read_workspace(DEMO)
    months = periods_with_rows(read.reading.tables, read.bench)

    def digests(*, set_aside=read.reading.set_aside, **tables):
        reading = replace(read.reading, tables={**read.reading.tables, **tables}, set_aside=set_aside)
        return {p.label: p for p in with_digests(months, DEMO, reading)}

    return read.reading, digests


def _another(value):
    return value + 1 if isinstance(value, int | float) and value == value else "another"


def test_a_cell_of_may_changes_the_digests_of_may_and_later_reports_only(demo):
    reading, digests = demo
    before, seen = digests(), 0
    for log, table in ((log, table) for log, table in reading.tables.items() if len(table)):
        in_may = table.index[(table["date"] >= "2026-05-01") & (table["date"] < "2026-06-01")]
        if not len(in_may):
            continue
        row = in_may[len(in_may) // 2]
        for name in table.columns.difference(["file", "line", "date"]):
            changed = table.copy()
            held = changed[name].astype(object).tolist()
            held[row] = _another(held[row])
            changed[name] = type(changed[name])(held, dtype=object)
            after = digests(**{log: changed})
            for label, period in before.items():
                same = after[label].rows == period.rows
                assert same == (period.rows_until < date(2026, 6, 1)), (log, name, label)
            file = table["file"][row]
            others = {each: digest for each, digest in before["2026-05"].files.items() if each != file}
            assert others.items() <= after["2026-05"].files.items()
            assert after["2026-05"].files[file] != before["2026-05"].files[file]
            seen += 1
    assert seen > 40


def test_later_rows_moved_rows_and_empty_columns_change_no_digest(demo):
    reading, digests = demo
    before = digests()
    early = {log: table[table["date"] < "2026-06-01"] for log, table in reading.tables.items()}
    assert digests(**early)["2026-05"] == before["2026-05"]
    moved = {
        log: table.assign(file="other.csv", line=table["line"] + 7, empty=None)[table.columns[::-1]]
        for log, table in reading.tables.items()
    }
    for label, period in digests(**moved).items():
        assert period.rows == before[label].rows
    swapped = reading.tables["pour"].copy()
    first, second = swapped.index[:2]
    swapped.loc[[first, second]] = swapped.loc[[second, first]].to_numpy()
    assert digests(pour=swapped)["2026-05"].rows != before["2026-05"].rows


def test_a_row_set_aside_counts_from_its_date_on_or_for_every_report_without_one(demo):
    reading, digests = demo
    before = digests()
    for file, first in (("pours/pour-july.csv", "2026-07"), ("water/fish.csv", "2024-03")):
        others = tuple(entry for entry in reading.set_aside if entry.file != file)
        assert len(others) == len(reading.set_aside) - 1
        after = digests(set_aside=others)
        for label, period in before.items():
            assert (after[label].rows == period.rows) == (period.month < first), (file, label)
