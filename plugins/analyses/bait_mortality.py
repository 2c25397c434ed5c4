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
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Literal

from benchwater import plots
from benchwater.books.bait_contrasts import CLEAR, LEAST_ENDS, LEAST_HOURS, Contrast, compare_baits
from benchwater.books.bait_lives import (
    UNKNOWN,
    Factor,
    factors_of,
    habitat_tags,
    number_of_baits,
    rows_in_use,
    together,
    untagged,
)
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
    Vital,
    hookimpl,
)
from benchwater.words import (
    counted,
    in_brackets,
    known,
    make_columns,
    make_finding,
    make_table,
    p_words,
    times,
)

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from benchwater.books.bait_lives import Truths
    from benchwater.mathematics.confounding import HeldLike
    from benchwater.mathematics.followed_stretch import Lives
    from benchwater.mathematics.rates import RateRatio
    from benchwater.mathematics.stratified_rates import CommonRateRatio

Row = tuple[Cell, ...]

LEAST_BAITS, LEAST_AT_RISK = 10, 5
CAUSE_WORDS = {"bite off": "were bitten off", "snag": "were lost to snags"}
FACTOR_WORDS = {
    "coat": "coated {}",
    "water": "at {}",
    "habitat": "in {}",
    "build": "built as {}",
    "angler": "by {}",
}
GROUP_WORDS = {"no coat": "without a coat", "leader": "with a leader", "no leader": "without a leader"}
GROUP_WORDS |= {"guard": "with a guard", "no guard": "without a guard"}
COLUMNS = make_columns(
    *(("time_h", "in use", "h"), ("at_risk", "followed"), ("bait_hours", "bait-hours", "h", 1)),
    *(("survival", "still in use", "1"), ("incidence", "share", "1"), ("rate", "rate", "1/h", 3)),
    *(("ratio", "ratio", None, 2), ("p", "p", "p"), ("p_adjusted", "p adjusted", "p")),
    *(("within", "within", None, 2), ("within_low", "low", None, 2), ("within_high", "high", None, 2)),
)
COLUMNS["confounded_by"] = TableColumn(name="confounded_by", label="not apart from", hidden=True)
METHODS = (
    "Time is hours in use. A tagged bait's hours add up over its trips, those before the span too, and in a "
    "span it is followed from the hours it had when the span began (late entry). A tag that goes on after "
    "its bait was lost or worn is a new bait. Lost and worn have ended; kept lasted at least so long.",
    "An untagged row is a stretch: as many baits as its count, each followed from new. That takes a kept "
    "one to be as good as new on its next trip: tags show it where that is not so.",
    "Share still in use: Kaplan & Meier 1958 (J. Amer. Statist. Assoc. 53:457-481), variance Greenwood 1926, "
    "log(-log) limits Kalbfleisch & Prentice 1980. Median: Brookmeyer & Crowley 1982 (Biometrics 38:29-41). "
    "Mean: area under the curve to the stated hours. A leader group's curve holds the trips fished that way.",
    "Causes compete, and the first to strike leaves nothing to the others: cumulative incidence, Aalen & "
    "Johansen 1978 (Scand. J. Statist. 5:141-150). With the share still in use the causes make up the whole.",
    "Rates per bait-hour: exact Poisson limits, Garwood 1936 (Biometrika 28:437-442). Ratios: exact, given "
    "the total, Przyborowski & Wilenski 1940 (Biometrika 31:313-323); among like trips Martin & Austin 1996 "
    "(Epidemiology 7:29-33). Losses are taken to be independent: where one spot takes several baits of a "
    "trip, the limits are too narrow.",
    "To last so many times as long is the ratio of rates turned round: that of mean lives, exactly so where "
    "the rate does not change with hours in use (constant hazards), and with the same limits.",
    "A comparison is confounded where, within another factor, under a quarter of the information on the "
    "ratio is left (Mantel and Haenszel's weights), or the ratio there is under half as large on its "
    "logarithm's scale (Rothman & Greenland, Modern Epidemiology; both bounds are this report's own). "
    "Leader, build with what it bears, water, habitat and angler are held against each other so.",
    "Log-rank test: Mantel 1966 (Cancer Chemotherapy Reports 50:163-170). p-values adjusted over everything "
    "compared, ratios and log-rank tests each among themselves: Holm 1979 (Scand. J. Statist. 6:65-70). Two "
    "names for the same baits are one comparison.",
    f"Groups are compared from {LEAST_HOURS:g} bait-hours each and {LEAST_ENDS} ends together. Advice needs "
    "an adjusted p below 0.05, limits among like trips that leave out no difference, and no confounding.",
)


def analyse(season: Season, span: Span) -> Section:
    """What became of the baits in use during the span."""
    from benchwater.mathematics.followed_stretch import well_followed_to

    rows = rows_in_use(season.log("fishing"), span)
    if rows.empty:
        return Section.empty("No bait was logged as fished.")
    bench, ends, baits = season.bench, int(rows["ended"].sum()), number_of_baits(rows)
    thin = ends < LEAST_ENDS or baits < LEAST_BAITS
    few = f"Only {counted(ends, 'end')} of use among {counted(baits, 'bait')}; to conclude anything takes "
    ended = rows[rows["ended"] > 0].groupby("cause")["ended"].sum().sort_index()
    causes = {str(cause): int(n) for cause, n in ended.sort_values(ascending=False, kind="stable").items()}
    factors = factors_of(rows, bench)
    contrasts, skipped = ([], []) if thin else compare_baits(rows, factors)
    lives = {name: _lives(part, causes) for name, part in _curve_groups(rows, factors[0]).items()}
    horizon = well_followed_to(lives["all"].records, LEAST_AT_RISK)
    return Section(
        status="thin" if thin else "ok",
        why=few + f"{LEAST_ENDS} among {LEAST_BAITS}." if thin else "",
        findings=(
            *_main_cause(causes, lives["all"], horizon, bench),
            _loss_rate(rows, baits, bench),
            *_life_ratio(lives["all"], horizon, bench),
            *_said(contrasts),
            *([] if thin else _log_ranks(rows, factors)),
            *_tags(rows, baits),
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


# --- curves and comparisons --------------------------------------------------


def _curve_groups(rows: "pd.DataFrame", leader: Factor) -> dict[str, "pd.DataFrame"]:
    """All baits, and those without and with a leader where both were fished long enough."""
    parts = {group: rows[leader.labels == group] for group in leader.groups}
    enough = len(parts) == 2 and all(part["hours"].sum() >= LEAST_HOURS for part in parts.values())
    return {"all": rows, **(parts if enough else {})}


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
        told = "differs by more than chance would make it" if p < CLEAR else "does not clearly differ"
        text = f"By {name}, how long baits last {told} (log-rank test, adjusted {p_words(p)})."
        more, n, quiet = {"p": test.p, "df": test.df, "p_adjusted": p}, sum(test.observed), p >= CLEAR
        found.append(
            make_finding("logrank", text, (test.statistic,), n=n, group=name, more=more, quiet=quiet)
        )
    return found


# --- what it means -----------------------------------------------------------


def _main_cause(causes: dict[str, int], lives: "Lives", horizon: float, bench: Bench) -> Iterable[Finding]:
    if causes:
        main, share = next(iter(causes)), lives.incidence.at(horizon, 1)
        value, low, high = known(share.estimate, share.low, share.high)
        listed = ", ".join(f"{cause} {n}" for cause, n in causes.items())
        text = f"{counted(sum(causes.values()), 'bait')} ended: {listed}. The first cause, {main}, takes "
        text += f"{bench.show(value, '1')}{in_brackets(_shown(bench, '1'), low, high)} of baits within "
        text += f"{bench.show(horizon, 'h')} in use."
        more = {"horizon_h": horizon}
        yield make_finding("main_cause", text, (value, low, high), "1", n=causes[main], group=main, more=more)


def _loss_rate(rows: "pd.DataFrame", baits: int, bench: Bench) -> Finding:
    from benchwater.mathematics.rates import poisson_rate

    ends, hours = int(rows["ended"].sum()), float(rows["hours"].sum())
    text = f"{ends} of {counted(baits, 'bait')} ended in {hours:.4g} bait-hours"
    limits: tuple[float, ...] = ()
    if hours > 0:
        rate = poisson_rate(ends, hours)
        limits = (rate.estimate, rate.low, rate.high)
        text += f": fewer than one in {bench.show(1 / rate.high, 'h')}" if not ends else ": one in "
        if ends:
            text += bench.show(hours / ends, "h") + in_brackets(
                _shown(bench, "h"), 1 / rate.high, 1 / rate.low
            )
    more = {"bait_hours": hours, "baits": baits}
    return make_finding("loss_rate", f"{text}.", limits, "1/h", n=ends, more=more)


def _life_ratio(lives: "Lives", horizon: float, bench: Bench) -> Iterable[Finding]:
    """Median and restricted mean, where the curve starts among enough baits to mean something."""
    import numpy as np

    from benchwater.mathematics.survival import median_survival, restricted_mean

    curve, until = lives.survival, bench.show(horizon, "h")
    ends = int(curve.n_event.sum())
    at_first = lives.records.at_risk(np.nextafter([curve.observed_from], np.inf))
    if max(*at_first, *curve.n_risk[:1], 0) < LEAST_AT_RISK or horizon <= 0:
        few = "Too few baits were followed from their first hours in use to say how long one lasts."
        yield make_finding("median_life", few, unit="h", n=ends)
        yield make_finding("mean_life", few, unit="h", n=ends)
        return
    since = curve.observed_from
    baits = f"baits that had lasted {bench.show(since, 'h')}" if since else "baits"
    median, mean = median_survival(curve), restricted_mean(curve, horizon)
    text = f"More than half of {baits} are still in use after {until}."
    if median.estimate is not None:
        limits = in_brackets(_shown(bench, "h"), median.low, median.high)
        followed = int(curve.n_risk[curve.time == median.estimate][0])
        text = f"Half of {baits} have ended by {bench.show(median.estimate, 'h')} in use{limits}"
        text += "." if followed >= LEAST_AT_RISK else f"; only {followed} were followed so far."
    yield make_finding("median_life", text, (median.estimate, median.low, median.high), "h", n=ends)
    low, high = known(mean.low, mean.high)
    served = bench.show(mean.estimate, "h") + in_brackets(_shown(bench, "h"), low, high)
    text, more = f"Of the first {until}, {baits} serve {served} on average.", {"horizon_h": horizon}
    yield make_finding("mean_life", text, (mean.estimate, low, high), "h", n=ends, more=more)


def _said(contrasts: Sequence[Contrast]) -> Iterable[Finding]:
    """A sentence a comparison; those without a clear difference are quiet, and counted at the end."""
    for c in contrasts:
        crude, text = c.rates.crude, f"{_sentence(c)}: {_counts(c)} (adjusted {p_words(c.p_adjusted)})."
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
            f"baits {_words(c.factor, c.group)} {CAUSE_WORDS[c.cause]} {times(*_larger(c, c.rates.crude))} "
        )
        text += f"as often per hour as {_those(c.factor, c.against)}"
    else:
        first, second = (c.against, c.group) if c.rates.crude.ratio >= 1 else (c.group, c.against)
        often, _, bracket = times(*_larger(c, c.rates.crude)).partition(" (")
        text = (
            f"{_words(c.factor, first)}, baits last about {often} as long{' (' if bracket else ''}{bracket} "
        )
        text += f"as {_those(c.factor, second)}"
    return text[0].upper() + text[1:] if c.clear else f"No clear difference: {text}"


def _warning(c: Contrast, like: "HeldLike") -> str:
    """What the comparison cannot be told apart from."""
    one, other = f"under one {c.confounder}", f"those {_words(c.factor, c.against)}"
    only = [(group, level) for group, level in zip((c.group, c.against), like.only, strict=True) if level]
    if like.apart and only:
        group, level = only[0]
        text = f"baits {_words(c.factor, group)} were only ever fished {_words(c.confounder, level)}"
    elif like.apart:
        text = f"baits {_words(c.factor, c.group)} and {other} were hardly ever fished {one}"
    else:
        text = f"{one} it is {times(*_larger(c, like.within))}"
    return f"{text}. So this may be the {c.confounder}'s doing, and no advice is drawn from it"


def _larger(c: Contrast, ratio: "RateRatio | CommonRateRatio") -> tuple[float | None, ...]:
    """A ratio of rates with its limits; of all ends, turned round where the first group lasts longer."""
    value, low, high = ratio.ratio, ratio.low, ratio.high
    if c.cause or c.rates.crude.ratio >= 1 or value is None or low is None or high is None:
        return value, low, high
    return tuple(1 / limit if limit > 0 else math.inf for limit in (value, high, low))


def _tags(rows: "pd.DataFrame", baits: int) -> Iterable[Finding]:
    if loose := untagged(rows):
        text = (
            f"{loose} of {counted(baits, 'bait')} bore no tag: each row of those is a stretch by itself, its "
        )
        text += "bait taken as new. Tag a bait, and its hours add up over trips."
        yield make_finding("untagged", text, (loose,), n=baits)
    if tags := len(rows[rows["life"] > 0].drop_duplicates(["build", "bait"])):
        text = (
            f"{counted(tags, 'tag')} went on after the bait was lost or worn: taken as a new bait, old tag."
        )
        yield make_finding("tags_used_again", text, (tags,))


def _actions(rows: "pd.DataFrame", contrasts: Sequence[Contrast]) -> Iterable[Action]:
    """Advice from the comparisons that call for it; of habitats only the worst."""
    asking: dict[str, Contrast] = {}
    for contrast in contrasts:
        if contrast.clear and contrast.rates.worse_throughout and contrast.like is None:
            asking.setdefault(contrast.name, contrast)
    if leader := asking.get("leader, bite offs"):
        places = rows.loc[(rows["cause"] == "bite off") & rows["habitat"].notna(), "habitat"].map(together)
        most = places.value_counts().sort_index().sort_values(ascending=False, kind="stable")
        place = f" Bite offs came most often in {most.index[0]} ({most.iloc[0]})." if len(most) else ""
        text = f"baits without one were bitten off {_ratio(leader.rates.crude)} as often per hour."
        text = f"Tie a leader where pickerel or other teeth hunt: {text}"
        yield _action("tie_a_leader", text, leader, "in like habitat", place)
    if guard := asking.get("guard, snags"):
        text = f"baits without one were lost to snags {_ratio(guard.rates.crude)} as often per hour."
        text = f"Put guards on what you fish among snags: {text}"
        yield _action("fit_guards", text, guard, "in like habitat")
    if spot := asking.get("habitat, snags"):
        text = f"snags took {_ratio(spot.rates.crude)} as many per hour there as elsewhere."
        text = f"Take only baits you can spare into {spot.group}: {text}"
        id = "_".join(["snags", *spot.group.replace("+", " ").split()])
        yield _action(id, text, spot, "with like leaders")


def _action(id: str, text: str, c: Contrast, alike: str, more: str = "") -> Action:
    excess = math.floor(c.rates.excess)
    because = f"{c.cause.capitalize()}s: {_counts(c)}; {alike} {_ratio(c.rates.within)}. At the lower rate "
    because += f"{counted(excess, 'bait')} fewer would have gone.{more}"
    return Action(id=id, text=text, because=because, worth=float(excess), worth_unit="baits")


# --- tables ------------------------------------------------------------------


def _cause_summary(causes: dict[str, int], lives: "Lives", horizon: float) -> Table:
    body: list[Row] = []
    for code, (cause, baits) in enumerate(causes.items(), start=1):
        share = lives.incidence.at(horizon, code)
        body.append((cause, baits, horizon, *known(share.estimate, share.low, share.high)))
    left = lives.survival.at(horizon)
    body.append(("still in use", None, horizon, *known(left.estimate, left.low, left.high)))
    note = "Baits that ended in the span, and the share of baits that comes to each end by that time in use."
    columns = "cause baits time_h incidence low high"
    return make_table(
        "cause_summary", "What becomes of a bait", columns, body, COLUMNS, limits_of="incidence", note=note
    )


def _rates_table(rows: "pd.DataFrame", factors: Sequence[Factor]) -> Table:
    from benchwater.mathematics.rates import poisson_rate

    parts: list[tuple[str, str, Truths]] = [("all", "all", rows["count"] > 0)]
    for factor in factors:
        if factor.name == "habitat":
            parts += [("habitat", tag, has) for tag, has in habitat_tags(rows).items()]
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
    return make_table("rates", "How fast baits end", columns, body, COLUMNS, limits_of="rate", note=note)


def _contrasts_table(contrasts: Sequence[Contrast], skipped: Sequence[str]) -> Table:
    columns = "factor group against ratio low high p p_adjusted within within_low within_high"
    columns += " confounded_by"
    body: list[Row] = []
    for c in contrasts:
        crude, within = c.rates.crude, c.rates.within
        ratios = (crude.ratio, crude.low, crude.high), (within.ratio, within.low, within.high)
        shown = (*ratios[0], crude.p_central, c.p_adjusted, *ratios[1], c.confounder or None)
        body.append((c.name, c.group, c.against, *shown))
    note = "Within: among like trips, of one habitat (for habitat and water: with and without leader apart)."
    if skipped:
        note += f" Too little to compare: {', '.join(skipped)}."
    return make_table(
        "contrasts",
        "Rates held against each other",
        columns,
        body,
        COLUMNS,
        limits_of="ratio",
        note=note,
        print_rows=12,
    )


def _losses_table(rows: "pd.DataFrame") -> Table:
    baits = rows[rows["ended"] > 0].groupby(["fate", "cause"], as_index=False)[["ended"]].sum()
    baits = baits.sort_values(["fate", "ended", "cause"], ascending=[True, False, True])
    body = [(str(fate), str(cause), int(n)) for fate, cause, n in baits.itertuples(index=False)]
    return make_table("losses", "Baits lost and worn", "fate cause baits", body, COLUMNS, print_rows=12)


def _curve_tables(lives: dict[str, "Lives"], causes: Iterable[str]) -> tuple[Table, Table]:
    survival: list[Row] = []
    incidence: list[Row] = []
    for group, both in lives.items():
        km, aj = both.survival, both.incidence
        steps = (v.tolist() for v in (km.time, km.n_risk, km.n_event, km.survival, km.low, km.high))
        survival += [(group, *step[:3], *known(*step[3:])) for step in zip(*steps, strict=True)]
        for row, cause in enumerate(causes):
            steps = (v.tolist() for v in (aj.time, aj.incidence[row], aj.low[row], aj.high[row]))
            incidence += [(group, cause, step[0], *known(*step[1:])) for step in zip(*steps, strict=True)]
    columns = "group time_h at_risk lost survival low high", "group cause time_h incidence low high"
    return (
        make_table(
            *("survival", "Share still in use", columns[0], survival, COLUMNS),
            limits_of="survival",
            print_rows=0,
        ),
        make_table(
            *("causes", "Share ended by each cause", columns[1], incidence, COLUMNS),
            limits_of="incidence",
            print_rows=0,
        ),
    )


# --- figures -----------------------------------------------------------------


def _survival_figure(lives: dict[str, "Lives"], horizon: float) -> Figure:
    import numpy as np

    names = [name for name in lives if name != "all"] or ["all"]
    figure, ax = plots.new_figure(plots.HALF_MM, 58 + 4 * len(names))
    ticks, said = _ticks(horizon), []
    for series, name in enumerate(names):
        curve, label = lives[name].survival, name if name != "all" else "all baits"
        last = min(horizon, curve.observed_to) if curve.final_survival else horizon
        shown = curve.time <= last
        y, low, high = (np.r_[1.0, v[shown], v[shown][-1:]] for v in (curve.survival, curve.low, curve.high))
        x = np.r_[curve.observed_from, curve.time[shown], [last] if shown.any() else []]
        plots.steps(ax, x, y, low=low, high=high, series=series, label=label)
        at_risk = lives[name].records.at_risk(np.asarray(ticks))
        _beside(ax, label, (0.0, 0.0), (-10, -30 - 9 * series), "right")
        for tick, baits in zip(ticks, at_risk, strict=True):
            _beside(ax, str(baits), (tick, 0.0), (0, -30 - 9 * series), "center")
        said += [f"{label} {curve.at(t).estimate:.0%} at {t:.3g} h" for t in (last / 2, last)]
    ax.set(xticks=ticks, xlabel="hours in use", ylabel="share still in use", ylim=(0, 1.02))
    plots.legend(ax)
    alt = f"Still in use, with 95 % bands: {', '.join(said)}."
    title = "How long baits stay in use; below, how many were followed so long"
    return Figure(id="survival", title=title, alt=alt, svg=plots.to_svg(figure))


def _causes_figure(causes: Iterable[str], lives: "Lives", horizon: float) -> Figure:
    import numpy as np

    incidence = lives.incidence
    figure, ax = plots.new_figure(plots.HALF_MM, 66)
    shown = incidence.time <= horizon
    x = np.r_[incidence.observed_from, incidence.time[shown], horizon]
    tops, parts = {}, []
    for series, cause in enumerate(causes):
        rising = incidence.incidence[series, shown]
        tops[cause] = float(rising[-1]) if len(rising) else 0.0
        parts.append(np.r_[0.0, rising, tops[cause]])
    left = 1 - sum(tops.values())
    ax.set(xticks=_ticks(horizon), xlabel="hours in use", ylabel="share of baits", ylim=(0, 1))
    names = [f"{cause} {top:.0%}" for cause, top in tops.items()]
    plots.stacked(ax, x, parts, names, step=True, rest=f"still in use {left:.0%}")
    alt = f"After {horizon:.3g} h in use: {', '.join(names)}, still in use {left:.0%}."
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
    """`with a leader`, `in timber`, `elsewhere`."""
    if group in {"elsewhere", "the others"}:
        return "elsewhere" if factor in {"habitat", "water"} else "otherwise"
    if group == UNKNOWN:
        return f"where the {factor} is not recorded"
    known_words = GROUP_WORDS.get(group) or FACTOR_WORDS.get(factor)
    if known_words is None:
        return f"without {group.removeprefix('no ')}" if group.startswith("no ") else f"with {group}"
    return known_words.format(group)


def _those(factor: str, group: str) -> str:
    return {"elsewhere": group, "the others": group}.get(group, f"those {_words(factor, group)}")


def _counts(c: Contrast) -> str:
    (here, there), (hours, others) = c.rates.events, c.rates.exposure
    return f"{here} in {hours:.0f} h against {there} in {others:.0f} h"


def _ratio(ratio: "RateRatio | CommonRateRatio") -> str:
    return times(ratio.ratio, ratio.low, ratio.high)


def _shown(bench: Bench, unit: str) -> Callable[[float], str]:
    return lambda value: bench.show(value, unit)


def vitals(season: Season, span: Span) -> tuple[Vital, ...]:
    """Baits lost and worn."""
    rows = season.rows("fishing", span)
    ended = int(rows.loc[rows["fate"] != "kept", "count"].sum()) if len(rows) else None
    return (Vital(id="baits_lost", label="baits lost or worn", value=ended, unit="pieces", better="down"),)


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
            vitals=vitals,
        )
    ]
