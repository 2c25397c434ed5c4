"""Was the powder cured as it asks, how much of it went on, and what spoiled the coats.

Say chartreuse asks for 350 °F to 410 °F for 15 to 30 minutes. Nineteen round heads at 365 °F for 20 minutes
are in the window. Sixteen pulled out after 8 minutes are `too short`, four in an oven that crept up to 450 °F
`too hot`. Six tin-bismuth heads at 350 °F are in the window of their powder too, but tin-bismuth begins to
melt at 280 °F: they slump off their hooks, and no cure of this powder can be right for them. Between two
counts the jar went from 91 g to 90 g while eight heads were dipped: 0.13 g a piece, give or take the scale.

A batch shares one oven and one cure, so cures are counted in batches and not in pieces.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from benchwater.ledger.cure import SOFTENING_MARGIN_C, cure_verdict, softens
from benchwater.ledger.log_columns import NO_ROWS, Rows, grouped, moments, numbers, words
from benchwater.plugin import (
    Action,
    Analysis,
    Bench,
    Cell,
    Finding,
    Season,
    Section,
    Span,
    Table,
    TableColumn,
    hookimpl,
)
from benchwater.statistics.clustered import clustered_wilson_interval, design_effect
from benchwater.statistics.multiplicity import holm_adjusted
from benchwater.statistics.proportions import wilson_interval
from benchwater.statistics.uncertainty import resolution_uncertainty
from benchwater.words import counted, day_words, known, listed, make_finding

from .binned_shares import binned_shares
from .used_per_piece import used_per_piece

IN_WINDOW, NOT_RECORDED, NO_WINDOW = "in the window", "not recorded", "no window stated"
BLOCKED = "blocked guard hole"
ENOUGH_BATCHES, ENOUGH_WITH_TEMP, ENOUGH_FLAWED = 5, 6, 3
DIP_FLAWS = ("bare spot", "sag")
BIN_WIDTH = {"us": 20.0, "metric": 10.0}
MOST_NAMED, MOST_LISTED = 4, 12
WINDOW_ENDS = ("min_temp_c", "max_temp_c", "min_time_h", "max_time_h")
# fmt: off
BATCH_COLUMNS = (
    ("date", "Date", None), ("coat", "Coat", None), ("count", "Pieces", "pieces"),
    ("cure_temp_c", "Oven", "degC"), ("cure_min", "Cure, min", None),
    ("verdict", "Held against the coat's window", None),
)
FLAW_COLUMNS = (
    ("flaw", "Flaw", None), ("low_c", "From", "degC"), ("high_c", "To below", "degC"),
    ("pieces", "Pieces", "pieces"), ("rejects", "With it", "pieces"), ("rate", "Share", "1"),
    ("low", "95 % from", "1"), ("high", "to", "1"),
)
# fmt: on

METHODS = (
    "Cures are held against each coat's window in bench.toml, its ends included, by the set temperature and "
    "the time written down, temperature first; the share of batches carries Wilson's score interval (Wilson "
    "1927). Powder makers count time from when the piece itself is hot, which no log shows.",
    f"A cure is too hot for a head from {SOFTENING_MARGIN_C:.0f} K ({1.8 * SOFTENING_MARGIN_C:.0f} °F) below "
    "where its alloy begins to melt (`melts` in bench.toml, for the mold's usual material). The margin is a "
    "project choice, no published source.",
    "Coat per piece: opening count + received + recovered − discarded − closing count, over all pieces "
    "dipped between the counts; a count on the span's first day comes before that day's work, any other "
    "after it. Interval: law of propagation, k = 2, scale steps as step/√12 (JCGM 100).",
    "Coat flaws: Wilson's interval over pieces divided by the design effect of pieces in one batch (Rao and "
    "Scott 1992; Korn and Graubard 1998); trend: Cochran 1954, Armitage 1955, p-values after Holm 1979.",
)


@dataclass(frozen=True, slots=True)
class Batches:
    """The batches of a span: all, those judged, those outside their window, those whose head melted.

    `planned` says of which mold and which builds on the bench could not take their cure.
    """

    bench: Bench
    end: date
    all: pd.DataFrame
    judged: pd.DataFrame
    outside: pd.DataFrame
    melted: pd.DataFrame
    planned: tuple[tuple[str, str], ...]

    @property
    def too_soft(self) -> list[str]:
        """The molds whose heads were cured, or are to be cured, where their metal begins to melt."""
        return sorted({*self.melted["mold"], *(mold for mold, _ in self.planned)})

    def named(self, rows: pd.DataFrame) -> str:
        """Batches in words, the latest first."""
        said, show = [], self.bench.show
        for _, row in rows.iloc[::-1].head(MOST_NAMED).iterrows():
            temp, time = known(row["cure_temp_c"], row["cure_time_h"])
            cure = f"{show(temp, 'degC')}, {show(time, 'h')}"
            what = f"{day_words(row['date'].date(), self.end)}: {row['count']} {row['coat']}"
            what += f" on {row['mold']} {row['cavity']}"
            verdict = "" if row["verdict"] == IN_WINDOW else f", {row['verdict']}"
            said.append(f"{what}{verdict} ({cure})")
        return "; ".join(said) + (f"; and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else "")


def analyse(season: Season, span: Span) -> Section:
    """Cures, then heads at risk, then flaws, then coat used, then flaws by temperature."""
    rows = season.rows("finishing", span)
    if rows.empty:
        return Section.empty("No batch was coated in this span.")
    batches = _judge(rows, season, _planned(season.bench) if span.name == "season" else ())
    known = len(batches.judged)
    sure = known >= ENOUGH_BATCHES or len(batches.melted) > 0 or len(batches.planned) > 0
    table, trends = _by_temperature(batches)
    return Section(
        status="ok" if sure else "thin",
        why=""
        if sure
        else f"{known} of {len(rows)} batches could be held against a cure window stated in "
        f"bench.toml, and {ENOUGH_BATCHES} are needed to conclude anything.",
        unsaid=_unsaid(batches) if sure else "",
        findings=(
            *_cures(batches),
            *_heads(batches),
            *_flaws(batches),
            *_coat_used(season, span),
            *trends,
        ),
        tables=(_batch_table(batches), *table),
        actions=tuple(_actions(batches)) if sure else (),
        methods=METHODS,
    )


def _unsaid(batches: Batches) -> str:
    silent = int(batches.all["part_temp_c"].isna().sum())
    if not silent:
        return ""
    of = counted(len(batches.all), "batch", "batches")
    return f"How warm the pieces were when dipped, in {silent} of {of}: no `part_temp` was written down."


def _judge(rows: pd.DataFrame, season: Season, planned: tuple[tuple[str, str], ...]) -> Batches:
    bench, verdicts, melted = season.bench, [], []
    cells = rows[["mold", "coat", "cure_temp_c", "cure_time_h"]]
    for mold, coat, temp_c, time_h in cells.itertuples(index=False):
        (temp, time), melts = known(temp_c, time_h), _melts(bench, mold)
        ends = {end: getattr(bench.items[coat].cure, end, None) for end in WINDOW_ENDS}
        stated = any(end is not None for end in ends.values())
        verdicts.append(cure_verdict(temp, time, **ends) if stated else NO_WINDOW)
        melted.append(temp is not None and melts is not None and softens(temp, melts))
    rows = rows.assign(verdict=verdicts)
    judged = rows[~rows["verdict"].isin((NOT_RECORDED, NO_WINDOW))]
    outside = judged[judged["verdict"] != IN_WINDOW]
    return Batches(
        bench, season.end, rows, judged, outside, rows[pd.Series(melted, index=rows.index)], planned
    )


def _melts(bench: Bench, mold: str) -> float | None:
    """Where the head's alloy begins to melt, None where that is not known or the head is no metal."""
    item = bench.items[bench.material_of(mold)]
    return item.melts_c if item.kind == "metal" else None


def _planned(bench: Bench) -> tuple[tuple[str, str], ...]:
    """Mold and build where the coat cures at no less than where the head melts or softens."""
    found = []
    for build in bench.builds.values():
        cure = bench.items[build.coat].cure if build.coat else None
        start = cure.min_temp_c if cure else None
        melts = _melts(bench, build.head[0]) if build.head else None
        if build.head and start is not None and melts is not None and softens(start, melts):
            alloy, melting = bench.material_of(build.head[0]), bench.show(melts, "degC")
            heat = bench.show(start, "degC")
            said = f"{build.coat} cures from {heat}, {alloy} melts from {melting}"
            found.append((build.head[0], f"{build.name} ({said})"))
    return tuple(found)


def _listed(planned: tuple[tuple[str, str], ...]) -> str:
    return "; ".join(said for _, said in planned)


def _cures(batches: Batches) -> Iterator[Finding]:
    total, outside, verdicts = len(batches.judged), batches.outside, batches.all["verdict"]
    if total:
        held, pieces = total - len(outside), int(batches.judged["count"].sum())
        good = pieces - int(outside["count"].sum())
        were = "was" if held == 1 else "were"
        text = (
            f"{held} of {counted(total, 'batch', 'batches')} ({good} of {counted(pieces, 'piece')}) {were} "
        )
        text += "cured inside their window."
        text += f" Outside: {batches.named(outside)}." if len(outside) else ""
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
    bench, melted = batches.bench, batches.melted
    if len(melted):
        pieces = int(melted["count"].sum())
        were = "was" if pieces == 1 else "were"
        text = f"{counted(pieces, 'head')} {were} cured so hot that the metal itself softens. "
        text += f"{batches.named(melted)}."
        yield Finding(id="heads_softened", text=text, value=pieces, unit="pieces", n=len(melted))
    if batches.planned:
        text = f"In bench.toml, and not to be cured: {_listed(batches.planned)}."
        yield Finding(id="planned_cure", text=text, value=len(batches.planned))
    for alloy in sorted({bench.material_of(mold) for mold in batches.all["mold"]}):
        if bench.items[alloy].kind == "metal" and bench.items[alloy].melts_c is None:
            text = f"Whether {alloy} heads can take a cure is not known: bench.toml states no `melts` for it."
            yield Finding(id="melting_not_known", text=text, group=alloy)


def _flaws(batches: Batches) -> Iterator[Finding]:
    rows, blocked = batches.all, _blocked(batches.all)
    if len(blocked):
        pieces = int(blocked["rejects"].sum())
        text = (
            f"{counted(pieces, 'piece')} in {len(blocked)} of {counted(len(rows), 'batch', 'batches')} came "
        )
        text += "out with a blocked guard hole."
        yield Finding(
            id="blocked_guard_holes", text=text, value=pieces, unit="pieces", n=len(blocked), quiet=True
        )
    total, bad = int(rows["count"].sum()), int(rows["rejects"].sum())
    share = clustered_wilson_interval(bad, total, design_effect(rows["rejects"], rows["count"]))
    counts = rows["rejects"].groupby(rows["flaw"].astype("str").fillna("not said")).sum()
    counts = counts[counts > 0].sort_values(ascending=False, kind="stable")
    named = ", ".join(f"{flaw} {count}" for flaw, count in counts.items())
    text = f"{bad} of {total} coated pieces had to be stripped or scrapped{f': {named}' if named else ''}."
    more: dict[str, Cell] = {str(flaw): int(count) for flaw, count in counts.items()}
    yield make_finding("coat_rejects", text, share, "1", n=total, more=more)


def _blocked(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[(rows["flaw"] == BLOCKED) & (rows["rejects"] > 0)]


def _coat_used(season: Season, span: Span) -> Iterator[Finding]:
    if not season.holds("inventory"):
        return
    bench, moves = season.bench, words(season, "inventory", "move")
    kept, dipped = grouped(season, "inventory", "item").rows, grouped(season, "finishing", "coat").rows
    for coat in sorted(set(season.rows("finishing", span)["coat"])):
        item, rows, done = bench.items[coat], kept.get((coat,), NO_ROWS), dipped[(coat,)]
        step, unit = resolution_uncertainty(item.resolution or 0.0), f"{item.unit}/piece"
        stated = numbers(season, "inventory", "uncertainty")[rows]
        found = used_per_piece(
            moments(season, "inventory")[rows].astype("datetime64[D]").tolist(),
            [moves.names[code] for code in moves.codes[rows].tolist()],
            numbers(season, "inventory", "amount")[rows],
            np.where(np.isnan(stated), step, stated),
            moments(season, "finishing")[done].astype("datetime64[D]").tolist(),
            numbers(season, "finishing", "count")[done],
            start=span.start,
            end=span.end,
        )
        if found is None:
            continue
        each, plan = found.each, _plan(season, coat, done[found.meanwhile])
        text = f"{bench.show(found.used, item.unit, item=coat)} of {coat} went on {found.pieces} pieces "
        text += (
            f"between the counts of {day_words(found.opened, span.end)} and "
            f"{day_words(found.closed, span.end)}, {bench.show(each.estimate, unit)}: "
        )
        if each.estimate <= 0:
            text += "a count is off, or a jar was not written down."
        elif plan is None:
            text += "bench.toml does not plan a coat mass for each of these heads."
        else:
            against = "more than" if each.low > plan else "less than"
            against = "the counts cannot tell it from" if each.low <= plan <= each.high else against
            text += f"{against} the planned {bench.show(plan, unit)}."
        more: dict[str, Cell] = {"planned": plan, "used": found.used, "coverage_factor": 2.0}
        yield Finding(
            id="coat_per_piece",
            text=text,
            value=each.estimate,
            low=each.low,
            high=each.high,
            unit=unit,
            n=found.pieces,
            group=coat,
            more=more,
        )


def _plan(season: Season, coat: str, done: Rows) -> float | None:
    """Grams a piece as the builds of these heads plan it, None unless they plan it for every one."""
    masses: dict[object, list[float]] = {}
    for build in season.bench.builds.values():
        if build.coat == coat and build.coat_mass_g is not None:
            masses.setdefault(build.head, []).append(build.coat_mass_g)
    heads = grouped(season, "finishing", "mold", "cavity").take(done)
    if season.bench.items[coat].unit != "g" or any(head not in masses for head in heads.keys):
        return None
    planned = np.array([sum(masses[head]) / len(masses[head]) for head in heads.keys])[heads.of_row]
    count = numbers(season, "finishing", "count")[done]
    return float((count * planned).sum() / count.sum())


def _by_temperature(batches: Batches) -> tuple[tuple[Table, ...], list[Finding]]:
    """Flaws of dipping over the temperature of the piece, in steps of the unit that the bench prints."""
    warm, us = batches.all[batches.all["part_temp_c"].notna()], batches.bench.system == "us"
    if len(warm) < ENOUGH_WITH_TEMP:
        return (), []
    shown = warm["part_temp_c"] * 1.8 + 32 if us else warm["part_temp_c"]
    cells, tested = [], {}
    for flaw in DIP_FLAWS:
        hits = warm["rejects"].where(warm["flaw"] == flaw, 0)
        bins, trend = binned_shares(shown, hits, warm["count"], BIN_WIDTH[batches.bench.system])
        for each in bins:
            low, high = ((edge - 32) / 1.8 if us else edge for edge in (each.low, each.high))
            share = (each.share.estimate, each.share.low, each.share.high)
            cells.append((flaw, low, high, each.trials, each.events, *share))
        if trend is not None and hits.sum() >= ENOUGH_FLAWED:
            tested[flaw] = trend
    findings = []
    for flaw, p in zip(tested, holm_adjusted([test.p_value for test in tested.values()]), strict=True):
        way = "more often on " + ("hotter pieces" if tested[flaw].slope > 0 else "cooler pieces")
        text = f"{flaw.capitalize()}: {way if p < 0.05 else 'no trend with the temperature of the piece'} "
        more: dict[str, Cell] = {"p": tested[flaw].p_value, "p_adjusted": float(p)}
        text += f"(p = {p:.2g}, {len(warm)} batches)."
        quiet = p >= 0.05
        findings.append(
            Finding(id="flaw_trend", text=text, value=float(p), group=flaw, more=more, quiet=quiet)
        )
    table = Table(
        id="by_part_temp",
        title="Flaws of dipping by the temperature of the piece",
        columns=tuple(TableColumn(name=name, label=label, unit=unit) for name, label, unit in FLAW_COLUMNS),
        rows=tuple(cells),
        note="" if any(not each.quiet for each in findings) else "No flaw shows a trend with it.",
    )
    return (table,), findings


def _actions(batches: Batches) -> Iterator[Action]:
    blocked, outside = _blocked(batches.all), batches.outside
    reasons = [f"In bench.toml: {_listed(batches.planned)}."] if batches.planned else []
    reasons += [f"Cured so, {batches.named(batches.melted)}."] if len(batches.melted) else []
    if reasons:
        yield Action(
            id="cure-melts-heads",
            text=f"Keep {listed(batches.too_soft)} heads out of the oven, where their own metal begins to "
            "melt: use paint that dries in air, or fish them bare.",
            because=" ".join(reasons),
            urgent=True,
        )
    if len(outside):
        yield Action(
            id="cure-window",
            text="Hold each cure inside its window, by a thermometer beside the pieces, timed from when they "
            "are hot.",
            because=f"Outside it: {len(outside)} of {counted(len(batches.judged), 'batch', 'batches')}. "
            f"{batches.named(outside)}.",
        )
    if len(blocked):
        rows = batches.all[batches.all["mold"].isin(blocked["mold"])]
        yield Action(
            id="clear-guard-holes",
            text=f"Clear the guard holes of {' and '.join(sorted(set(blocked['mold'])))} heads while the "
            "powder is only melted, before the cure.",
            because=f"{blocked['rejects'].sum()} of {rows['count'].sum()} came out blocked. Cured powder "
            "must be drilled or burnt off (common practice, no published source).",
        )


def _batch_table(batches: Batches) -> Table:
    names = ("date", "coat", "count", "cure_temp_c", "cure_time_h", "verdict")
    return Table(
        id="batches",
        title="Batches and their cure",
        columns=tuple(TableColumn(name=name, label=label, unit=unit) for name, label, unit in BATCH_COLUMNS),
        rows=tuple(
            (day.date(), coat, int(count), *known(temp, time * 60), verdict)
            for day, coat, count, temp, time, verdict in batches.all[list(names)].itertuples(index=False)
        ),
        note="The verdict is the coat's alone: a head may melt at a cure that is right for its powder.",
        each_span=True,
        print_rows=60,
        paper_rows=None if len(batches.all) <= MOST_LISTED else 0,
    )


@hookimpl
def analyses() -> Iterable[Analysis]:
    """Finishing."""
    return [
        Analysis(
            id="finishing",
            title="Finishing",
            question="Were the coats cured as their powder asks, and what went wrong with them?",
            order=250,
            analyse=analyse,
            needs=("finishing",),
        )
    ]
