"""Says which cures were out of their window, which heads may melt, what spoiled coats, and what to do."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pandas as pd

from benchwater.ledger.pieces import SOFTENING_MARGIN_C
from benchwater.plugin import Action, Cell, Finding, Season
from benchwater.statistics.proportions import wilson_interval
from benchwater.words import counted, day_words, in_brackets, known, listed, make_finding

from .compute import IN_WINDOW, NO_WINDOW, NOT_RECORDED, Batches, CoatUsed, DipFlaw

ENOUGH_BATCHES = 5
MOST_NAMED = 4
WORST_FIRST = ("heads_softened", "coat_rejects")
METHODS = (
    "Cures are held against each coat's window in bench.toml, its ends included, by the set temperature and "
    "the time written down, temperature first; the share of batches carries Wilson's score interval (Wilson "
    "1927). Powder makers count time from when the piece itself is hot, which no log shows.",
    f"A cure is too hot for a head from {SOFTENING_MARGIN_C:.0f} K ({1.8 * SOFTENING_MARGIN_C:.0f} °F) below "
    "where its alloy begins to melt (`melts` in bench.toml, for the mold's usual material). The margin is a "
    "project choice, no published source.",
    "Coat per piece: opening count + received (exact) + recovered − discarded − closing count, over all "
    "pieces dipped between the counts; a count on the span's first day comes before that day's work, any "
    "other after it. Interval: law of propagation, k = 2, scale steps as step/√12 (JCGM 100).",
    "Coat flaws: Wilson's interval over pieces divided by the design effect of pieces in one batch (Rao and "
    "Scott 1992; Korn and Graubard 1998); trend: Cochran 1954, Armitage 1955, p-values after Holm 1979.",
)


def is_sure(batches: Batches) -> bool:
    """Whether the section may conclude: enough judged batches, or heads that melt."""
    enough = len(batches.judged) >= ENOUGH_BATCHES
    return enough or len(batches.melted) > 0 or len(batches.planned) > 0


def too_little(batches: Batches) -> str:
    """Says how many batches were judged, and how many it takes."""
    judged = f"{len(batches.judged)} of {len(batches.all)} batches could be held against a cure window stated"
    return f"{judged} in bench.toml, and {ENOUGH_BATCHES} are needed to conclude anything."


def unknown_temperatures(batches: Batches) -> str:
    """Says of how many batches the temperature of the pieces was not written down."""
    unread = len(batches.all) - batches.with_temperature
    if not unread:
        return ""
    of = counted(len(batches.all), "batch", "batches")
    return f"How warm the pieces were when dipped, in {unread} of {of}: no `part_temp` was written down."


def all_findings(batches: Batches) -> Iterator[Finding]:
    """Yields cures, heads at risk, flaws, coat used and flaws by temperature; the worst is the headline."""
    found = [*_cures(batches), *_heads(batches), *_flaws(batches)]
    found += [_coat_per_piece(batches.season, coat) for coat in batches.coats]
    found += [
        _flaw_trend(each, each.trend.p_value, each.trend.slope, each.p_adjusted, batches)
        for each in batches.dip_flaws
        if each.trend is not None and each.p_adjusted is not None
    ]
    worst = next((id for id in WORST_FIRST if any(each.id == id for each in found)), "cure_in_window")
    rejected = batches.rejects.estimate > batches.season.bench.plan.target_reject_rate
    if worst == "coat_rejects" and not rejected:
        worst = "cure_in_window"
    yield from (replace(each, headline=each.id == worst) for each in found)


def all_actions(batches: Batches, lately: Batches, months: str) -> Iterator[Action]:
    """Yields what to do about heads that melt, cures and guard holes.

    `lately` are the batches of recent months, named `months`: they give each action its counts, and tell
    whether it `holds`.
    """
    planned = f"In bench.toml: {_planned(batches)}." if batches.planned else ""
    if planned or len(batches.melted):
        heads = [batches.season.bench.builds[build].head for build in batches.planned]
        too_soft = sorted({*batches.melted["mold"], *(head[0] for head in heads if head)})
        yield Action(
            id="cure-melts-heads",
            text=f"Keep {listed(too_soft)} heads out of the oven, where their own metal begins to "
            "melt: use paint that dries in air, or fish them bare.",
            because=" ".join(filter(None, (planned, _cured_so(batches, lately.melted, months)))),
            urgent=bool(planned or len(lately.melted)),
            holds=not planned and not len(lately.melted),
            **_worth(int(lately.melted["count"].sum())),
        )
    if len(batches.outside):
        outside, judged = lately.outside, counted(len(lately.judged), "batch", "batches")
        because = f"{len(outside)} of {judged} {'was' if len(outside) == 1 else 'were'} outside in {months}: "
        because += f"{_named(batches, outside)}."
        if not len(outside):
            because = f"All of {judged} in {months} were inside. Before: {_named(batches, batches.outside)}."
        yield Action(
            id="cure-window",
            text="Hold each cure inside its window, by a thermometer beside the pieces, timed from when they "
            "are hot.",
            because=because,
            holds=not len(outside),
            **_worth(int(outside["count"].sum())),
        )
    if len(batches.blocked):
        molds = sorted(set(batches.blocked["mold"].astype("str")))
        bad, rows = int(lately.blocked["rejects"].sum()), lately.all[lately.all["mold"].isin(molds)]
        because = f"{bad} of the {rows['count'].sum()} that were coated in {months} came out blocked."
        yield Action(
            id="clear-guard-holes",
            text=f"Clear the guard holes of {listed(molds)} heads while the powder is only melted, before "
            "the cure.",
            because=f"{because} Never burn or drill cured powder off: the head may hold lead. Strip it as "
            "its data sheet says.",
            holds=not bad,
            **_worth(bad),
        )


def _worth(pieces: int) -> dict[str, Any]:
    return {"worth": float(pieces), "worth_unit": "baits"} if pieces else {}


def _cured_so(batches: Batches, lately: pd.DataFrame, months: str) -> str:
    if len(lately):
        return f"Cured so in {months}: {_named(batches, lately)}."
    return f"Cured so before {months}: {_named(batches, batches.melted)}." if len(batches.melted) else ""


def _named(batches: Batches, rows: pd.DataFrame) -> str:
    """Names batches, the latest first."""
    names, show = [], batches.season.bench.show
    for _, row in rows.iloc[::-1].head(MOST_NAMED).iterrows():
        temp, time = known(row["cure_temp_c"], row["cure_time_h"])
        cure = f"{show(temp, 'degC')}, {show(time, 'h')}"
        what = f"{day_words(row['date'].date(), batches.season.end)}: {row['count']} {row['coat']}"
        what += f" on {row['mold']} {row['cavity']}"
        verdict = "" if row["verdict"] == IN_WINDOW else f", {row['verdict']}"
        names.append(f"{what}{verdict} ({cure})")
    return "; ".join(names) + (f"; and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else "")


def _planned(batches: Batches) -> str:
    """Names the builds whose coat cures where their head melts."""
    return "; ".join(f"{build} ({where})" for build, where in batches.planned.items())


def _cures(batches: Batches) -> Iterator[Finding]:
    total, outside, verdicts = len(batches.judged), batches.outside, batches.all["verdict"]
    if total:
        held, pieces = total - len(outside), int(batches.judged["count"].sum())
        good = pieces - int(outside["count"].sum())
        were = "was" if held == 1 else "were"
        text = f"{held} of {counted(total, 'batch', 'batches')} ({good} of {counted(pieces, 'piece')}) "
        text += f"{were} cured inside their window."
        melted = int(batches.judged.loc[batches.judged["verdict"] == IN_WINDOW, "melted"].sum())
        if melted:
            text += f" In {melted} of these the heat was right for the powder, and too much for the heads."
        text += f" Outside: {_named(batches, outside)}." if len(outside) else ""
        more: dict[str, Cell] = {"pieces": pieces, "pieces_in_window": good}
        yield make_finding("cure_in_window", text, wilson_interval(held, total), "1", n=total, more=more)
    else:
        yield Finding(id="cure_in_window", text="No cure could be held against a window.", unit="1", n=0)
    for coat in sorted(set(batches.all.loc[verdicts == NO_WINDOW, "coat"])):
        text = f"bench.toml states no cure window for {coat}: its batches are listed, and not judged."
        yield Finding(id="no_window", text=text, group=coat)
    if missing := int((verdicts == NOT_RECORDED).sum()):
        text = f"Not judged, as the cure was not written down in full: {missing} of {len(verdicts)} batches."
        yield Finding(id="not_recorded", text=text, value=missing, n=len(verdicts))


def _heads(batches: Batches) -> Iterator[Finding]:
    bench, melted = batches.season.bench, batches.melted
    if len(melted):
        pieces = int(melted["count"].sum())
        were = "was" if pieces == 1 else "were"
        text = f"{counted(pieces, 'head')} {were} cured so hot that the metal itself softens. "
        text += f"{_named(batches, melted)}."
        yield Finding(id="heads_softened", text=text, value=pieces, unit="pieces", n=len(melted))
    if batches.planned:
        text = f"Planned in bench.toml, and too hot for the heads: {_planned(batches)}."
        yield Finding(id="planned_cure", text=text, value=len(batches.planned), quiet=True)
    for alloy in sorted({bench.material_of(mold) for mold in batches.all["mold"].unique()}):
        if bench.items[alloy].kind == "metal" and bench.items[alloy].melts_c is None:
            text = f"Whether {alloy} heads can take a cure is not known: bench.toml states no `melts` for it."
            yield Finding(id="melting_not_known", text=text, group=alloy)


def _flaws(batches: Batches) -> Iterator[Finding]:
    rows, blocked = batches.all, batches.blocked
    if len(blocked):
        pieces = int(blocked["rejects"].sum())
        text = f"{counted(pieces, 'piece')} in {len(blocked)} of {counted(len(rows), 'batch', 'batches')} "
        text += "came out with a blocked guard hole."
        id, n = "blocked_guard_holes", len(blocked)
        yield Finding(id=id, text=text, value=pieces, unit="pieces", n=n, quiet=True)
    total, bad = int(rows["count"].sum()), int(rows["rejects"].sum())
    counts = rows["rejects"].groupby(rows["flaw"].astype("str").fillna("not said")).sum()
    counts = counts[counts > 0].sort_values(ascending=False, kind="stable")
    named = ", ".join(f"{flaw} {count}" for flaw, count in counts.items())
    show, ends = batches.season.bench.show, (batches.rejects.low, batches.rejects.high)
    text = f"{bad} of {total} coated pieces had to be stripped or scrapped"
    if bad:
        text += f", {show(batches.rejects.estimate, '1')}{in_brackets(lambda x: show(x, '1'), *ends)}"
    text += f": {named}." if named else "."
    more: dict[str, Cell] = {str(flaw): int(count) for flaw, count in counts.items()}
    yield make_finding("coat_rejects", text, batches.rejects, "1", n=total, more=more)


def _coat_per_piece(season: Season, coat: CoatUsed) -> Finding:
    each, planned, show = coat.each, coat.planned, season.bench.show
    unit, end = f"{coat.unit}/piece", season.end
    text = f"{show(coat.used, coat.unit, item=coat.coat)} of {coat.coat} went on {coat.pieces} pieces "
    text += f"between the counts of {day_words(coat.opened, end)} and {day_words(coat.closed, end)}, "
    text += f"{show(each.estimate, unit)}: "
    if each.estimate <= 0:
        text += "a count is off, or a jar was not written down."
    elif planned is None:
        text += "bench.toml does not plan a coat mass for each of these heads."
    else:
        against = "as far as the counts can tell,"
        if not each.low <= planned <= each.high:
            against = "more than" if each.estimate > planned else "less than"
        text += f"{against} the planned {show(planned, unit)}."
    more: dict[str, Cell] = {"planned": planned, "used": coat.used, "coverage_factor": 2.0}
    return make_finding("coat_per_piece", text, each, unit, n=coat.pieces, group=coat.coat, more=more)


def _flaw_trend(each: DipFlaw, p: float, slope: float, p_adjusted: float, batches: Batches) -> Finding:
    significant = p_adjusted < 0.05
    way = "more often on " + ("hotter pieces" if slope > 0 else "cooler pieces")
    way = way if significant else "as often on cool pieces as on hot ones, as far as these batches show"
    text = f"{each.flaw.capitalize()}: {way} ({counted(batches.with_temperature, 'batch', 'batches')})."
    more: dict[str, Cell] = {"p": p, "p_adjusted": p_adjusted}
    group, quiet = each.flaw, not significant
    return Finding(id="flaw_trend", text=text, value=p_adjusted, group=group, more=more, quiet=quiet)
