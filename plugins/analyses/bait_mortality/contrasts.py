"""Groups of baits held against each other, in sentences: which last longer, and what that may be due to."""

import contextlib
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from benchwater.ledger.bait_lives import Factor
from benchwater.plugin import Cell, Finding
from benchwater.words import counted, make_finding, p_words, times

from .bait_contrasts import CLEAR, LEAST_ENDS, LEAST_HOURS, Contrast
from .group_words import ends_in_hours, those, worded

if TYPE_CHECKING:
    import pandas as pd

    from benchwater.statistics.rates import RateRatio

    from .confounding import HeldLike
    from .stratified_rates import CommonRateRatio

CAUSE_WORDS = {"bite off": "were bitten off", "snag": "were lost to snags"}


def contrasts_told(contrasts: Sequence[Contrast]) -> Iterable[Finding]:
    """A sentence a comparison; those without a clear difference are quiet, and counted at the end."""
    for c in contrasts:
        crude, text = c.rates.crude, f"{_sentence(c)}: {ends_in_hours(c)} (adjusted {p_words(c.p_adjusted)})."
        if c.like is not None:
            text += f" But {_warning(c, c.like)}."
        limits = (crude.ratio, crude.low, crude.high)
        group = f"{c.name}: {c.group}"
        more: dict[str, Cell] = {"p": crude.p_central, "p_adjusted": c.p_adjusted}
        more["confounded_by"] = c.confounder or None
        yield make_finding(
            "contrast", text, limits, n=sum(c.rates.events), group=group, more=more, quiet=not c.clear
        )
    if unclear := sum(not c.clear for c in contrasts):
        text = f"{unclear} of {counted(len(contrasts), 'comparison')} of rates showed no clear difference."
        yield make_finding("no_clear_difference", text, (unclear,))


def _sentence(c: Contrast) -> str:
    """`With a leader, baits last about 3 times as long (1.8 to 5.2) as those without`: who lasts, first."""
    if c.cause:
        text = (
            f"baits {worded(c.factor, c.group)} {CAUSE_WORDS[c.cause]} {times(*_larger(c, c.rates.crude))} "
        )
        text += f"as often per hour as {those(c.factor, c.against)}"
    else:
        first, second = (c.against, c.group) if c.rates.crude.ratio >= 1 else (c.group, c.against)
        often, _, bracket = times(*_larger(c, c.rates.crude)).partition(" (")
        text = (
            f"{worded(c.factor, first)}, baits last about {often} as long{' (' if bracket else ''}{bracket} "
        )
        text += f"as {those(c.factor, second)}"
    return text[0].upper() + text[1:] if c.clear else f"No clear difference: {text}"


def _warning(c: Contrast, like: "HeldLike") -> str:
    """What the comparison cannot be told apart from."""
    one, other = f"under one {c.confounder}", f"those {worded(c.factor, c.against)}"
    only = [(group, level) for group, level in zip((c.group, c.against), like.only, strict=True) if level]
    if like.apart and only:
        group, level = only[0]
        text = f"baits {worded(c.factor, group)} were only ever fished {worded(c.confounder, level)}"
    elif like.apart:
        text = f"baits {worded(c.factor, c.group)} and {other} were hardly ever fished {one}"
    else:
        text = f"{one} it is {times(*_larger(c, like.within))}"
    return f"{text}. So this may be the {c.confounder}'s doing, and no advice is drawn from it"


def _larger(c: Contrast, ratio: "RateRatio | CommonRateRatio") -> tuple[float | None, ...]:
    """A ratio of rates with its limits; of all ends, turned round where the first group lasts longer."""
    value, low, high = ratio.ratio, ratio.low, ratio.high
    if c.cause or c.rates.crude.ratio >= 1 or value is None or low is None or high is None:
        return value, low, high
    return tuple(1 / limit if limit > 0 else math.inf for limit in (value, high, low))


def log_ranks(rows: "pd.DataFrame", factors: Sequence[Factor]) -> list[Finding]:
    """One test a factor over its groups with enough bait-hours, adjusted over all of them."""
    from benchwater.statistics.multiplicity import holm_adjusted

    from .survival import log_rank

    time, entry, count, ended = (rows[name].to_numpy() for name in ("time", "entry", "count", "ended"))
    tests = []
    for factor in factors:
        codes, groups = factor.labels.factorize(sort=True)
        enough = rows["hours"].groupby(codes).sum() >= LEAST_HOURS
        kept = enough.reindex(range(len(groups)), fill_value=False).to_numpy()
        part = np.append(kept, False)[codes]
        if kept.sum() < 2 or ended[part].sum() < LEAST_ENDS:
            continue
        with contextlib.suppress(ValueError):  # no two groups were ever followed at the same hours in use
            test = log_rank(time[part], ended[part] > 0, codes[part], entry=entry[part], weight=count[part])
            tests.append((factor.name, test))
    adjusted = holm_adjusted([test.p for _, test in tests]).tolist()
    found = []
    for (name, test), p in zip(tests, adjusted, strict=True):
        told = "differs by more than chance would make it" if p < CLEAR else "does not clearly differ"
        text = f"By {name}, how long baits last {told} (log-rank test, adjusted {p_words(p)})."
        more, n, quiet = {"p": test.p, "df": test.df, "p_adjusted": p}, sum(test.observed), p >= CLEAR
        found.append(
            make_finding("logrank", text, (test.statistic,), n=n, group=name, more=more, quiet=quiet)
        )
    return found
