"""What makes baits last: every comparison of a season, and what each cannot be told apart from."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from benchwater.books.bait_lives import UNKNOWN, Factor, sides

if TYPE_CHECKING:
    import pandas as pd

    from benchwater.books.bait_lives import Truths
    from benchwater.mathematics.compared_rates import ComparedRates
    from benchwater.mathematics.confounding import HeldLike

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
    here: "Truths"
    there: "Truths"
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
    from benchwater.mathematics.compared_rates import compare_rates
    from benchwater.mathematics.multiplicity import holm_adjusted

    labels = {factor.name: _levels(factor) for factor in factors}
    found: list[Contrast] = []
    for factor in factors:
        strata = labels["leader" if factor.name in {"habitat", "water"} else "habitat"]
        for cause in CAUSES_COMPARED.get(factor.name, ("",)) if factor.one_by_one else ():
            ended = _ended(rows, cause)
            for group, against, here, there in sides(rows, factor):
                hours = min(rows.loc[here, "hours"].sum(), rows.loc[there, "hours"].sum())
                if hours >= LEAST_HOURS and ended[here | there].sum() >= LEAST_ENDS:
                    rates = compare_rates(ended, rows["hours"], here, there, strata)
                    found.append(Contrast(factor.name, group, against, cause, rates, here, there))
    skipped = [f.name for f in factors if f.one_by_one and f.name not in {c.factor for c in found}]
    tests = {_same_baits(c): c.rates.crude.p_central for c in found}
    adjusted = dict(zip(tests, holm_adjusted(list(tests.values())).tolist(), strict=True))
    contrasts = [c._replace(p_adjusted=adjusted[_same_baits(c)]) for c in found]
    contrasts = [_held_like(rows, c, factors) if c.clear else c for c in contrasts]
    return sorted(contrasts, key=lambda c: float(f"{c.rates.crude.p_central:.10g}")), skipped


def _levels(factor: Factor) -> "pd.Series[str]":
    return factor.labels.astype(object).fillna(UNKNOWN).astype(str)


def _ended(rows: "pd.DataFrame", cause: str) -> "pd.Series[int]":
    return rows["ended"].where((rows["cause"] == cause) | (cause == ""), 0)


def _same_baits(c: Contrast) -> tuple[str, frozenset[bytes]]:
    """What is the same test by another name: the mirror image, or a water that is all of one habitat."""
    return c.cause, frozenset(group.to_numpy(dtype=bool).tobytes() for group in (c.here, c.there))


def _held_like(rows: "pd.DataFrame", c: Contrast, factors: Sequence[Factor]) -> Contrast:
    """The contrast with its first confounder, if it has one: among the factors, and who fished.

    What the build decides is not held against the build itself.
    """
    from benchwater.mathematics.confounding import held_like

    own = next(factor for factor in factors if factor.name == c.factor)
    others = [f for f in factors if f.name not in {c.factor, "leader material"}]
    if own.of_build:
        others = [f for f in others if not ("build" in {f.name, c.factor} and f.of_build)]
    for other in (*others, Factor("angler", rows["angler"])):
        like = held_like(_ended(rows, c.cause), rows["hours"], c.here, c.there, _levels(other))
        if like is not None and (like.apart or like.explains(c.rates.crude)):
            return c._replace(confounder=other.name, like=like)
    return c
