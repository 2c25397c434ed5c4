"""Makers whose words the program was not told: nearly every row counts as meant, and none otherwise.

Each file in `makers/` holds one maker's logs (`== NAME`) and the same rows in the program's own words
(`== expected LOG`). All work at the bench of `makers/bench.toml`.
"""

from collections import Counter
from pathlib import Path

import pytest

from benchwater.read.bench_file import parse_bench
from benchwater.read.folder import read_folder
from small_bench import shipped_kinds

MAKERS = Path(__file__).parent / "makers"
NAMES = sorted(path.stem for path in MAKERS.glob("*.txt"))
NOT_COMPARED = {"file", "line", "note", "uncertainty"}


def parts(name):
    _, *found = (MAKERS / f"{name}.txt").read_text(encoding="utf-8").split("\n== ")
    return dict(part.split("\n", 1) for part in found)


def rows(folder, files):
    """The rows read, each as its log and its known values, with how often it occurs."""
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    bench = parse_bench((MAKERS / "bench.toml").read_text()).bench
    kinds = shipped_kinds()
    reading = read_folder(folder, kinds, bench, keep_repeats=("*",))
    found: Counter[tuple[object, ...]] = Counter()
    for kind in kinds:
        names = [name for name in kind.frame_columns if name not in NOT_COMPARED]
        for row in reading.tables[kind.name][names].to_dict("records"):
            known = {name: value for name, value in row.items() if value is not None and value == value}
            found[kind.name, tuple((name, plain(value)) for name, value in sorted(known.items()))] += 1
    return found, reading


def plain(value):
    return float(f"{value:.6g}") if isinstance(value, float) else str(value).casefold()


def count(folder, name):
    """Rows expected, rows read as expected, rows that say anything else, and what was read."""
    found = parts(name)
    logs = {key: text for key, text in found.items() if not key.startswith("expected ")}
    expected = {f"{key.split()[1]}.csv": text for key, text in found.items() if key.startswith("expected ")}
    for each in ("logs", "expected"):
        (folder / each).mkdir()
    wanted, _ = rows(folder / "expected", expected)
    read, reading = rows(folder / "logs", logs)
    wrong = [row for row in (read - wanted).elements() if not any(is_part(row, other) for other in wanted)]
    return wanted.total(), (wanted & read).total(), len(wrong), reading


def is_part(row, other):
    """Whether a row says nothing that the other does not."""
    return row[0] == other[0] and set(row[1]) <= set(other[1])


@pytest.mark.parametrize("name", NAMES)
def test_what_a_maker_wrote_counts_as_meant_or_not_at_all(tmp_path, name):
    expected, right, wrong, reading = count(tmp_path, name)
    told = [*reading.not_read, *reading.set_aside, *reading.cells_set_aside, *reading.unread_columns]
    assert wrong == 0, told
    assert right >= 0.9 * expected, told
