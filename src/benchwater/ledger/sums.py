"""Sums of a log's column by what other columns say."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


def sums_by(rows: "pd.DataFrame", amount: str, *keys: str) -> dict[Any, float]:
    """The sum of the column `amount` for each value of a key column, or each tuple of values of several.

    In order of first appearance; a row without a key is in no sum.
    """
    by = keys[0] if len(keys) == 1 else list(keys)
    sums: dict[Any, float] = rows.groupby(by, observed=True, sort=False)[amount].sum().to_dict()
    return sums
