"""Reads a workbook (`.xlsx`, `.xlsm`, `.ods`, `.xls`) sheet by sheet, within bounds of an honest one."""

import io
import re
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

from benchwater.read.outcome import FileError
from benchwater.text import csv_lines

MARKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""How the bytes of a workbook begin: a zip archive, or the older compound file."""
_MOST_UNPACKED = 128 * 1024 * 1024
_MOST_CELLS = 4_000_000
_MOST_TEXT = 256 * 1024 * 1024
_MOST_OLD_BYTES = 32 * 1024 * 1024
_MOST_SHEETS = 100
_MOST_REPEATED = 2_000
_FIRST_YEAR_OF_DAYS = 1901
_CELL = re.compile(rb'<c [^>]*?\br="([A-Z]{1,3})([0-9]{1,7})"')
_SHARED_TEXT = re.compile(rb"<si[ >].*?</si>", re.DOTALL)
_REPEATED_CELL = re.compile(rb'<table:table-cell[^>]*?number-columns-repeated="([0-9]+)"[^>]*?[^/]>')
_REPEATED_ROW = re.compile(
    rb'<table:table-row[^>]*?number-rows-repeated="([0-9]+)"[^>]*>(.*?)</table:table-row>', re.DOTALL
)


class Sheet(NamedTuple):
    """A sheet with anything on it, as comma-separated text: a row of the sheet is a line."""

    name: str
    text: str
    is_hidden: bool


def read_workbook(data: bytes) -> Iterator[Sheet]:
    """Yield the sheets of a workbook that hold anything. FileError where it is none, or out of all bounds."""
    if data.startswith(MARKS[0]):
        _check_bounds(data)
    elif len(data) > _MOST_OLD_BYTES:
        raise FileError(f"is a workbook larger than {_MOST_OLD_BYTES // 1024 // 1024} MiB: save it as .xlsx")
    import python_calamine as calamine

    try:
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = list(book.sheets_metadata)
    except calamine.PasswordError:
        raise FileError("is a workbook with a password: save it without one") from None
    except (calamine.CalamineError, OSError, ValueError) as error:
        raise FileError(f"is a workbook that cannot be opened ({error}): save it again") from None
    if len(sheets) > _MOST_SHEETS:
        raise FileError(f"is a workbook of {len(sheets)} sheets (at most {_MOST_SHEETS})")
    for sheet in sheets:
        if sheet.typ is not calamine.SheetTypeEnum.WorkSheet:
            continue
        try:
            rows = book.get_sheet_by_name(sheet.name).to_python(skip_empty_area=False)
        except (calamine.CalamineError, OSError, ValueError) as error:
            raise FileError(f"has a sheet `{sheet.name}` that cannot be read ({error})") from None
        texts = [[_cell_text(cell) for cell in row] for row in rows]
        if any(any(row) for row in texts):
            hidden = sheet.visible is not calamine.SheetVisibleEnum.Visible
            yield Sheet(sheet.name, _as_lines(texts), hidden)


def _as_lines(rows: list[list[str]]) -> str:
    width = max(max((at + 1 for at, text in enumerate(row) if text), default=0) for row in rows)
    return csv_lines(row[:width] for row in rows)


def _cell_text(cell: object) -> str:
    """A typed cell as a maker would write it: a day in ISO 8601, a length of time as `1:30`."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int | float):
        text = f"{cell:.12g}"
        return f"{cell:.6f}" if "e" in text else text
    if isinstance(cell, datetime):
        if cell.year < _FIRST_YEAR_OF_DAYS:
            return _clock(cell.hour * 3600 + cell.minute * 60 + cell.second)
        seconds = f":{cell.second:02}" if cell.second else ""
        is_day = cell.time() == time()
        return cell.date().isoformat() if is_day else f"{cell:%Y-%m-%d %H:%M}{seconds}"
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, time):
        return _clock(cell.hour * 3600 + cell.minute * 60 + cell.second)
    if isinstance(cell, timedelta):
        return _clock(round(cell.total_seconds()))
    return " ".join(str(cell).split())


def _clock(seconds: int) -> str:
    minutes, rest = divmod(seconds, 60)
    return f"{minutes // 60}:{minutes % 60:02}" + (f":{rest:02}" if rest else "")


def _check_bounds(data: bytes) -> None:
    """FileError for what would not fit into memory once it is unpacked."""
    left = _MOST_UNPACKED
    longest, shared, cells = 0, 0, 0
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in archive.infolist():
                with archive.open(entry) as stream:
                    content = stream.read(left + 1)
                left -= len(content)
                if left < 0:
                    raise FileError(
                        f"is a workbook that unpacks to more than {_MOST_UNPACKED // 1024 // 1024} MiB"
                    )
                if entry.filename.endswith("sharedStrings.xml"):
                    longest = max((len(text) for text in _SHARED_TEXT.findall(content)), default=0)
                elif "/worksheets/" in entry.filename:
                    cells += _cells_reached(content)
                    shared += content.count(b't="s"')
                elif entry.filename == "content.xml":
                    _check_repeats(content)
    except (zipfile.BadZipFile, EOFError, OSError, RuntimeError, NotImplementedError, ValueError) as error:
        if isinstance(error, FileError):
            raise
        raise FileError(f"is a workbook that is damaged ({error}): save it again") from None
    if cells > _MOST_CELLS:
        raise FileError(
            f"is a workbook with {cells} cells up to its last one (at most {_MOST_CELLS}): delete what "
            "stands far right or far below"
        )
    if longest * shared > _MOST_TEXT:
        raise FileError("is a workbook that repeats a very long text very often")


def _cells_reached(content: bytes) -> int:
    """The cells of the rectangle from the first to the last cell of a sheet."""
    columns, rows = 0, 0
    for letters, number in _CELL.findall(content):
        column = 0
        for letter in letters:
            column = column * 26 + letter - 64
        columns, rows = max(columns, column), max(rows, int(number))
    return columns * rows


def _check_repeats(content: bytes) -> None:
    """FileError for a cell or row with content that an OpenDocument sheet repeats endlessly."""
    repeats = [int(number) for number in _REPEATED_CELL.findall(content)]
    repeats += [int(number) for number, row in _REPEATED_ROW.findall(content) if b"<text:p" in row]
    if max(repeats, default=0) > _MOST_REPEATED:
        raise FileError(f"is a workbook that repeats one cell or row {max(repeats)} times")
