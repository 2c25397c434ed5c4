"""Pictures that rows of a log name, for a section to show."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from benchwater.plugin.section import MOST_PHOTOS, Photo

if TYPE_CHECKING:
    import pandas as pd


def photos_of(
    rows: "pd.DataFrame", caption: Callable[[Mapping[str, Any]], str], by: str = "date"
) -> tuple[Photo, ...]:
    """Return a picture for each row that has one, of the largest `by` first, `MOST_PHOTOS` at most.

    `caption` gets the row with missing words as empty texts.
    """
    pictured = rows[rows["photo"].notna()].sort_values(by, ascending=False, kind="stable", na_position="last")
    records = pictured.head(MOST_PHOTOS).to_dict("records")
    words = [{str(name): "" if cell != cell else cell for name, cell in record.items()} for record in records]
    return tuple(Photo(file=record["photo"], caption=caption(record)) for record in words)
