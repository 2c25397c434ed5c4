"""What makes baits last: every comparison of a season, and what each cannot be told apart from."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchwater.ledger.bait_lives import UNKNOWN, Factor, sides
from benchwater.ledger.log_columns import NOT_RECORDED, Codes, Flags, FloatArray, factorized

if TYPE_CHECKING:
    import pandas as pd

    from .compared_rates import ComparedRates
    from .confounding import HeldLike

LEAST_HOURS, LEAST_ENDS, CLEAR = 5.0, 5, 0.05
CAUSES_COMPARED = {"leader": ("", "bite off"), "guard": ("", "snag"), "habitat": ("", "snag")}


class Contrast(NamedTuple):
    """One group's rate of ends (by one cause, or all) held against another's.

    `confounder` names the first other factor from which the difference cannot be told apart, and `like` holds
    the groups against each other where that factor is the same; empty and None where there is none.
    """

    factor: str
    group: str
    against: str
    cause: str
    rates: "ComparedRates"
    here: Flags
    there: Flags
    p_adjusted: float = 1.0
    confounder: str = ""
    like: "HeldLike | None" = None

    @property
    def name(self) -> str:
        """The factor, and the cause where it is one: `leader, bite offs`."""
        return f"{self.factor}, {self.cause}s" if self.cause else self.factor

    @property
    def clear(self) -> bool:
        """Whether equal rates are out of the question after adjustment."""
        return self.p_adjusted < CLEAR


def compare_baits(rows: "pd.DataFrame", factors: Sequence[Factor]) -> tuple[list[Contrast], list[str]]:
    """Everything compared, clearest first, and the names of factors with too little to compare.

    `rows` as `bait_lives.summed_alike` gives them, or one by one. What is equally clear stands in order of
    factor.

    Groups are compared from LEAST_HOURS each and LEAST_ENDS ends together. p-values are adjusted over all of
    it (Holm 1979), two names for the same baits counting once; of what is clear, confounders are sought.
    """
    from benchwater.statistics.multiplicity import holm_adjusted

    from .compared_rates import compare_rates

    levels = {factor.name: _Levels.of(factor.labels) for factor in factors}
    levels["angler"] = _Levels.of(rows["angler"])
    hours, ended = rows["hours"].to_numpy(), _Ended(rows)
    found: list[Contrast] = []
    for factor in factors:
        strata = levels["leader" if factor.name in {"habitat", "water"} else "habitat"]
        groups = sides(rows, factor) if factor.one_by_one else []
        for cause in CAUSES_COMPARED.get(factor.name, ("",)):
            for group, against, *truths in groups:
                here, there = (each.to_numpy(dtype=bool) for each in truths)
                enough = min(hours[here].sum(), hours[there].sum()) >= LEAST_HOURS
                if enough and ended.by(cause)[here | there].sum() >= LEAST_ENDS:
                    rates = compare_rates(ended.by(cause), hours, here, there, strata.codes)
                    found.append(Contrast(factor.name, group, against, cause, rates, here, there))
    skipped = [f.name for f in factors if f.one_by_one and f.name not in {c.factor for c in found}]
    tests = {_same_baits(c): c.rates.crude.p_central for c in found}
    adjusted = dict(zip(tests, holm_adjusted(list(tests.values())).tolist(), strict=True))
    contrasts = [c._replace(p_adjusted=adjusted[_same_baits(c)]) for c in found]
    contrasts = [
        _held_like(c, factors, levels, ended.by(c.cause), hours) if c.clear else c for c in contrasts
    ]
    return sorted(contrasts, key=lambda c: float(f"{c.rates.crude.p_central:.10g}")), skipped


class _Levels(NamedTuple):
    """What sorts rows, UNKNOWN where not recorded: the place of each row's word (rows,) in `names`."""

    codes: Codes
    names: tuple[str, ...]

    @classmethod
    def of(cls, labels: "pd.Series[str]") -> "_Levels":
        """In alphabetical order."""
        told = factorized(labels)
        words = [*told.names, UNKNOWN]
        names = sorted({words[code] for code in set(told.codes.tolist())})
        places = {name: place for place, name in enumerate(names)}
        to = np.array([places.get(word, NOT_RECORDED) for word in words], dtype=np.int32)
        return cls(to[told.codes], tuple(names))


class _Ended:
    """Baits ended in each row (rows,), by one cause or all."""

    def __init__(self, rows: "pd.DataFrame") -> None:
        """Of rows with `ended` and `cause`."""
        self._ended, self._causes = rows["ended"].to_numpy(), factorized(rows["cause"])

    def by(self, cause: str) -> NDArray[np.int64]:
        """Those of a cause; of all where it is empty."""
        return self._ended if cause == "" else np.where(self._causes.are(cause), self._ended, 0)


def _same_baits(c: Contrast) -> tuple[str, frozenset[bytes]]:
    """What is the same test by another name: the mirror image, or a water that is all of one habitat."""
    return c.cause, frozenset(group.tobytes() for group in (c.here, c.there))


def _held_like(
    c: Contrast,
    factors: Sequence[Factor],
    levels: Mapping[str, _Levels],
    ended: NDArray[np.int64],
    hours: FloatArray,
) -> Contrast:
    """The contrast with its first confounder, if it has one: among the factors, and who fished.

    What the build decides is not held against the build itself.
    """
    from .confounding import held_like

    own = next(factor for factor in factors if factor.name == c.factor)
    others = [f for f in factors if f.name not in {c.factor, "leader material"}]
    if own.of_build:
        others = [f for f in others if not ("build" in {f.name, c.factor} and f.of_build)]
    for name in (*(other.name for other in others), "angler"):
        codes, names = levels[name]
        told = ended, hours, c.here, c.there, codes
        like = held_like(*told, limits=False)
        if like is not None and (like.apart or like.explains(c.rates.crude)):
            return c._replace(confounder=name, like=held_like(*told, names=names))
    return c
