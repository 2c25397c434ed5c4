"""What the section says: findings, advice and the methods behind them."""

import math
from collections.abc import Callable, Iterable

import numpy as np

from benchwater.ledger.bait_lives import UNKNOWN, habitat_label
from benchwater.plugin import Action, Bench, Cell, Finding
from benchwater.statistics.rates import RateRatio, poisson_rate
from benchwater.units import figures
from benchwater.words import counted, in_brackets, known, make_finding, p_words, times

from .compute import LEAST_AT_RISK, LEAST_BAITS, Mortality
from .contrasts import CLEAR, LEAST_ENDS, LEAST_HOURS, Contrast, StratifiedComparison
from .stratified_rates import CommonRateRatio
from .survival import median_survival, restricted_mean

METHODS = (
    "Time is hours in use: those of a tagged bait add up over its trips, before the span too, and it is "
    "followed from the hours it had when the span began (late entry). A tag that goes on after its bait "
    "ended is a new bait. Lost and worn have ended; kept lasted at least so long.",
    "An untagged row is a stretch: as many baits as its count, each followed from new, as if a kept one were "
    "as good as new on its next trip: tags show it where that is not so.",
    "Share still in use: Kaplan & Meier 1958 (J. Amer. Statist. Assoc. 53:457-481), variance Greenwood 1926, "
    "log(-log) limits Kalbfleisch & Prentice 1980. Median: Brookmeyer & Crowley 1982 (Biometrics 38:29-41). "
    "Mean: area under the curve to the stated hours. A leader group's curve holds the trips fished that way.",
    "Causes compete, the first to strike leaving nothing to the others: cumulative incidence, Aalen & "
    "Johansen 1978 (Scand. J. Statist. 5:141-150). With the share still in use they make up the whole.",
    "Rates per bait-hour: exact Poisson limits, Garwood 1936 (Biometrika 28:437-442). Ratios: exact, given "
    "the total, Przyborowski & Wilenski 1940 (Biometrika 31:313-323); among like trips Martin & Austin 1996 "
    "(Epidemiology 7:29-33). Losses are taken as independent: where one spot takes several baits of a trip, "
    "the limits are too narrow.",
    "So many times as long: the ratio of rates turned round, exactly that of mean lives where the rate does "
    "not change with hours in use (constant hazards).",
    "A comparison is confounded where, within another factor, under a quarter of the information on the "
    "ratio is left (Mantel and Haenszel's weights), or the ratio is under half as large on the log scale "
    "(Rothman & Greenland, Modern Epidemiology; both bounds are this report's own). So held against each "
    "other: leader, build with what it bears, water, habitat and angler.",
    "Log-rank test: Mantel 1966 (Cancer Chemotherapy Reports 50:163-170). p-values adjusted over all that is "
    "compared, ratios and log-rank tests each among themselves: Holm 1979 (Scand. J. Statist. 6:65-70). Two "
    "names for the same baits are one comparison.",
    f"Groups are compared from {LEAST_HOURS:g} bait-hours each and {LEAST_ENDS} ends together. Advice needs "
    "an adjusted p below 0.05, limits among like trips that leave out no difference, and no confounding.",
)
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


def why_thin(found: Mortality) -> str:
    """Why nothing can be concluded; empty where something can."""
    if not found.thin:
        return ""
    few = f"Only {counted(found.ends, 'end')} of use among {counted(found.baits, 'bait')}"
    return f"{few}; to conclude anything takes {LEAST_ENDS} among {LEAST_BAITS}."


def unsaid(found: Mortality) -> str:
    """What nobody can know of baits without a tag; empty where the section is thin or all bear one."""
    return _untagged_text(found) if found.untagged and not found.thin else ""


def findings(found: Mortality, bench: Bench) -> Iterable[Finding]:
    """Main cause, loss rate, life in use, comparisons, tests, and how the baits are tagged."""
    yield from _main_cause(found, bench)
    yield _loss_rate(found, bench)
    yield from _life_in_use(found, bench)
    yield from _contrasts(found)
    yield from _log_rank_tests(found)
    yield from _tagging(found)


def actions(found: Mortality) -> Iterable[Action]:
    """Tie a leader, fit guards, keep good baits out of the worst habitat: where a comparison supports it."""
    supported: dict[str, Contrast] = {}
    for contrast in found.contrasts:
        if contrast.clear and contrast.rates.worse_throughout and contrast.stratified is None:
            supported.setdefault(contrast.name, contrast)
    if leader := supported.get("leader, bite offs"):
        rows = found.rows
        places = rows.loc[(rows["cause"] == "bite off") & rows["habitat"].notna(), "habitat"]
        most = places.map(habitat_label).value_counts().sort_index()
        most = most.sort_values(ascending=False, kind="stable")
        place = f" Bite offs came most often in {most.index[0]} ({most.iloc[0]})." if len(most) else ""
        text = f"baits without one were bitten off {_ratio_text(leader.rates.crude)} as often per hour."
        text = f"Tie a leader where pickerel or other teeth hunt: {text}"
        yield _action("tie_a_leader", text, leader, "in like habitat", place)
    if guard := supported.get("guard, snags"):
        text = f"baits without one were lost to snags {_ratio_text(guard.rates.crude)} as often per hour."
        text = f"Put guards on what you fish among snags: {text}"
        yield _action("fit_guards", text, guard, "in like habitat")
    if spot := supported.get("habitat, snags"):
        text = f"snags took {_ratio_text(spot.rates.crude)} as many per hour there as elsewhere."
        text = f"Take only baits you can spare into {spot.group}: {text}"
        id = "_".join(["snags", *spot.group.replace("+", " ").split()])
        yield _action(id, text, spot, "with like leaders")


def _action(id: str, text: str, c: Contrast, strata: str, more: str = "") -> Action:
    excess = math.floor(c.rates.excess)
    because = f"{c.cause.capitalize()}s: {_losses_text(c)}; {strata} {_ratio_text(c.rates.within)}. "
    because += f"At the lower rate {counted(excess, 'bait')} fewer would have gone.{more}"
    return Action(id=id, text=text, because=because, worth=float(excess), worth_unit="baits")


def _main_cause(found: Mortality, bench: Bench) -> Iterable[Finding]:
    if found.causes:
        main, horizon = next(iter(found.causes)), found.horizon_h
        share = found.lives["all"].incidence.at(horizon, 1)
        value, low, high = known(share.estimate, share.low, share.high)
        each = ", ".join(f"{cause} {n}" for cause, n in found.causes.items())
        text = f"{counted(sum(found.causes.values()), 'bait')} ended: {each}. The first cause, {main}, takes "
        text += f"{bench.show(value, '1')}{in_brackets(_show(bench, '1'), low, high)} of baits within "
        text += f"{bench.show(horizon, 'h')} in use."
        n, more = found.causes[main], {"horizon_h": horizon}
        yield make_finding("main_cause", text, (value, low, high), "1", n=n, group=main, more=more)


def _loss_rate(found: Mortality, bench: Bench) -> Finding:
    ends, hours = found.ends, float(found.rows["hours"].sum())
    text = f"{ends} of {counted(found.baits, 'bait')} ended in {figures(hours)} bait-hours"
    limits: tuple[float, ...] = ()
    if hours > 0:
        rate = poisson_rate(ends, hours)
        limits = (rate.estimate, rate.low, rate.high)
        hourly, low, high = (figures(each, significant=2) for each in limits)
        show = _show(bench, "h")
        text += f": {hourly} an hour ({low} to {high}), one in {show(hours / ends)}" if ends else ""
        text += "" if ends else f": fewer than one in {show(1 / rate.high)}"
    more = {"bait_hours": hours, "baits": found.baits}
    return make_finding("loss_rate", f"{text}.", limits, "1/h", n=ends, more=more)


def _life_in_use(found: Mortality, bench: Bench) -> Iterable[Finding]:
    """Median and restricted mean, where the curve starts among enough baits to mean something."""
    lives, horizon, show = found.lives["all"], found.horizon_h, _show(bench, "h")
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
        limits = in_brackets(show, median.low, median.high)
        followed = int(curve.n_risk[curve.time == median.estimate][0])
        text = f"Half of {baits} have ended by {show(median.estimate)} in use{limits}"
        text += "." if followed >= LEAST_AT_RISK else f"; only {followed} were followed so far."
    yield make_finding("median_life", text, (median.estimate, median.low, median.high), "h", n=ends)
    low, high = known(mean.low, mean.high)
    served = show(mean.estimate) + in_brackets(show, low, high)
    text, more = f"Of the first {until}, {baits} serve {served} on average.", {"horizon_h": horizon}
    yield make_finding("mean_life", text, (mean.estimate, low, high), "h", n=ends, more=more)


def _contrasts(found: Mortality) -> Iterable[Finding]:
    """One finding for each comparison; those without a clear difference are quiet, and counted at the end."""
    for c in found.contrasts:
        crude, text = c.rates.crude, f"{_sentence(c)}: {_losses_text(c)} (adjusted {p_words(c.p_adjusted)})."
        if c.stratified is not None:
            text += f" But {_warning(c, c.stratified)}."
        limits = (crude.ratio, crude.low, crude.high)
        group = f"{c.name}: {c.group}"
        more: dict[str, Cell] = {"p": crude.p_central, "p_adjusted": c.p_adjusted}
        more["confounded_by"] = c.confounder or None
        yield make_finding(
            "contrast", text, limits, n=sum(c.rates.events), group=group, more=more, quiet=not c.clear
        )
    if unclear := sum(not c.clear for c in found.contrasts):
        text = f"{unclear} of {counted(len(found.contrasts), 'comparison')} of rates showed no clear "
        yield make_finding("no_clear_difference", f"{text}difference.", (unclear,))


def _log_rank_tests(found: Mortality) -> Iterable[Finding]:
    for each in found.tests:
        clear, test = each.p_adjusted < CLEAR, each.test
        differs = "differs by more than chance would make it" if clear else "does not clearly differ"
        text = f"By {each.factor}, how long baits last {differs} "
        text += f"(log-rank test, adjusted {p_words(each.p_adjusted)})."
        more, n = {"p": test.p, "df": test.df, "p_adjusted": each.p_adjusted}, sum(test.observed)
        yield make_finding(
            "logrank", text, (test.statistic,), n=n, group=each.factor, more=more, quiet=not clear
        )


def _tagging(found: Mortality) -> Iterable[Finding]:
    """How many baits bore no tag, and how many tags went on after their bait was gone."""
    if n := found.untagged:
        yield make_finding("untagged", _untagged_text(found), (n,), n=found.baits, quiet=True)
    if tags := len(found.rows[found.rows["life"] > 0].drop_duplicates(["build", "bait"])):
        text = f"{counted(tags, 'tag')} went on after the bait was lost or worn: "
        yield make_finding("tags_used_again", f"{text}taken as a new bait, old tag.", (tags,))


def _untagged_text(found: Mortality) -> str:
    text = f"{found.untagged} of {counted(found.baits, 'bait')} bore no tag: each row of those is a stretch "
    return f"{text}by itself, its bait taken as new. Tag a bait, and its hours add up over trips."


def _sentence(c: Contrast) -> str:
    """`With a leader, baits last about 3 times as long (1.8 to 5.2) as those without`: who lasts, first."""
    ratio = times(*_larger(c, c.rates.crude))
    if c.cause:
        text = f"baits {_group_text(c.factor, c.group)} {CAUSE_WORDS[c.cause]} {ratio} "
        text += f"as often per hour as {_other_text(c.factor, c.against)}"
    else:
        first, second = (c.against, c.group) if c.rates.crude.ratio >= 1 else (c.group, c.against)
        often, space, limits = ratio.partition(" (")
        text = f"{_group_text(c.factor, first)}, baits last about {often} as long{space}{limits} "
        text += f"as {_other_text(c.factor, second)}"
    return text[0].upper() + text[1:] if c.clear else f"No clear difference: {text}"


def _warning(c: Contrast, found: StratifiedComparison) -> str:
    """What else may explain the difference."""
    one, other = f"under one {c.confounder}", f"those {_group_text(c.factor, c.against)}"
    only = [(group, level) for group, level in zip((c.group, c.against), found.only, strict=True) if level]
    if found.apart and only:
        group, level = only[0]
        text = (
            f"baits {_group_text(c.factor, group)} were only ever fished {_group_text(c.confounder, level)}"
        )
    elif found.apart:
        text = f"baits {_group_text(c.factor, c.group)} and {other} were hardly ever fished {one}"
    else:
        text = f"{one} it is {times(*_larger(c, found.within))}"
    return f"{text}. So this may be the {c.confounder}'s doing, and no advice is drawn from it"


def _larger(c: Contrast, ratio: RateRatio | CommonRateRatio) -> tuple[float | None, ...]:
    """A ratio of rates with its limits; of all losses, inverted where the first group lasts longer."""
    value, low, high = ratio.ratio, ratio.low, ratio.high
    if c.cause or c.rates.crude.ratio >= 1 or value is None or low is None or high is None:
        return value, low, high
    return tuple(1 / limit if limit > 0 else math.inf for limit in (value, high, low))


def _group_text(factor: str, group: str) -> str:
    """`with a leader`, `in timber`, `elsewhere`."""
    if group in {"elsewhere", "the others"}:
        return "elsewhere" if factor in {"habitat", "water"} else "otherwise"
    if group == UNKNOWN:
        return f"where the {factor} is not recorded"
    pattern = GROUP_WORDS.get(group) or FACTOR_WORDS.get(factor)
    if pattern is None:
        return f"without {group.removeprefix('no ')}" if group.startswith("no ") else f"with {group}"
    return pattern.format(group)


def _other_text(factor: str, group: str) -> str:
    """`those with a leader`, `elsewhere`: the other side of a comparison."""
    return group if group in {"elsewhere", "the others"} else f"those {_group_text(factor, group)}"


def _losses_text(c: Contrast) -> str:
    """`3 in 12 h against 9 in 14 h`."""
    (here, there), (hours, others) = c.rates.events, c.rates.exposure
    return f"{here} in {hours:.0f} h against {there} in {others:.0f} h"


def _ratio_text(ratio: RateRatio | CommonRateRatio) -> str:
    return times(ratio.ratio, ratio.low, ratio.high)


def _show(bench: Bench, unit: str) -> Callable[[float], str]:
    """Prints numbers of that unit; hours to a tenth, as exact as a log of trips is."""
    return lambda value: bench.show(value, unit, 1 if unit == "h" and value >= 1 else None)
