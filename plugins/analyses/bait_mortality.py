"""What became of the baits: how long one lasts in use, what ends it, and what makes a difference.

A grub head tagged PE-01 is fished 2 h in March and kept, then 45 min in April until the grub is torn off:

    date,build,fished,fate,count,bait,cause,leader,habitat
    2026-03-29,perch-grub,2 h,kept,,PE-01,,wire,gravel
    2026-04-05,perch-grub,45 min,worn,,PE-01,torn,no,weeds
    2026-04-05,crappie-grub,1 h,kept,3,,,no,weeds

It ended at 2.75 h in use. April's report follows it from 2 h on (it had to last that long to be there), the
season's from new. The three untagged ones came home after 1 h: each lasts 1 h or more. So 1 bait ended in
5.75 bait-hours, torn, and not in its first hour.
"""

import contextlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal, NamedTuple

from benchwater import plots
from benchwater.plugin import (
    Action,
    Analysis,
    Bench,
    Cell,
    Figure,
    Finding,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
    hookimpl,
)
from benchwater.units import figures

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from benchwater.mathematics.compared_rates import ComparedRates
    from benchwater.mathematics.followed_stretch import Lives
    from benchwater.mathematics.rates import RateRatio
    from benchwater.mathematics.stratified_rates import CommonRateRatio

    Truths = pd.Series[bool]

Row = tuple[Cell, ...]

LEAST_ENDS, LEAST_BAITS, LEAST_HOURS, LEAST_AT_RISK = 5, 10, 5.0, 5
CLEAR = 0.05
INSTANT_H = 1e-6
UNKNOWN = "not recorded"
CAUSES_COMPARED = {"leader": ("", "bite off"), "guard": ("", "snag"), "habitat": ("", "snag")}
CAUSE_WORDS = {"": "ended", "bite off": "were bitten off", "snag": "were lost to snags"}
FACTOR_WORDS = {"coat": "coated {}", "water": "at {}", "habitat": "in {}"}
GROUP_WORDS = {"no leader": "without a leader", "leader": "with a leader", "no guard": "without a guard"}
GROUP_WORDS |= {"guard": "with a guard", "no coat": "without a coat"}
LABELS = {"time_h": "in use", "at_risk": "followed", "bait_hours": "bait-hours", "p_adjusted": "p adjusted"}
LABELS |= {"incidence": "share", "survival": "still in use", "within_low": "low", "within_high": "high"}
UNITS = {"time_h": "h", "bait_hours": "h", "survival": "1", "incidence": "1", "rate": "1/h"}
UNITS |= {"p": "p", "p_adjusted": "p"}
DIGITS = {"bait_hours": 1, "rate": 3, "ratio": 2}
DIGITS |= {"within": 2, "within_low": 2, "within_high": 2}
METHODS = (
    "Time is hours in use. A tagged bait's hours add up over its trips, those before the span too, and in a "
    "span it is followed from the hours it had when the span began (late entry). A tag that goes on after "
    "its bait was lost or worn is a new bait. Lost and worn have ended; kept lasted at least so long.",
    "An untagged row is as many baits as its count, each followed from new. That takes a kept one to be as "
    "good as new on its next trip: tags show it where that is not so.",
    "Share still in use: Kaplan & Meier 1958 (J. Amer. Statist. Assoc. 53:457-481), variance Greenwood 1926, "
    "log(-log) limits Kalbfleisch & Prentice 1980. Median: Brookmeyer & Crowley 1982 (Biometrics 38:29-41). "
    "Mean: area under the curve to the stated hours. A leader group's curve holds the trips fished that way.",
    "Causes compete, and the first to strike leaves nothing to the others: cumulative incidence, Aalen & "
    "Johansen 1978 (Scand. J. Statist. 5:141-150). With the share still in use the causes make up the whole.",
    "Rates per bait-hour: exact Poisson limits, Garwood 1936 (Biometrika 28:437-442). Ratios: exact, given "
    "the total, Przyborowski & Wilenski 1940 (Biometrika 31:313-323); among like trips Martin & Austin 1996 "
    "(Epidemiology 7:29-33). Losses are taken to be independent: where one spot takes several baits of a "
    "trip, the limits are too narrow.",
    "Log-rank test: Mantel 1966 (Cancer Chemotherapy Reports 50:163-170). p-values adjusted over everything "
    "compared, ratios and log-rank tests each among themselves: Holm 1979 (Scand. J. Statist. 6:65-70).",
    f"Groups are compared from {LEAST_HOURS:g} bait-hours each and {LEAST_ENDS} ends together. Advice needs "
    "an adjusted p below 0.05 and limits among like trips that leave out no difference.",
)


class Factor(NamedTuple):
    """A way to sort rows into groups by label, missing where not recorded. `baseline` is named last."""

    name: str
    labels: "pd.Series[str]"
    baseline: str = ""
    one_by_one: bool = True

    @property
    def groups(self) -> list[str]:
        """The labels that occur, in order."""
        return sorted(self.labels.dropna().unique(), key=lambda group: (group == self.baseline, group))


class Contrast(NamedTuple):
    """One group's rate of ends (by one cause, or all) held against another's."""

    factor: str
    group: str
    against: str
    cause: str
    rates: "ComparedRates"
    p_adjusted: float = 1.0

    @property
    def name(self) -> str:
        """The factor, and the cause where it is one: `leader, bite offs`."""
        return f"{self.factor}, {self.cause}s" if self.cause else self.factor

    @property
    def clear(self) -> bool:
        """Whether equal rates are out of the question after adjustment."""
        return self.p_adjusted < CLEAR


def analyse(season: Season, span: Span) -> Section:
    """What became of the baits in use during the span."""
    from benchwater.mathematics.followed_stretch import well_followed_to

    rows = rows_in_use(season.log("fishing"), span)
    if rows.empty:
        return Section.empty("No bait was logged as fished.")
    bench, ends, baits = season.bench, int(rows["ended"].sum()), number_of_baits(rows)
    thin = ends < LEAST_ENDS or baits < LEAST_BAITS
    few = f"Only {_count(ends, 'end')} of use among {_count(baits, 'bait')}; to conclude anything takes "
    ended = rows[rows["ended"] > 0].groupby("cause")["ended"].sum().sort_index()
    causes = {str(cause): int(n) for cause, n in ended.sort_values(ascending=False, kind="stable").items()}
    factors = _factors(rows, bench)
    contrasts, skipped = ([], []) if thin else _contrasts(rows, factors)
    lives = {name: _lives(part, causes) for name, part in _curve_groups(rows, factors[0]).items()}
    horizon = well_followed_to(lives["all"].records, LEAST_AT_RISK)
    return Section(
        status="thin" if thin else "ok",
        why=few + f"{LEAST_ENDS} among {LEAST_BAITS}." if thin else "",
        findings=(
            *_main_cause(causes, lives["all"], horizon, bench),
            _loss_rate(rows, baits, bench),
            *_life_times(lives["all"], horizon, bench),
            *_clear_contrasts(contrasts),
            *([] if thin else _log_ranks(rows, factors)),
            *_reused_tags(rows),
        ),
        tables=(
            _cause_summary(causes, lives["all"], horizon),
            _rates_table(rows, factors),
            _contrasts_table(contrasts, skipped),
            _losses_table(rows),
            *_curve_tables(lives, causes),
        ),
        figures=(
            _survival_figure(lives, horizon),
            *([_causes_figure(causes, lives["all"], horizon)] if causes else []),
        ),
        actions=tuple(_actions(rows, contrasts)),
        methods=METHODS,
    )


# --- rows and groups ---------------------------------------------------------


def rows_in_use(log: "pd.DataFrame", span: Span) -> "pd.DataFrame":
    """The span's rows with `entry` and `time` (hours in use at start and end), `ended` (baits) and `hours`.

    `life` numbers the baits that bore one tag, from 0. A used bait with no time fished is in use an instant.
    """
    import pandas as pd

    fished, ended, tagged = log["fished_h"], log["fate"] != "kept", log["bait"].notna()
    entry, time, life = fished * 0.0, fished.round(6), log["count"] * 0
    if tagged.any():
        bait = [log.loc[tagged, "build"], log.loc[tagged, "bait"]]
        ends = ended[tagged].astype(int)
        life[tagged] = ends.groupby(bait).cumsum() - ends
        total = fished[tagged].groupby([*bait, life[tagged]]).cumsum()
        time[tagged], entry[tagged] = total.round(6), (total - fished[tagged]).round(6).clip(lower=0)
    rows = log.assign(
        entry=entry,
        time=time.where((entry == 0) | (entry < time), entry + INSTANT_H),
        life=life,
        ended=log["count"].where(ended, 0),
        hours=fished * log["count"],
        cause=log["cause"].fillna(UNKNOWN).where(ended, ""),
    )
    inside = (log["date"] >= pd.Timestamp(span.start)) & (log["date"] < pd.Timestamp(span.end))
    return rows[inside].reset_index(drop=True)


def number_of_baits(rows: "pd.DataFrame") -> int:
    """Tagged baits once each, untagged ones as often as their rows count them."""
    tagged = rows["bait"].notna()
    lives = rows[tagged].drop_duplicates(["build", "bait", "life"])
    return len(lives) + int(rows.loc[~tagged, "count"].sum())


def _factors(rows: "pd.DataFrame", bench: Bench) -> list[Factor]:
    """The leader first, then what else the logs and the bench can tell."""
    builds = bench.builds
    coats = {name: build.coat or "no coat" for name, build in builds.items()}
    guarded = {name for name, b in builds.items() if any("guard" in item.casefold() for item in b.fittings)}
    guards = {name: "guard" if name in guarded else "no guard" for name in builds}
    leader = rows["leader"].astype(object).map(lambda word: word.casefold(), na_action="ignore")
    either = leader.map(lambda word: "no leader" if word == "no" else "leader", na_action="ignore")
    return [
        Factor("leader", either, baseline="leader"),
        Factor("leader material", leader.where(~leader.isin(["yes", "no"])), one_by_one=False),
        Factor("coat", rows["build"].map(coats), baseline="no coat"),
        Factor("guard", rows["build"].map(guards), baseline="guard"),
        Factor("build", rows["build"], one_by_one=False),
        Factor("water", rows["water"]),
        Factor("habitat", rows["habitat"].map(_together, na_action="ignore")),
    ]


def _together(tags: Iterable[str]) -> str:
    return " + ".join(sorted(tags))


def _tags(rows: "pd.DataFrame") -> dict[str, "Truths"]:
    """The rows of each habitat tag; tags that always go together are one."""
    tags_of = rows["habitat"].map(frozenset, na_action="ignore").dropna()
    having: dict[tuple[int, ...], list[str]] = {}
    for tag in sorted(frozenset().union(*tags_of)):
        having.setdefault(tuple(tags_of.index[[tag in tags for tags in tags_of]]), []).append(tag)
    return {_together(tags): rows.index.to_series().isin(has) for has, tags in having.items()}


def _curve_groups(rows: "pd.DataFrame", leader: Factor) -> dict[str, "pd.DataFrame"]:
    """All baits, and those without and with a leader where both were fished long enough."""
    parts = {group: rows[leader.labels == group] for group in leader.groups}
    enough = len(parts) == 2 and all(part["hours"].sum() >= LEAST_HOURS for part in parts.values())
    return {"all": rows, **(parts if enough else {})}


# --- curves and comparisons --------------------------------------------------


def _lives(rows: "pd.DataFrame", causes: Iterable[str]) -> "Lives":
    from benchwater.mathematics.followed_stretch import lives_to_first_gap

    codes = {cause: code for code, cause in enumerate(["", *causes])}
    return lives_to_first_gap(
        rows["time"],
        rows["cause"].map(codes),
        entry=rows["entry"],
        weight=rows["count"],
        causes=range(1, len(codes)),
    )


def _contrasts(rows: "pd.DataFrame", factors: Sequence[Factor]) -> tuple[list[Contrast], list[str]]:
    """Everything compared, adjusted over it all, and the names of factors with too little to compare."""
    from benchwater.mathematics.compared_rates import compare_rates
    from benchwater.mathematics.multiplicity import holm_adjusted

    labels = {factor.name: factor.labels.astype(object).fillna(UNKNOWN).astype(str) for factor in factors}
    found: list[Contrast] = []
    for factor in factors:
        strata = labels["leader" if factor.name in {"habitat", "water"} else "habitat"]
        for cause in CAUSES_COMPARED.get(factor.name, ("",)) if factor.one_by_one else ():
            ended = rows["ended"].where((rows["cause"] == cause) | (cause == ""), 0)
            for group, against, here, there in _sides(rows, factor):
                hours = min(rows.loc[here, "hours"].sum(), rows.loc[there, "hours"].sum())
                if hours >= LEAST_HOURS and ended[here | there].sum() >= LEAST_ENDS:
                    rates = compare_rates(ended, rows["hours"], here, there, strata)
                    found.append(Contrast(factor.name, group, against, cause, rates))
    skipped = [f.name for f in factors if f.one_by_one and f.name not in {c.factor for c in found}]
    adjusted = holm_adjusted([c.rates.crude.p_central for c in found]).tolist()
    contrasts = [c._replace(p_adjusted=p) for c, p in zip(found, adjusted, strict=True)]
    return sorted(contrasts, key=lambda c: c.rates.crude.p_central), skipped


def _sides(rows: "pd.DataFrame", factor: Factor) -> list[tuple[str, str, "Truths", "Truths"]]:
    """Two groups, each of several groups against the others, or a habitat tag against elsewhere."""
    labels, groups = factor.labels, factor.groups
    if factor.name == "habitat":
        return [(tag, "elsewhere", has, labels.notna() & ~has) for tag, has in _tags(rows).items()]
    if len(groups) == 2:
        return [(groups[0], groups[1], labels == groups[0], labels == groups[1])]
    return [(group, "the others", labels == group, labels.notna() & (labels != group)) for group in groups]


def _log_ranks(rows: "pd.DataFrame", factors: Sequence[Factor]) -> list[Finding]:
    """One test a factor over its groups with enough bait-hours, adjusted over all of them."""
    from benchwater.mathematics.multiplicity import holm_adjusted
    from benchwater.mathematics.survival import log_rank

    tests = []
    for factor in factors:
        hours = rows.groupby(factor.labels)["hours"].sum()
        part = rows[factor.labels.isin(hours[hours >= LEAST_HOURS].index)]
        labels = factor.labels[part.index].to_numpy(dtype=str)
        if len(set(labels)) < 2 or part["ended"].sum() < LEAST_ENDS:
            continue
        with contextlib.suppress(ValueError):  # no two groups were ever followed at the same hours in use
            lost = part["ended"] > 0
            test = log_rank(part["time"], lost, labels, entry=part["entry"], weight=part["count"])
            tests.append((factor.name, test))
    adjusted = holm_adjusted([test.p for _, test in tests]).tolist()
    found = []
    for (name, test), p in zip(tests, adjusted, strict=True):
        text = f"By {name}, how long baits last {'differs' if p < CLEAR else 'does not clearly differ'}: "
        text += f"log-rank chi-square {test.statistic:.3g} on {test.df} df, {_p(test.p)}, adjusted {_p(p)}."
        more, n = {"p": test.p, "df": test.df, "p_adjusted": p}, sum(test.observed)
        told = _finding("logrank", text, (test.statistic,), n=n, group=name, more=more)
        found.append(replace(told, quiet=p >= CLEAR))
    return found


# --- what it means -----------------------------------------------------------


def _main_cause(causes: dict[str, int], lives: "Lives", horizon: float, bench: Bench) -> Iterable[Finding]:
    if causes:
        main, share = next(iter(causes)), lives.incidence.at(horizon, 1)
        value, low, high = _known(share.estimate, share.low, share.high)
        listed = ", ".join(f"{cause} {n}" for cause, n in causes.items())
        text = f"{_count(sum(causes.values()), 'bait')} ended: {listed}. The first cause, {main}, takes "
        text += f"{bench.show(value, '1')}{_range(bench, low, high, '1')} of baits within "
        text += f"{bench.show(horizon, 'h')} in use."
        more = {"horizon_h": horizon}
        yield _finding("main_cause", text, (value, low, high), "1", n=causes[main], group=main, more=more)


def _loss_rate(rows: "pd.DataFrame", baits: int, bench: Bench) -> Finding:
    from benchwater.mathematics.rates import poisson_rate

    ends, hours = int(rows["ended"].sum()), float(rows["hours"].sum())
    text = f"{ends} of {_count(baits, 'bait')} ended in {hours:.4g} bait-hours"
    limits: tuple[float, ...] = ()
    if hours > 0:
        rate = poisson_rate(ends, hours)
        limits = (rate.estimate, rate.low, rate.high)
        text += f": fewer than one in {bench.show(1 / rate.high, 'h')}" if not ends else ": one in "
        if ends:
            text += bench.show(hours / ends, "h") + _range(bench, 1 / rate.high, 1 / rate.low, "h")
    more = {"bait_hours": hours, "baits": baits}
    return _finding("loss_rate", f"{text}.", limits, "1/h", n=ends, more=more)


def _life_times(lives: "Lives", horizon: float, bench: Bench) -> Iterable[Finding]:
    """Median and restricted mean, where the curve starts among enough baits to mean something."""
    import numpy as np

    from benchwater.mathematics.survival import median_survival, restricted_mean

    curve, until = lives.survival, bench.show(horizon, "h")
    ends = int(curve.n_event.sum())
    at_first = lives.records.at_risk(np.nextafter([curve.observed_from], np.inf))
    if max(*at_first, *curve.n_risk[:1], 0) < LEAST_AT_RISK or horizon <= 0:
        few = "Too few baits were followed from their first hours in use to say how long one lasts."
        yield _finding("median_life", few, unit="h", n=ends)
        yield _finding("mean_life", few, unit="h", n=ends)
        return
    since = curve.observed_from
    baits = f"baits that had lasted {bench.show(since, 'h')}" if since else "baits"
    median, mean = median_survival(curve), restricted_mean(curve, horizon)
    text = f"More than half of {baits} are still in use after {until}."
    if median.estimate is not None:
        limits = _range(bench, median.low, median.high, "h")
        followed = int(curve.n_risk[curve.time == median.estimate][0])
        text = f"Half of {baits} have ended by {bench.show(median.estimate, 'h')} in use{limits}"
        text += "." if followed >= LEAST_AT_RISK else f"; only {followed} were followed so far."
    yield _finding("median_life", text, (median.estimate, median.low, median.high), "h", n=ends)
    low, high = _known(mean.low, mean.high)
    served = bench.show(mean.estimate, "h") + _range(bench, low, high, "h")
    text, more = f"Of the first {until}, {baits} serve {served} on average.", {"horizon_h": horizon}
    yield _finding("mean_life", text, (mean.estimate, low, high), "h", n=ends, more=more)


def _clear_contrasts(contrasts: Sequence[Contrast]) -> Iterable[Finding]:
    for c in (c for c in contrasts if c.clear):
        crude = c.rates.crude
        text = f"Baits {_words(c.factor, c.group)} {CAUSE_WORDS[c.cause]} {_times(crude)} as often per hour "
        text += f"as {_those(c)}: {_counts(c)} (adjusted {_p(c.p_adjusted)})."
        limits, group = (crude.ratio, crude.low, crude.high), f"{c.name}: {c.group}"
        more = {"p": crude.p_central, "p_adjusted": c.p_adjusted}
        yield _finding("contrast", text, limits, n=sum(c.rates.events), group=group, more=more)
    if unclear := sum(not c.clear for c in contrasts):
        text = f"{unclear} of {_count(len(contrasts), 'comparison')} of rates showed no clear difference."
        yield _finding("no_clear_difference", text, (unclear,))


def _reused_tags(rows: "pd.DataFrame") -> Iterable[Finding]:
    if tags := len(rows[rows["life"] > 0].drop_duplicates(["build", "bait"])):
        text = f"{_count(tags, 'tag')} went on after the bait was lost or worn: taken as a new bait, old tag."
        yield _finding("tags_used_again", text, (tags,))


def _actions(rows: "pd.DataFrame", contrasts: Sequence[Contrast]) -> Iterable[Action]:
    """Advice from the comparisons that call for it; of habitats only the worst."""
    asking: dict[str, Contrast] = {}
    for contrast in contrasts:
        if contrast.clear and contrast.rates.worse_throughout:
            asking.setdefault(contrast.name, contrast)
    if leader := asking.get("leader, bite offs"):
        places = rows.loc[(rows["cause"] == "bite off") & rows["habitat"].notna(), "habitat"].map(_together)
        most = places.value_counts().sort_index().sort_values(ascending=False, kind="stable")
        place = f" Bite offs came most often in {most.index[0]} ({most.iloc[0]})." if len(most) else ""
        text = f"baits without one were bitten off {_times(leader.rates.crude)} as often per hour."
        text = f"Tie a leader where pickerel or other teeth hunt: {text}"
        yield _action("tie_a_leader", text, leader, "in like habitat", place)
    if guard := asking.get("guard, snags"):
        text = f"baits without one were lost to snags {_times(guard.rates.crude)} as often per hour."
        text = f"Put guards on what you fish among snags: {text}"
        yield _action("fit_guards", text, guard, "in like habitat")
    if spot := asking.get("habitat, snags"):
        text = f"snags took {_times(spot.rates.crude)} as many per hour there as elsewhere."
        text = f"Take only baits you can spare into {spot.group}: {text}"
        id = "_".join(["snags", *spot.group.replace("+", " ").split()])
        yield _action(id, text, spot, "with like leaders")


def _action(id: str, text: str, c: Contrast, alike: str, more: str = "") -> Action:
    excess = math.floor(c.rates.excess)
    because = f"{c.cause.capitalize()}s: {_counts(c)}; {alike} {_times(c.rates.within)}. At the lower rate "
    because += f"{_count(excess, 'bait')} fewer would have gone.{more}"
    return Action(id=id, text=text, because=because, worth=float(excess), worth_unit="baits")


# --- tables ------------------------------------------------------------------


def _cause_summary(causes: dict[str, int], lives: "Lives", horizon: float) -> Table:
    body: list[Row] = []
    for code, (cause, baits) in enumerate(causes.items(), start=1):
        share = lives.incidence.at(horizon, code)
        body.append((cause, baits, horizon, *_known(share.estimate, share.low, share.high)))
    left = lives.survival.at(horizon)
    body.append(("still in use", None, horizon, *_known(left.estimate, left.low, left.high)))
    note = "Baits that ended in the span, and the share of baits that comes to each end by that time in use."
    columns = "cause baits time_h incidence low high"
    return _table("cause_summary", "What becomes of a bait", columns, body, note=note)


def _rates_table(rows: "pd.DataFrame", factors: Sequence[Factor]) -> Table:
    from benchwater.mathematics.rates import poisson_rate

    parts: list[tuple[str, str, Truths]] = [("all", "all", rows["count"] > 0)]
    for factor in factors:
        if factor.name == "habitat":
            parts += [("habitat", tag, has) for tag, has in _tags(rows).items()]
        elif len(factor.groups) > 1:
            parts += [(factor.name, group, factor.labels == group) for group in factor.groups]
    body: list[Row] = []
    for name, group, members in parts:
        ends, hours = int(rows.loc[members, "ended"].sum()), float(rows.loc[members, "hours"].sum())
        rate = poisson_rate(ends, hours) if hours > 0 else None
        limits = (rate.estimate, rate.low, rate.high) if rate else (None, None, None)
        body.append((name, group, hours, ends, *limits))
    note = "Lost and worn alike, 95 % limits. Habitat tags overlap; a factor with one group is left out."
    columns = "factor group bait_hours lost rate low high"
    return _table("rates", "How fast baits end", columns, body, note=note)


def _contrasts_table(contrasts: Sequence[Contrast], skipped: Sequence[str]) -> Table:
    columns = "factor group against ratio low high p p_adjusted within within_low within_high"
    body: list[Row] = []
    for c in contrasts:
        crude, within = c.rates.crude, c.rates.within
        ratios = _known(crude.ratio, crude.low, crude.high), _known(within.ratio, within.low, within.high)
        body.append((c.name, c.group, c.against, *ratios[0], crude.p_central, c.p_adjusted, *ratios[1]))
    note = "Within: among like trips, of one habitat (for habitat and water: with and without leader apart)."
    if skipped:
        note += f" Too little to compare: {', '.join(skipped)}."
    return _table("contrasts", "Rates held against each other", columns, body, note=note, print_rows=12)


def _losses_table(rows: "pd.DataFrame") -> Table:
    baits = rows[rows["ended"] > 0].groupby(["fate", "cause"], as_index=False)[["ended"]].sum()
    baits = baits.sort_values(["fate", "ended", "cause"], ascending=[True, False, True])
    body = [(str(fate), str(cause), int(n)) for fate, cause, n in baits.itertuples(index=False)]
    return _table("losses", "Baits lost and worn", "fate cause baits", body, print_rows=12)


def _curve_tables(lives: dict[str, "Lives"], causes: Iterable[str]) -> tuple[Table, Table]:
    survival: list[Row] = []
    incidence: list[Row] = []
    for group, both in lives.items():
        km, aj = both.survival, both.incidence
        steps = (v.tolist() for v in (km.time, km.n_risk, km.n_event, km.survival, km.low, km.high))
        survival += [(group, *step[:3], *_known(*step[3:])) for step in zip(*steps, strict=True)]
        for row, cause in enumerate(causes):
            steps = (v.tolist() for v in (aj.time, aj.incidence[row], aj.low[row], aj.high[row]))
            incidence += [(group, cause, step[0], *_known(*step[1:])) for step in zip(*steps, strict=True)]
    columns = "group time_h at_risk lost survival low high", "group cause time_h incidence low high"
    return (
        _table("survival", "Share still in use", columns[0], survival, print_rows=0),
        _table("causes", "Share ended by each cause", columns[1], incidence, print_rows=0),
    )


# --- figures -----------------------------------------------------------------


def _survival_figure(lives: dict[str, "Lives"], horizon: float) -> Figure:
    import numpy as np

    names = [name for name in lives if name != "all"] or ["all"]
    figure, ax = plots.new_figure(height_mm=64 + 4 * len(names))
    ticks, said = _ticks(horizon), []
    for series, name in enumerate(names):
        curve, label = lives[name].survival, name if name != "all" else "all baits"
        last = min(horizon, curve.observed_to) if curve.final_survival else horizon
        shown = curve.time <= last
        y, low, high = (np.r_[1.0, v[shown], v[shown][-1:]] for v in (curve.survival, curve.low, curve.high))
        x = np.r_[curve.observed_from, curve.time[shown], [last] if shown.any() else []]
        plots.steps(ax, x, y, low=low, high=high, series=series, label=label)
        at_risk = lives[name].records.at_risk(np.asarray(ticks))
        _beside(ax, f"{label} followed", (0.0, 0.0), (-14, -30 - 9 * series), "right")
        for tick, baits in zip(ticks, at_risk, strict=True):
            _beside(ax, str(baits), (tick, 0.0), (0, -30 - 9 * series), "center")
        said += [f"{label} {curve.at(t).estimate:.0%} at {t:.3g} h" for t in (last / 2, last)]
    ax.set(xticks=ticks, xlabel="hours in use", ylabel="share still in use", ylim=(0, 1.02))
    plots.legend(ax)
    alt = f"Falling steps: the share of baits still in use, with 95 % bands. {', '.join(said)}."
    return Figure(id="survival", title="How long baits stay in use", alt=alt, svg=plots.to_svg(figure))


def _causes_figure(causes: Iterable[str], lives: "Lives", horizon: float) -> Figure:
    import numpy as np

    incidence = lives.incidence
    figure, ax = plots.new_figure()
    shown = incidence.time <= horizon
    x = np.r_[incidence.observed_from, incidence.time[shown], horizon]
    tops = {}
    for series, cause in enumerate(causes):
        rising = incidence.incidence[series, shown]
        tops[cause] = float(rising[-1]) if len(rising) else 0.0
        plots.steps(ax, x, np.r_[0.0, rising, tops[cause]], series=series)
    gap, place = 0.065 * max(*tops.values(), 0.05), -1.0
    for cause, top in sorted(tops.items(), key=lambda entry: entry[1]):
        place = max(top, place + gap)
        _beside(ax, f"{cause} {top:.0%}", (horizon, place), (5, 0), "left", across="data")
    ax.set(xticks=_ticks(horizon), xlabel="hours in use", ylabel="share of baits ended", ylim=(0, None))
    ended = ", ".join(f"{cause} {top:.0%}" for cause, top in tops.items())
    alt = f"Rising steps: the share of baits ended by each cause. After {horizon:.3g} h in use: {ended}."
    return Figure(id="causes", title="What ends them", alt=alt, svg=plots.to_svg(figure))


def _ticks(horizon: float) -> list[float]:
    step = next((s for s in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0) if horizon / s <= 8), 20.0)
    return [step * n for n in range(math.floor(horizon / step) + 1)]


def _beside(
    ax: "Axes",
    text: str,
    at: tuple[float, float],
    points: tuple[float, float],
    side: Literal["left", "center", "right"],
    across: str = "axes fraction",
) -> None:
    """A small word set off from a place by so many points; `across` measures the height."""
    ax.annotate(
        text,
        at,
        xycoords=("data", across),
        xytext=points,
        textcoords="offset points",
        ha=side,
        va="center",
        fontsize=7,
        color=plots.INK,
        annotation_clip=False,
    )


# --- words -------------------------------------------------------------------


def _words(factor: str, group: str) -> str:
    if group in {"elsewhere", "the others"}:
        return group
    return GROUP_WORDS.get(group) or FACTOR_WORDS.get(factor, "of {}").format(group)


def _those(c: Contrast) -> str:
    words = _words(c.factor, c.against)
    return words if words == c.against else f"those {words}"


def _counts(c: Contrast) -> str:
    (here, there), (hours, others) = c.rates.events, c.rates.exposure
    return f"{here} in {hours:.0f} h against {there} in {others:.0f} h"


def _times(ratio: "RateRatio | CommonRateRatio") -> str:
    """`4.7 times (1.7 to 16)`, or the limit alone where one side has no end of use."""
    value, low, high = _known(ratio.ratio, ratio.low, ratio.high)
    if value is None or high is None:
        return f"at least {figures(low or 0.0, significant=2)} times"
    if value == 0:
        return f"at most {figures(high, significant=2)} times"
    shown = [figures(number, significant=2) for number in (value, low or 0.0, high)]
    return f"{shown[0]} times ({shown[1]} to {shown[2]})"


def _range(bench: Bench, low: float | None, high: float | None, unit: str) -> str:
    """Limits in brackets after a number; empty where there are none."""
    if low is None and high is None:
        return ""
    if low is None or high is None:
        return f" ({bench.show(low, unit)} or more)" if high is None else f" (up to {bench.show(high, unit)})"
    return f" ({bench.show(low, unit)} to {bench.show(high, unit)})"


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _p(p: float) -> str:
    return "p < 0.001" if p < 0.001 else f"p = {figures(p, significant=2)}"


def _known(*values: float | None) -> tuple[float | None, ...]:
    """Values with None for what is not finite."""
    return tuple(v if v is not None and math.isfinite(v) else None for v in values)


def _finding(
    id: str,
    text: str,
    limits: Sequence[float | None] = (),
    unit: str | None = None,
    *,
    n: int | None = None,
    group: str | None = None,
    more: Mapping[str, Cell] | None = None,
) -> Finding:
    """`limits` are the value and, where it has them, its limits."""
    value, low, high = (*_known(*limits), None, None, None)[:3]
    return Finding(
        id=id, text=text, value=value, low=low, high=high, unit=unit, n=n, group=group, more=more or {}
    )


def _table(
    id: str, title: str, columns: str, body: Sequence[Row], *, note: str = "", print_rows: int = 16
) -> Table:
    """`columns` are names; limits have the unit of what they limit."""
    names = columns.split()
    limits = next((UNITS[name] for name in ("survival", "incidence", "rate") if name in names), None)
    units, places = UNITS | {"low": limits, "high": limits}, dict(DIGITS)
    if "rate" in names or "ratio" in names:
        places |= dict.fromkeys(("low", "high"), DIGITS["rate" if "rate" in names else "ratio"])
    made = [
        TableColumn(name=name, label=LABELS.get(name, name), unit=units.get(name), digits=places.get(name))
        for name in names
    ]
    return Table(id=id, title=title, columns=tuple(made), rows=tuple(body), note=note, print_rows=print_rows)


@hookimpl
def analyses() -> Iterable[Analysis]:
    """What became of the baits."""
    return [
        Analysis(
            id="bait_mortality",
            title="What became of the baits",
            question="How long does a bait last in use, what ends it, and what would keep it longer?",
            order=300,
            needs=("fishing",),
            analyse=analyse,
        )
    ]
