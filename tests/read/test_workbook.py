"""Workbooks are read sheet by sheet; hostile ones are files that are not read."""

import io
import zipfile
from datetime import date, datetime, time
from typing import Any

import pytest
import xlsxwriter

from benchwater.read.folder import read_folder
from small_bench import shipped_kinds, small_bench

POUR = ["date", "mold", "cavity", "outcome", "count", "mold_temp [F]", "mass [g]"]


def book(sheets, path):
    with xlsxwriter.Workbook(path, {"default_date_format": "yyyy-mm-dd"}) as made:
        for name, rows in sheets.items():
            sheet = made.add_worksheet(name)
            for row, cells in enumerate(rows):
                sheet.write_row(row, 0, cells)


def read(folder):
    return read_folder(folder, shipped_kinds(), small_bench())


def test_typed_cells_are_read_as_such_and_the_sheet_is_named(tmp_path):
    clock: list[list[Any]] = [
        ["date", "build", "fished", "fate"],
        [date(2026, 5, 2), "perch-grub", time(1, 30), "kept"],
    ]
    with xlsxwriter.Workbook(tmp_path / "season.xlsx") as made:
        day, hours = (
            made.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
            made.add_format({"num_format": "h:mm"}),
        )
        pour, water = made.add_worksheet("Pours"), made.add_worksheet("Water")
        pour.write_row(0, 0, ["My pours"])
        pour.write_row(2, 0, POUR)
        pour.write_datetime(3, 0, datetime(2026, 5, 1, 18, 40), day)
        pour.write_row(3, 1, ["round-jig", "1/8", "good", 2, 300.5, 7.1])
        pour.write_row(4, 0, ["soon", "round-jig", "1/8", "good", 2])
        water.write_row(0, 0, clock[0])
        water.write_datetime(1, 0, clock[1][0], day)
        water.write_string(1, 1, "perch-grub")
        water.write_datetime(1, 2, clock[1][2], hours)
        water.write_string(1, 3, "kept")
    reading = read(tmp_path)
    poured, fished = reading.tables["pour"], reading.tables["fishing"]
    assert poured["date"].tolist() == [datetime(2026, 5, 1, 18, 40)]
    assert (poured["count"][0], poured["mass_g"][0]) == (2, 7.1)
    assert poured["mold_temp_c"][0] == pytest.approx((300.5 - 32) / 1.8)
    assert fished["fished_h"].tolist() == [1.5]
    (refused,) = reading.set_aside
    assert (refused.file, refused.line, refused.value) == ("season.xlsx, sheet Pours", 5, "soon")
    assert [(source.log, source.rows, source.used) for source in reading.sources] == [
        ("pour", 2, 1),
        ("fishing", 1, 1),
    ]


def test_counts_side_by_side_are_read_from_a_sheet_too(tmp_path):
    rows = [["date", "mold", "cavity", "good", "bad"], ["2026-05-01", "round-jig", "1/8", 20, 3]]
    book({"a": rows, "Shopping list": [["eggs", "milk", "bread"], [1, 2, 3]]}, tmp_path / "b.xlsx")
    reading = read(tmp_path)
    assert reading.tables["pour"]["count"].tolist() == [20, 3]
    assert [each.file for each in reading.not_read] == ["b.xlsx, sheet Shopping list"]


def zipped(**members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


def far_cell(path):
    with xlsxwriter.Workbook(path) as made:
        sheet = made.add_worksheet()
        sheet.write_row(0, 0, POUR)
        sheet.write_string(1_000_000, 16_000, "x")


def endless_text(path):
    with xlsxwriter.Workbook(path) as made:
        sheet = made.add_worksheet()
        for row in range(10_000):
            sheet.write_string(row, 0, "a" * 32_000)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"PK\x03\x04 and no more", "damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and no more", "cannot be opened"),
        (zipped(nothing="x"), "cannot be opened"),
        (zipped(**{"xl/worksheets/sheet1.xml": b"0" * (130 * 1024 * 1024)}), "unpacks to more than 128 MiB"),
        (
            zipped(
                **{
                    "content.xml": b'<table:table-row table:number-rows-repeated="9000000"><table:table-cell>'
                    b"<text:p>x</text:p></table:table-cell></table:table-row>"
                }
            ),
            "repeats one cell or row 9000000 times",
        ),
        (far_cell, "delete what stands far right or far below"),
        (endless_text, "repeats a very long text very often"),
    ],
)
def test_a_hostile_workbook_is_a_file_that_is_not_read(tmp_path, content, why):
    path = tmp_path / "bad.xlsx"
    if callable(content):
        content(path)
    else:
        path.write_bytes(content)
    (tmp_path / "fine.csv").write_text("date,mold,cavity,outcome\n2026-05-01,round-jig,1/8,good\n")
    reading = read(tmp_path)
    assert [each.file for each in reading.not_read] == ["bad.xlsx"]
    assert why in reading.not_read[0].why
    assert reading.holds_rows


ODS_ROWS = (("date", "build", "fished", "fate"), ("2026-05-02", "perch-grub", "1:30", "kept"))


def test_an_open_document_is_read(tmp_path):
    cells = "".join(
        "<table:table-row>"
        + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{text}</text:p></table:table-cell>'
            for text in row
        )
        + "</table:table-row>"
        for row in ODS_ROWS
    )
    empty = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell/></table:table-row>'
    spaces = "".join(
        f' xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for name in ("office", "table", "text")
    )
    content = (
        f'<?xml version="1.0"?><office:document-content{spaces}><office:body><office:spreadsheet>'
        f'<table:table table:name="Water">{cells}{empty}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>'
    made = zipped(mimetype=kind, **{"META-INF/manifest.xml": manifest, "content.xml": content})
    (tmp_path / "a.ods").write_bytes(made)
    reading = read(tmp_path)
    assert reading.not_read == ()
    assert reading.tables["fishing"]["fished_h"].tolist() == [1.5]
