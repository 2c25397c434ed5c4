"""What the section says: findings, advice, the card for baits and the methods behind them."""

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from benchwater.ledger.bait_lives import UNKNOWN, habitat_label
from benchwater.ledger.trips import MoreFishing, hours_words, more_fishing
from benchwater.plugin import Action, Card, CardLine, Cell, Finding
from benchwater.units import figures
from benchwater.words import counted, known, listed, make_finding

from .compute import (
    ERROR_OF_A_LOOK,
    LEAST_AT_RISK,
    LEAST_BAITS,
    LEAST_ENDS,
    LEAST_HOURS,
    LEAST_TRIPS,
    LOOKS,
    Contrast,
    Doubt,
    Mortality,
)
from .survival import median_survival, restricted_mean

METHODS = (
    "Time is hours in use: those of a tagged bait add up over its trips, before the span too, and it is "
    "followed from the hours it had when the span began (late entry). A tag that goes on after its bait "
    "ended is a new bait. Lost and worn have ended, whether a cause is written or not; kept lasted at "
    "least so long.",
    "An untagged row is a stretch: as many baits as its count (1 where blank), each followed from new, as if "
    "a kept one were as good as new on its next trip: tags show it where that is not so.",
    "Share still in use: Kaplan & Meier 1958 (J. Amer. Statist. Assoc. 53:457-481), log(-log) limits "
    "Kalbfleisch & Prentice 1980, by the larger variance of Greenwood 1926 and of trips as clusters (Ying "
    "& Wei 1994, J. Multivariate Analysis 50:17-29). Median: Brookmeyer & Crowley 1982 (Biometrics "
    "38:29-41). Mean (JSON only): area under the curve to the stated hours. A leader group's curve holds "
    "the trips fished that way. Curves stop where all followed so far have ended or left, and others enter "
    "only later.",
    "Causes compete, the first to strike leaving nothing to the others: cumulative incidence, Aalen & "
    "Johansen 1978 (Scand. J. Statist. 5:141-150), limits on the scale log(-log(1 - share)) by the delta "
    "method, losses taken as independent. A loss without a cause is a share of its own. With the share "
    "still in use they make up the whole.",
    "Losses per hour (each bait's hours counted): losses over hours with trips as the unit, jackknife and "
    "Student's t on the log scale (Cochran 1977), never narrower than exact Poisson limits (Garwood 1936, "
    "Biometrika 28:437-442). Where rows set aside could move it out of its interval, the limits are those of "
    "all of their baits kept and of all lost (Horowitz & Manski 2000, J. Amer. Statist. Assoc. 95:77-84); a "
    "count or an hour that is not known is the log's middle one, and a month has those without a date too.",
    "Ratios of rates: conditional maximum likelihood. Limits and two-sided p (twice the smaller tail) "
    "from two tests, the wider and the larger of which count: the exact one, losses taken as independent "
    "(Martin & Austin 1996, Epidemiology 7:29-33), and one with trips as the unit, which flips the sign "
    "of each trip's effective score (Hemerik, Goeman & Finos 2020, J. R. Statist. Soc. B 82:841-864; "
    "every choice of signs up to 12 trips, else 4999 from a fixed seed). Trips are a day and its `trip`, "
    "or a day and its water. Within strata only those strata count that hold both groups; a missing "
    "leader, water, habitat or angler is a stratum of its own. So many times as long: the ratio turned "
    "round, exactly that of mean lives where the rate does not change with hours in use.",
    "Adjusted for all comparisons: Benjamini & Hochberg 1995 (J. R. Statist. Soc. B 57:289-300); what is "
    "clear has limits for having been selected (Benjamini & Yekutieli 2005, J. Amer. Statist. Assoc. "
    "100:71-81), which leave out no difference exactly where the adjusted p is below 0.05. Two names for "
    f"the same baits are one comparison. Groups are compared from {LEAST_HOURS:g} hours each and "
    f"{LEAST_ENDS} losses together.",
    "Advice answers three questions that were asked beforehand: do leaders stop bite-offs, do guards stop "
    "snags, where do snags take most. It is drawn from the season to date, once the p-value at the end of "
    f"a month is below {ERROR_OF_A_LOOK:g}, shared out over the questions and their groups, which gives 5 % "
    f"over {LOOKS} monthly looks (Pocock 1977, Biometrika 64:191-199; Lan & DeMets 1983, Biometrika "
    "70:659-663), and "
    "stands as long as the 95 % limits leave out no difference; and only where the 95 % limits within "
    "leader, build, water, habitat and angler, each in turn, leave out no difference too, and where it "
    "would stand if every loss without a cause spoke against it (bounds as in Goetghebeur & Ryan 1995, "
    "Biometrika 82:821-833, without assumptions).",
    "Hours that would settle a question: Schoenfeld 1981 (Biometrika 68:316-319), 2 times as often at the "
    "5 % level with power 0.8, half of the hours each way, less what losses so far tell, by the scatter of "
    "trips (Pearson's chi-square over its degrees of freedom).",
    "Log-rank test: Mantel 1966 (Cancer Chemotherapy Reports 50:163-170), extended to late entry; its "
    "p-value is the larger of the chi-square test's and that of a permutation, as few expected losses "
    "need (Heinze, Gnant & Schemper 2003, Biometrics 59:1151-1157): signs of trips flipped as above. "
    "Holm-adjusted over the factors.",
)
CAUSE_WORDS = {
    "bite off": "bitten off",
    "snag": "lost to snags",
    "break off": "broken off",
    "torn": "torn",
    "bent hook": "lost to a bent hook",
    "chipped": "chipped",
    UNKNOWN: "gone without a cause written",
}
FACTOR_WORDS = {
    "coat": "coated {}",
    "water": "at {}",
    "habitat": "in {}",
    "build": "built as {}",
    "angler": "by {}",
}
GROUP_WORDS = {"no coat": "without a coat", "leader": "with a leader", "no leader": "without a leader"}
GROUP_WORDS |= {"guard": "with a guard", "no guard": "without a guard"}
REST = {"elsewhere", "the others"}
OTHERS = {
    "coat": "with the other coats",
    "water": "at the other waters",
    "habitat": "outside {}",
    "build": "as the other builds",
    "angler": "with the other anglers",
}
WIDEST_TO_PRINT = 10.0
PRICED = (("leader", "bite off"), ("guard", "snag"))


def why_thin(found: Mortality) -> str:
    """Why nothing can be concluded; empty where something can."""
    if not found.thin:
        return ""
    if (left := found.left_open) is not None:
        text = f"{counted(left.rows, 'row')} ({counted(left.pieces, 'bait')}) set aside could put the losses "
        text += f"anywhere from {_per_10_hours(left.least)} to {_per_10_hours(left.most)} in 10 hours of "
        return text + f"fishing, so no advice is drawn from them. To settle it, {left.settles}."
    few = f"Only {counted(found.ends, 'lost bait')} of {found.baits} on {counted(found.trips, 'trip')}"
    return f"{few}; it takes {LEAST_ENDS} of {LEAST_BAITS} on {LEAST_TRIPS} trips to conclude anything."


def unsaid(found: Mortality) -> str:
    """What would settle an open question, and what nobody can know of baits without a tag."""
    if found.thin:
        return ""
    told = [_settled_text(*each) for each in _what_settles(found)[:1]]
    return " ".join([*told, _untagged_text(found)] if found.untagged else told)


def findings(found: Mortality) -> Iterable[Finding]:
    """Main cause, life in use, loss rate, comparisons, tests, and how the baits are tagged."""
    yield from _main_cause(found)
    yield from _life_in_use(found)
    yield _loss_rate(found)
    yield from _contrasts(found)
    yield from _what_would_settle(found)
    yield from _log_rank_tests(found)
    yield from _tagging(found)


def actions(found: Mortality) -> Iterable[Action]:
    """Tie a leader, fit guards, keep good baits out of the worst habitat: where the season supports it."""
    if not found.season:
        return
    for c in found.contrasts:
        if c.advised and c.cause:
            yield _action(found, c)


def card(found: Mortality) -> Card:
    """What takes the baits, how long they last, and what would keep them."""
    lines = [CardLine(label="What takes them", text=_causes_text(found), findings=("main_cause",))]
    life = _life_text(found)
    if life:
        lines.append(CardLine(label="How long they last", text=life, findings=("median_life",)))
    keep = [_what_to_do(c, holds=_recently(found, c)[-1]) for c in found.contrasts if c.advised]
    text = "; ".join(keep) or "nothing that these trips can show for sure yet"
    lines.append(CardLine(label="What would keep them", text=text, findings=("contrast",) if keep else ()))
    return Card(id="baits", title="Baits", order=40, lines=tuple(lines))


def _action(found: Mortality, c: Contrast) -> Action:
    """Advice, worth the baits that the better choice would have kept in the last two months."""
    lost, fished, worth, holds = _recently(found, c)
    do = _what_to_do(c, holds=holds)
    text = f"{do[0].upper()}{do[1:]}: in {found.months}, baits {_group_text(c.factor, c.group)} were "
    text += f"{CAUSE_WORDS[c.cause]} {counted(lost, 'time')} in {_fished(fished)}"
    text += f", about {worth} more than {_group_text(c.factor, c.against)}." if worth else "."
    because = _sentence(c)
    because = f"Over the season, {because[0].lower()}{because[1:]}"
    if c.factor == "leader":
        bitten = found.rows[(found.rows["cause"] == c.cause) & found.rows["habitat"].notna()]
        places = bitten.groupby(bitten["habitat"].map(habitat_label))["ended"].sum().sort_index()
        places = places.sort_values(ascending=False, kind="stable")
        because += f" Most were in {places.index[0]} ({places.iloc[0]})." if len(places) else ""
    id = {"leader": "tie_a_leader", "guard": "fit_guards"}.get(c.factor, "")
    id = id or "_".join(["snags", *c.group.replace("+", " ").split()])
    return Action(id=id, text=text, because=because, worth=float(worth), worth_unit="baits", holds=holds)


def _recently(found: Mortality, c: Contrast) -> tuple[int, float, int, bool]:
    """Of the last two months: losses and hours of the worse group, baits to save, whether it is avoided."""
    rows, here, either = found.summed, c.here & found.recent, (c.here | c.there) & found.recent
    hours, ended = rows["hours"].to_numpy(), np.where(rows["cause"] == c.cause, rows["ended"].to_numpy(), 0)
    lost, fished = int(ended[here].sum()), float(hours[here].sum())
    worth = max(0, math.floor(lost - fished * c.rates.events[1] / c.rates.exposure[1]))
    return lost, fished, worth, worth == 0 and fished <= 0.1 * float(hours[either].sum())


def _what_to_do(c: Contrast, *, holds: bool) -> str:
    if c.factor == "leader":
        does = "keep tying" if holds else "tie"
        return f"{does} a leader where pickerel or other teeth hunt"
    if c.factor == "guard":
        return (
            "keep guards on what you fish among snags" if holds else "put guards on what you fish among snags"
        )
    does = "go on taking" if holds else "take"
    return f"{does} only baits you can spare into {c.group}"


def _causes_text(found: Mortality) -> str:
    each = [f"{baits} {CAUSE_WORDS.get(cause, 'lost to ' + cause)}" for cause, baits in found.causes.items()]
    return listed(each) or "none was lost"


def _main_cause(found: Mortality) -> Iterable[Finding]:
    if found.causes:
        main, horizon = next(iter(found.causes)), found.horizon_h
        share = found.lives["all"].incidence[1].at(horizon)
        value, low, high = known(share.estimate, share.low, share.high)
        text = (
            f"{counted(found.ends, 'bait')} lost or worn out in {_fished(float(found.rows['hours'].sum()))}: "
        )
        text += f"{_causes_text(found)}."
        if found.season and not found.thin and low is not None and high is not None:
            hundred = [round(100 * each) for each in (share.estimate, low, high)]
            text += f" Of 100 new baits about {hundred[0]} (somewhere between {hundred[1]} and {hundred[2]}) "
            text += f"are {CAUSE_WORDS.get(main, 'lost to ' + main)} within {half_hours(horizon)} of fishing."
        n, more = found.causes[main], {"horizon_h": horizon}
        yield make_finding("main_cause", text, (value, low, high), "1", n=n, group=main, more=more)


def _loss_rate(found: Mortality) -> Finding:
    rate, left, hours = found.loss_rate, found.left_open, float(found.rows["hours"].sum())
    lost = counted(found.ends, "bait") if found.ends else "No bait"
    text = f"{lost} lost or worn out in {_fished(hours)}"
    limits: tuple[float, ...] = ()
    more: dict[str, Cell] = {"bait_hours": hours, "baits": found.baits, "trips": found.trips}
    if rate is not None:
        limits = (rate.ratio, rate.low, rate.high)
        if left is not None:
            bounds = f"{_per_10_hours(left.least)} to {_per_10_hours(left.most)}"
            text += (
                f", and {counted(left.pieces, 'bait is', 'baits are')} set aside: somewhere from {bounds} "
            )
            text += "lost in 10 hours"
            more |= {"bound_low": left.least, "bound_high": left.most, "set_aside": left.pieces}
        elif not found.ends:
            text += f": fewer than one in {half_hours(1 / rate.high)}, as far as so few hours can tell"
    quiet = found.ends > 0 and left is None
    loss = make_finding("loss_rate", f"{text}.", limits, "1/h", n=found.ends, more=more, quiet=quiet)
    return replace(loss, headline=left is not None)


def _per_10_hours(rate: float) -> str:
    return figures(10 * rate, significant=2)


def _life_in_use(found: Mortality) -> Iterable[Finding]:
    """The median, and the restricted mean for the JSON, where the curve starts among enough baits."""
    lives, horizon = found.lives["all"], found.horizon_h
    curve = lives.survival
    ends = int(curve.n_event.sum())
    text = _life_text(found)
    if not text:
        few = "Too few baits were followed from their first hours in use to say how long one lasts."
        yield make_finding("median_life", few, unit="h", n=ends, quiet=not found.season)
        yield make_finding("mean_life", few, unit="h", n=ends, quiet=True)
        return
    text = f"{text[0].upper()}{text[1:]}."
    yield make_finding("median_life", text, median_survival(curve), "h", n=ends, quiet=not found.season)
    text, more = f"Mean hours in use within the first {half_hours(horizon)}.", {"horizon_h": horizon}
    mean = restricted_mean(curve, horizon)
    yield make_finding("mean_life", text, mean, "h", n=ends, more=more, quiet=True)


def _life_text(found: Mortality) -> str:
    """`half of your baits were gone after about 3½ hours of fishing (3 to 5)`; empty where nobody knows."""
    lives, horizon = found.lives["all"], found.horizon_h
    curve = lives.survival
    first = np.nextafter(curve.observed_from, np.inf), curve.time.min(initial=lives.records.observed_to)
    if lives.records.at_risk(np.array(first)).max() < LEAST_AT_RISK or not horizon:
        return ""
    baits = "your baits"
    if curve.observed_from:
        baits += f" that had lasted {half_hours(curve.observed_from)}"
    median = median_survival(curve)
    if not (curve.n_risk[curve.time == median.estimate] >= LEAST_AT_RISK).any():
        text = f"more than half of {baits} were still in use after {half_hours(horizon)} of fishing"
        return text + (
            "; too few were fished longer to say how long one lasts" if curve.n_event.sum() else ""
        )
    low, high = known(median.low, median.high)
    end = "more" if high is None else half_hours(high, unit=False)
    joint = " or " if high is None else " to "
    limits = "" if low is None else f" ({half_hours(low, unit=False)}{joint}{end})"
    return f"half of {baits} were gone after about {half_hours(median.estimate)} of fishing{limits}"


def _contrasts(found: Mortality) -> Iterable[Finding]:
    """One finding for each comparison; quiet without a clear difference, and where advice says the same."""
    for c in found.contrasts:
        text = _sentence(c) + (f" {_doubt_text(c, c.doubt)}" if c.doubt else "")
        limits = (c.rates.ratio, *c.adjusted)
        more: dict[str, Cell] = {"p": c.rates.p, "p_adjusted": c.p_adjusted, "trips": c.rates.trips}
        more["confounded_by"] = c.doubt.factor if c.doubt else None
        if c.bounds is not None:
            more |= dict(zip(("bound_low", "bound_high"), known(*c.bounds), strict=True))
        value, low, high = known(*limits)
        yield Finding(
            id="contrast",
            text=text,
            value=value,
            low=low,
            high=high,
            level=1 - c.alpha,
            n=sum(c.rates.events),
            group=f"{c.name}: {c.group}",
            more=more,
            quiet=not found.season or c.advised or not c.clear,
        )
    if found.contrasts:
        unclear = sum(not c.clear for c in found.contrasts)
        text = f"{unclear} of {counted(len(found.contrasts), 'comparison')} showed no clear difference."
        yield make_finding("no_clear_difference", text, (unclear,), quiet=True)


def _what_settles(found: Mortality) -> list[tuple[Contrast, MoreFishing]]:
    """Questions asked beforehand and still open, leader first, and the fishing that would settle each."""
    if not found.season:
        return []
    rows, settled = found.summed, []
    asked = {(c.factor, c.cause): c for c in found.contrasts}
    for c in (asked[each] for each in PRICED if each in asked):
        if c.clear or c.advised:
            continue
        own = rows[c.here | c.there]
        by_trip = (
            own.assign(ended=own["ended"].where(own["cause"] == c.cause, 0))
            .groupby("trip_number")[["ended", "hours"]]
            .sum()
        )
        if more := more_fishing(by_trip, c.rates.exposure):
            settled.append((c, more))
    return settled


def _settled_text(c: Contrast, more: MoreFishing) -> str:
    what = f"{c.factor.capitalize()} or none: {more.text}"
    twice = f"That is if one way baits were {CAUSE_WORDS[c.cause]} twice as often, on trips like yours."
    if more.too_long:
        return f"{what} would tell, too many to wait for. {twice}"
    return f"{what}, half with, would tell. {twice} Draw lots for it: `benchwater sheets --trial {c.factor}`."


def _what_would_settle(found: Mortality) -> Iterable[Finding]:
    """What each open question costs in hours of fishing."""
    for c, more in _what_settles(found):
        text, n, limits = _settled_text(c, more), sum(c.rates.events), (more.hours,)
        yield make_finding("settled_by", text, limits, "h", n=n, group=c.name, more=more.numbers, quiet=True)


def _log_rank_tests(found: Mortality) -> Iterable[Finding]:
    for each in found.tests:
        text = f"Log-rank test of how long baits last by {each.factor}, trips as the unit."
        more: dict[str, Cell] = {"p": each.p, "df": each.test.df, "p_adjusted": each.p_adjusted}
        n, group = each.test.events, each.factor
        yield make_finding("logrank", text, (each.test.statistic,), n=n, group=group, more=more, quiet=True)


def _tagging(found: Mortality) -> Iterable[Finding]:
    """How many baits bore no tag, and how many tags went on after their bait was gone."""
    if n := found.untagged:
        yield make_finding("untagged", _untagged_text(found), (n,), n=found.baits, quiet=True)
    if tags := len(found.rows[found.rows["life"] > 0].drop_duplicates(["build", "bait"])):
        text = f"{counted(tags, 'tag')} went on after the bait was lost or worn: "
        yield make_finding("tags_used_again", f"{text}taken as a new bait, old tag.", (tags,))


def _untagged_text(found: Mortality) -> str:
    text = f"{found.untagged} of {found.baits} baits bore no tag, so each time out was taken as a new bait. "
    return f"{text}Tag a bait, and its hours add up over trips."


def _sentence(c: Contrast) -> str:
    """Who lasts longer, or who is lost more often, by how much, and the counts behind it."""
    higher = c.rates.ratio >= 1
    often, seldom = (c.group, c.against) if higher else (c.against, c.group)
    (x1, x2), (t1, t2) = c.rates.events, c.rates.exposure
    x1, x2, t1, t2 = (x1, x2, t1, t2) if higher else (x2, x1, t2, t1)
    much = how_much(c, "times as often" if c.cause else "times as long")
    unlike = "more often" if c.cause else "longer"
    said = f"about {much}" if much[:1].isdigit() else much or unlike
    few = "" if much else f", but {counted(min(x1, x2), 'loss is', 'losses are')} too few to say by how much"
    if c.cause:
        text = f"{_group_text(c.factor, often)}, baits were {CAUSE_WORDS[c.cause]} {said}{few}: {x1} in "
        text += f"{_fished(t1)}, against {x2} in {hours_words(t2)} {_group_text(c.factor, seldom)}."
    else:
        where = OTHERS[c.factor].format(often) if seldom in REST else _group_text(c.factor, seldom)
        text = f"{where}, baits lasted {said}{few}: {x2} lost in "
        text += f"{_fished(t2)}, against {x1} in {hours_words(t1)} {_group_text(c.factor, often)}."
    if not (c.clear or c.advised):
        return f"No clear difference. {text[0].upper()}{text[1:]}"
    return text[0].upper() + text[1:]


def how_much(c: Contrast, unit: str) -> str:
    """`4.6 times as often (somewhere between 1.7 and 16)`; empty where the limits are too far apart."""
    value, low, high = c.rates.ratio, *c.adjusted
    if c.rates.ratio < 1:
        value, low, high = (1 / each if each > 0 else math.inf for each in (value, high, low))
    show = [figures(each, significant=2) for each in (value, low, high) if math.isfinite(each)]
    if low > 0 and high / low <= WIDEST_TO_PRINT:
        return f"{show[0]} {unit} (somewhere between {show[1]} and {show[2]})"
    return f"at least {figures(low, significant=2)} {unit}" if low >= 1.2 else ""


def _doubt_text(c: Contrast, doubt: Doubt) -> str:
    """What else may explain the difference."""
    if doubt.factor == "cause":
        return (
            "But losses without a cause written could make up the difference, so no advice is drawn from it."
        )
    only = [(group, level) for group, level in zip((c.group, c.against), doubt.only, strict=True) if level]
    if only:
        group, level = only[0]
        text = f"But baits {_group_text(c.factor, group)} were only fished {_group_text(doubt.factor, level)}"
    else:
        text = f"But among baits of one {doubt.factor} chance alone could make it"
    return f"{text}, so it may be the {doubt.factor}, and no advice is drawn from it."


def _group_text(factor: str, group: str) -> str:
    """`with a leader`, `in timber`, `elsewhere`."""
    if group in REST:
        return "elsewhere" if factor in {"habitat", "water"} else "otherwise"
    if group == UNKNOWN:
        return f"where the {factor} is not written"
    pattern = GROUP_WORDS.get(group) or FACTOR_WORDS.get(factor)
    if pattern is None:
        return f"without {group.removeprefix('no ')}" if group.startswith("no ") else f"with {group}"
    return pattern.format(group)


def _fished(hours: float) -> str:
    return f"{hours_words(hours)} of fishing"


def half_hours(hours: float, *, unit: bool = True) -> str:
    """`3½ hours`, `45 minutes`: to half an hour, below one to five minutes."""
    if hours < 0.95:
        return f"{max(5, 5 * round(hours * 12))} minutes"
    whole, half = divmod(round(hours * 2), 2)
    text = f"{whole}{'½' if half else ''}"
    return f"{text} {'hour' if text == '1' else 'hours'}" if unit else text
