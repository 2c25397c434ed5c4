"""The section while it is made, and what all its parts need: fills, bins of temperature, words."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchwater.ledger.prices import cost_of_reject
from benchwater.plugin import Action, Bench, Cell, Figure, Finding, Season
from benchwater.words import day_words, limits

from .flaw_window import FlawWindow

ENOUGH_CASTINGS, ENOUGH_FLAWED, ENOUGH_SESSIONS = 30, 5, 4
ASKED_OF = ["mold", "cavity", "flaw", "session", "key", "castings", "rejects", "cold", "hot"]
BIN_WIDTH = {"us": 25.0, "metric": 10.0}


@dataclass(slots=True)
class Draft:
    """A section while it is made: its rows by mold, the fills, and what has been found so far."""

    season: Season
    poured: dict[str, pd.DataFrame]
    fills: pd.DataFrame
    findings: list[Finding] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    actions: list[Action] = field(default_factory=list)
    tables: defaultdict[str, list[tuple[Cell, ...]]] = field(default_factory=lambda: defaultdict(list))
    windows: dict[str, FlawWindow] = field(default_factory=dict)
    gun: set[str] = field(default_factory=set)
    _made: dict[str, pd.DataFrame] = field(init=False)
    _warm: dict[str, pd.DataFrame] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """The fills that made castings, by mold."""
        self._made = by_mold(self.fills[self.fills["castings"] > 0])

    @property
    def bench(self) -> Bench:
        """The standing facts."""
        return self.season.bench

    def temp(self, celsius: float | None) -> str:
        """A temperature as printed."""
        return self.bench.show(celsius, "degC")

    def degrees(self, low: float | None, high: float | None) -> str:
        """Limits of a temperature in words."""
        return limits(self.temp, low, high) or "how exactly, the logs leave open"

    def share(self, value: float | None) -> str:
        """A share as printed."""
        return self.bench.show(value, "1")

    def sitting(self, session: str, mold: str) -> str:
        """A session of a mold in words: its day, and what else its name says."""
        name = session.removesuffix(f" {mold}")
        return day_words(date.fromisoformat(name[:10]), self.season.end) + name[10:]

    def of(self, mold: str) -> pd.DataFrame:
        """The fills of a mold that made castings."""
        return self._made[mold]

    def warm(self, mold: str) -> pd.DataFrame:
        """Those of known temperature, with the number of the bin it falls in."""
        if mold not in self._warm:
            fills = self.of(mold)
            fills = fills[fills["mold_temp_c"].notna()]
            self._warm[mold] = fills.assign(bin=bin_numbers(self.bench, fills["mold_temp_c"]))
        return self._warm[mold]

    def temps(self, rows: pd.DataFrame) -> NDArray[np.float64]:
        """The temperature of each row's fill (rows,), nan where it was not read."""
        return self.fills["mold_temp_c"].to_numpy()[rows["key"]]

    def worth(self, rows: pd.DataFrame, column: str, part: float = 1.0) -> dict[str, Any]:
        """What the bad castings of these rows cost in inserts; their number where no price or no insert is.

        Nothing where every insert is cut out of them and used again.
        """
        bad = rows.groupby(["mold", "cavity"])[column].sum()
        bad = bad[bad > 0]
        of = [(str(mold), str(cavity)) for mold, cavity in bad.index]
        costs = [cost_of_reject(self.season, mold, cavity) for mold, cavity in of]
        if None in costs or all(self.bench.cavity(mold, cavity).insert is None for mold, cavity in of):
            return {"worth": part * float(bad.sum()), "worth_unit": "baits"}
        money = sum((cost or 0.0) * int(count) for cost, count in zip(costs, bad, strict=True))
        return {"worth": part * money, "worth_unit": "money"} if money > 0 else {}


def by_mold(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The rows of each mold."""
    return {str(mold): rows for mold, rows in table.groupby("mold")}


def bin_numbers(bench: Bench, celsius: Any) -> Any:
    """Number of the bin of each temperature, bins being round in the bench's own unit."""
    return np.floor((as_printed(bench, celsius) + 1e-6) / BIN_WIDTH[bench.system])


def bin_edge(bench: Bench, number: float) -> float:
    """Lower edge of a bin, in degC."""
    edge = number * BIN_WIDTH[bench.system]
    return (edge - 32) / 1.8 if bench.system == "us" else edge


def as_printed(bench: Bench, celsius: Any) -> Any:
    """Plain numbers on the bench's own scale, for bins and axes."""
    return np.asarray(celsius, dtype=np.float64) * 1.8 + 32 if bench.system == "us" else np.asarray(celsius)
