"""Groups of baits, and how each was followed over hours in use."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from benchwater.ledger.bait_lives import Factor

from .bait_contrasts import LEAST_HOURS

if TYPE_CHECKING:
    import pandas as pd

    from .followed_stretch import Lives


def curve_groups(rows: "pd.DataFrame", leader: Factor) -> dict[str, "pd.DataFrame"]:
    """All baits, and those without and with a leader where both were fished long enough."""
    parts = {group: rows[leader.labels == group] for group in leader.groups}
    enough = len(parts) == 2 and all(part["hours"].sum() >= LEAST_HOURS for part in parts.values())
    return {"all": rows, **(parts if enough else {})}


def lives_of(rows: "pd.DataFrame", causes: Iterable[str]) -> "Lives":
    """How long each bait was followed and what ended it; `causes` are numbered from 1 in their order."""
    from .followed_stretch import lives_to_first_gap

    codes = {cause: code for code, cause in enumerate(["", *causes])}
    return lives_to_first_gap(
        rows["time"],
        rows["cause"].map(codes),
        entry=rows["entry"],
        weight=rows["count"],
        causes=range(1, len(codes)),
    )
