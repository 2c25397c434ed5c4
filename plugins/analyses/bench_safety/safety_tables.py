"""Reads the tables of published limits, rules on lead tackle and bench cautions, each row with its source.

The CSV files lie in `data/`. `checked` says how a row was checked: `page` in a copy of the source or a text
that prints it, `page-secondary` in a text that reports it. None of it is advice: limits and rules change, and
a row says what was read.
"""

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureLimit:
    """A published limit: of what, whose, its `value` in `unit`, since when (may be empty) and where read."""

    what: str
    whose: str
    value: float
    unit: str
    since: str
    source: str
    checked: str

    @property
    def limit(self) -> str:
        """Returns the value with its unit, joined by no-break spaces."""
        return f"{self.value:g} {self.unit.replace('/', ' per ')}".replace(" ", "\u00a0")


@dataclass(frozen=True, slots=True, kw_only=True)
class TackleRule:
    """An example of a rule on lead tackle: what it covers, whether jig heads and paint, and since when."""

    place: str
    rule: str
    jig_heads: str
    dated: str
    source: str
    checked: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One usual caution at the bench."""

    about: str
    what: str
    source: str


@cache
def exposure_limits() -> tuple[ExposureLimit, ...]:
    """Returns published exposure limits and reference values, for workplaces and blood."""
    return tuple(
        ExposureLimit(
            what=row["what"],
            whose=row["whose"],
            value=float(row["value"]),
            unit=row["unit"],
            since=row["since"],
            source=row["source"],
            checked=row["checked"],
        )
        for row in _rows("exposure_limits.csv")
    )


@cache
def tackle_rules() -> tuple[TackleRule, ...]:
    """Returns examples of published rules on lead tackle that differ in kind."""
    return tuple(TackleRule(**row) for row in _rows("tackle_rules.csv"))


@cache
def bench_cautions() -> tuple[Caution, ...]:
    """Returns the usual cautions of casting, coating and curing."""
    return tuple(Caution(**row) for row in _rows("bench_cautions.csv"))


def _rows(name: str) -> list[dict[str, str]]:
    text = (Path(__file__).parent / "data" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
