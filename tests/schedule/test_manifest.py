import json
from datetime import date

import pytest

from benchwater.schedule.manifest import (
    FORMAT,
    NAME,
    Inputs,
    MadeFrom,
    Manifest,
    Period,
    Scan,
    WrittenReport,
    manifest_text,
    read_manifest,
)

FULL = Manifest(
    scan=Scan(
        inputs=Inputs(version="1", bench="b", logs={"päck ☃.csv": "1"}, plugins={"shipped: x.py": "2"}),
        periods=(
            Period(
                label="2026-05",
                month="2026-05",
                whole_season=False,
                ended_on=date(2026, 6, 1),
                rows_until=date(2026, 6, 1),
                rows="r",
                files={"a.csv": "f"},
            ),
        ),
    ),
    reports={
        "2026-05": WrittenReport(
            made_from=MadeFrom(rows="r", files={"a.csv": "f"}, bench="b", plugins={}, version="1"),
            files=("season-report.pdf",),
            printed=False,
            failed=("broken",),
            handed_on=False,
        )
    },
)


def test_a_manifest_reads_back_as_written(tmp_path):
    (tmp_path / NAME).write_text(manifest_text(FULL), encoding="utf-8")
    assert read_manifest(tmp_path) == FULL
    (tmp_path / NAME).write_text(manifest_text(Manifest()), encoding="utf-8")
    assert read_manifest(tmp_path) == Manifest()


def _without(*keys):
    data = json.loads(manifest_text(FULL))
    inner = data
    for key in keys[:-1]:
        inner = inner[key]
    del inner[keys[-1]]
    return json.dumps(data)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        "7",
        f'{{"format": {FORMAT}}}',
        f'{{"format": {FORMAT}, "scan": [], "reports": {{}}}}',
        f'{{"format": {FORMAT}, "scan": null, "reports": []}}',
        manifest_text(FULL)[:-40],
        manifest_text(FULL).replace(f'"format": {FORMAT}', f'"format": {FORMAT + 1}'),
        manifest_text(FULL).replace("2026-06-01", "yesterday"),
        manifest_text(FULL).replace('"season-report.pdf"', '"../../../private"'),
        manifest_text(FULL).replace('"season-report.pdf"', '"/etc/passwd"'),
        manifest_text(FULL).replace('"season-report.pdf"', r'"..\\private"'),
        manifest_text(FULL).replace('"season-report.pdf"', '".."'),
        manifest_text(FULL).replace('"season-report.pdf"', "7"),
        manifest_text(FULL).replace('"label": "2026-05"', '"label": "../2026-05"'),
        manifest_text(FULL).replace('"2026-05": {', '"../2026-05": {'),
        _without("scan", "inputs", "bench"),
        _without("reports", "2026-05", "made_from", "rows"),
        "[" * 100_000,
        "\0",
    ],
)
def test_a_damaged_or_foreign_manifest_reads_as_empty(tmp_path, text):
    (tmp_path / NAME).write_text(text, encoding="utf-8")
    assert read_manifest(tmp_path) == Manifest()


def test_a_manifest_that_is_binary_or_a_folder_reads_as_empty(tmp_path):
    (tmp_path / NAME).write_bytes(b"\xff\xfe\x00\x80")
    assert read_manifest(tmp_path) == Manifest()
    (tmp_path / NAME).unlink()
    (tmp_path / NAME).mkdir()
    assert read_manifest(tmp_path) == Manifest()
