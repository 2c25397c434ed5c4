"""Pictures that the logs name: found among the folder's files, checked, and made small for the report."""

import io
import re
import warnings
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from benchwater.files import PICTURE_ENDINGS, read_own_file
from benchwater.read.outcome import Reading, Reason, SetAside

if TYPE_CHECKING:
    import pandas as pd

PHOTO = "photo"
MOST_BYTES = 40_000_000
MOST_PIXELS = 100_000_000
LONGEST_SIDE_PX = 360
MOST_SMALL_BYTES = 60_000
_WORD = re.compile(r"[^\W_]+")
_NOT_DAYS = re.compile(r"(?<!\d)(\d{4})[-_.]?(\d\d)[-_.]?(\d\d)(?!\d)")


def with_photos(folder: Path, reading: Reading) -> Reading:
    """Return the reading with each row's `photo` as the path of a picture below the folder, or missing.

    A cell may give a path from its log or from the folder, or a name that one picture alone has. A row that
    names none takes the picture whose name holds the tag of its bait, or its day and one of its words (the
    species, the flaw, the build), where one row alone fits. A cell without a readable picture is set aside.
    """
    pictures = [each.file for each in reading.not_read if each.file.lower().endswith(PICTURE_ENDINGS)]
    tables = dict(reading.tables)
    refused: list[SetAside] = []
    used: set[str] = set()
    for log, table in tables.items():
        if PHOTO in table.columns and (pictures or table[PHOTO].notna().any()):
            tables[log], cells = _named(folder, log, table, pictures)
            refused += cells
            used |= set(tables[log][PHOTO].dropna())
    for log, table in tables.items():
        if PHOTO in table.columns and set(pictures) - used:
            tables[log] = _matched(folder, table, [each for each in pictures if each not in used])
            used |= set(tables[log][PHOTO].dropna())
    if not refused and not pictures:
        return reading
    lost = {(each.file, each.line) for each in refused}
    return replace(
        reading,
        tables=tables,
        cells_set_aside=tuple(
            sorted((*reading.cells_set_aside, *refused), key=lambda each: (each.file, each.line))
        ),
        sources=tuple(
            replace(
                source,
                cells_set_aside=source.cells_set_aside + sum(file == source.file for file, _ in lost),
            )
            for source in reading.sources
        ),
        not_read=tuple(
            replace(each, why="is a picture that no row names") if each.file in pictures else each
            for each in reading.not_read
            if each.file not in used
        ),
    )


def _named(
    folder: Path, log: str, table: "pd.DataFrame", pictures: list[str]
) -> "tuple[pd.DataFrame, list[SetAside]]":
    """Return the table with the paths of the pictures that its cells name, and the cells that name none."""
    import pandas as pd

    found: list[str | None] = []
    refused: list[SetAside] = []
    rows = table[["file", "line", PHOTO, "date"]].astype({"file": "str"})
    for file, line, written, date in rows.itertuples(index=False, name=None):
        picture = None
        if isinstance(written, str):
            picture, why = _picture(folder, file, written, pictures)
            if picture is None:
                refused.append(
                    SetAside(
                        file=file,
                        line=int(line),
                        column=PHOTO,
                        value=written,
                        why=why,
                        reason=Reason.RULE.name.lower(),
                        log=log,
                        values=(("date", date.to_pydatetime()),),
                    )
                )
        found.append(picture)
    return table.assign(**{PHOTO: pd.Series(found, index=table.index, dtype="str")}), refused


def _picture(folder: Path, log_file: str, written: str, pictures: list[str]) -> tuple[str | None, str]:
    """Return the path of the picture that a cell names; without one, why not."""
    name = written.strip().replace("\\", "/").casefold()
    beside = str(PurePosixPath(log_file).parent / name).casefold()
    fits = [each for each in pictures if each.casefold() in {name, beside}]
    fits = fits or [each for each in pictures if PurePosixPath(each).name.casefold() == name]
    if len(fits) > 1:
        return None, f"is the name of several pictures (write one such as `{fits[0]}`)"
    if not fits:
        return None, f"is no picture in the folder (accepted: a file ending in {', '.join(PICTURE_ENDINGS)})"
    why = "" if _opens(folder / fits[0]) else "is a picture that cannot be opened"
    return (None if why else fits[0]), why


def _matched(folder: Path, table: "pd.DataFrame", pictures: list[str]) -> "pd.DataFrame":
    """Return the table with pictures that no cell names, each at the one row that its name tells of."""
    photos = table[PHOTO].copy()
    bare = table[photos.isna()]
    words = [name for name in ("species", "flaw", "build", "mold") if name in table.columns]
    for picture in pictures:
        stem = PurePosixPath(picture).stem.casefold()
        parts = set(_WORD.findall(stem))
        rows = bare.iloc[:0]
        if "bait" in bare.columns:
            tagged = bare[bare["bait"].astype("str").str.casefold().isin(parts).to_numpy(bool)]
            rows = tagged.tail(1)
        day = _NOT_DAYS.search(stem)
        if rows.empty and day:
            of_day = bare[bare["date"].dt.strftime("%Y-%m-%d") == "-".join(day.groups())]
            fits = [
                any(
                    set(_WORD.findall(str(cell).casefold())) <= parts for cell in row if isinstance(cell, str)
                )
                for row in of_day[words].astype("object").itertuples(index=False, name=None)
            ]
            rows = of_day[fits]
        if len(rows) == 1 and _opens(folder / picture):
            photos.loc[rows.index] = picture
            bare = bare.drop(rows.index)
    return table.assign(**{PHOTO: photos})


def _opens(path: Path) -> bool:
    try:
        _open(path)
    except (OSError, ValueError, SyntaxError, Warning):
        return False
    return True


def _open(path: Path) -> Any:
    """Return the picture, its pixels not decoded yet; one of more than `MOST_PIXELS` is refused."""
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        picture = Image.open(io.BytesIO(read_own_file(path, MOST_BYTES)), formats=("JPEG", "PNG", "WEBP"))
    if picture.width * picture.height > MOST_PIXELS:
        raise ValueError(f"{path.name} has too many pixels")
    return picture


def small_photo(path: Path) -> bytes | None:
    """Return a picture as a small JPEG without its metadata (place, camera, owner); None if it is broken."""
    from PIL import ImageOps

    try:
        picture = _open(path)
        picture.draft("RGB", (2 * LONGEST_SIDE_PX, 2 * LONGEST_SIDE_PX))
        small = ImageOps.exif_transpose(picture).convert("RGB")
        small.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
        for quality in (80, 60, 40):
            written = io.BytesIO()
            small.save(written, "JPEG", quality=quality, exif=b"")
            if written.tell() <= MOST_SMALL_BYTES:
                return written.getvalue()
    except (OSError, ValueError, SyntaxError, Warning):
        return None
    return None


def small_photos(folder: Path, names: Mapping[str, None]) -> dict[str, bytes]:
    """Return the small JPEG of each picture, by its path below the folder; broken ones are left out."""
    made = {name: small_photo(folder / name) for name in names}
    return {name: content for name, content in made.items() if content is not None}
