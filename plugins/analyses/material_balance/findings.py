"""What the section says: findings, actions and methods."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from math import floor, isfinite, isnan, log10

from benchwater.ledger import midnight, recent
from benchwater.ledger.castings import FEWEST_WEIGHED, OtherUnit
from benchwater.ledger.costs import unit_prices
from benchwater.ledger.fills import SPRUES
from benchwater.ledger.stock import COAT_SHARE, NOMINAL
from benchwater.plugin import Action, Bench, Cell, Finding, Item, Season, Span
from benchwater.statistics.uncertainty import FEWEST_DEGREES
from benchwater.units import figures, show
from benchwater.words import MONTHS, counted, day_words, in_brackets, limits, listed, make_finding

from .balance import Chain, Count, K
from .compute import PACKS, SIGNIFICANCE, UNITS, UNLOGGED, WORK, Blame, Line, MaterialBalance
from .metal import ODD_FACTOR, Dross, LeftOut, MoldYield, OddMass

FEWEST_FOR_YIELD = 20
MOST_SAID = 6
MOST_ODD = 3
WEIGH = "weigh-castings-"
METHODS = (
    "Book closing = opening + received + recovered − in castings (metal and plastic: good ones; inserts: "
    "good ones and rejects; coats: on coated pieces) − used − discarded. The metal of rejects, sprues and "
    "blank fills stays inside; inserts cut out of rejects are `recovered`. Unaccounted = book − counted: "
    "above 0 is missing. A count holds for the end of its day or its own moment, the very first of an item "
    "for the start of its day; of two of one moment the later row stands. Between two counts lies what moved "
    "from the moment of the first up to, not including, that of the next. A balance begins with the last "
    "count up to its first day, rolled forward, else with the first one after. What differs between the last "
    "count before a season and the first in it is said, and is no loss.",
    "Standard uncertainties: a scale's step d gives d/√12 (JCGM 100:2008, F.2.2.1), a stated one wins; packs "
    "received and whole pieces are exact. Combined by the law of propagation (JCGM 100:2008, 5.1 and 5.2), "
    "errors shared by the castings of a cavity added before they are squared; expanded with k = 2 (about "
    "95 %): beyond that an item is missing or surplus, within it it closes. Where the log of the work that "
    "uses an item holds no row at all, what is missing is work not logged.",
    "Castings: as weighed, less the insert's stated mass; else the mean of this season's weighed ones of "
    f"that cavity and material, from {FEWEST_WEIGHED} on; else the nominal mass, its tolerance a rectangular "
    "half-width (JCGM 100:2008, 4.3.7). The step they were weighed with is the scale's in bench.toml where "
    "every weighed row of the cavity and material is a multiple of it, else the last decimal place that any "
    "of these rows uses, in g or oz. Their scatter is pooled over mold and material (JCGM 100:2008, "
    "4.2.4), allowing for few weighings (JCGM 101:2008, 6.4.9), and with fewer than "
    f"{FEWEST_DEGREES} beyond the first of each cavity no less than the tolerance. Where tolerances weigh "
    "most, k = 2 covers more than 95 %. A coat: its recipe's mass on every piece dipped, good to "
    f"±{COAT_SHARE:.0%}, or to half the range where recipes differ by more. Castings of over {ODD_FACTOR:g} "
    f"times their nominal mass, or under 1/{ODD_FACTOR:g} of it, are pointed out (project choice, no "
    "source).",
    "First-pass yield: good castings over good and rejected ones. Metal yield: the mass of the good ones "
    "over that of all poured, blank fills with them; one that is not good weighs what a good one does, and "
    "sprues go round. 95 % intervals: Wilson 1927, on the effective number of castings (Rao & Scott 1992), "
    "the fill being the cluster. Dross: discarded over castings and discarded, expanded with k = 2. Sprues "
    "are melted with every fill and weighed in none, so that of all metal melted a smaller share was lost; "
    "that they take half the castings' metal again is common practice, no source.",
)
CHAIN_METHOD = (
    "Between counts (season only): each count plus the rows up to the next must give the next. Weighted "
    "least squares and global chi-square test: Narasimhan & Jordache 2000; the likeliest error: "
    "measurement test of Mah & Tamhane 1982 with serial elimination, named only at "
    f"p < {SIGNIFICANCE:g} and if the rest then agrees. A decimal place, or a unit written for another, is "
    "named where it brings the amount within twice its uncertainty of what the rest implies (a convention, "
    "no source). Nothing is taken as surer than one step of the scale, or one piece, and stretches as "
    "independent of each other."
)


def findings(result: MaterialBalance) -> tuple[Finding, ...]:
    """Every finding of the section, what is missing first."""
    bench, lines = result.bench, result.lines
    return (
        *items_closed(result),
        *(unaccounted(line, bench, result.whole_season) for line in lines),
        *(imbalance(line, chain, bench) for line, chain in result.chains),
        *(found for line in lines for found in between_seasons(line, bench)),
        *(found for line in lines for found in below_zero(line, bench)),
        *([] if result.other_unit is None else [weighed_in_another_unit(result.other_unit)]),
        *([] if result.left_out is None else [weighed_too_little(result.left_out)]),
        *weighed_oddly(result.odd, bench),
        *(found for each in result.yields for found in yield_findings(each, bench)),
        *(dross_finding(each, bench) for each in result.dross),
        *(entry for line in lines for entry in closings(line, bench)),
    )


def actions(result: MaterialBalance, season: Season) -> tuple[Action, ...]:
    """What to do: look again at a count, look for what left, weigh castings, keep a log."""
    if not result.counted:
        return ()
    by_line = (action for line in result.lines for action in advice(line, season, result.whole_season))
    if result.other_unit is None:
        return (*by_line, *keep_logs(result.lines, result.bench))
    weighed = (action for action in by_line if not action.id.startswith(WEIGH))
    return (ask_for_unit(result.other_unit), *weighed, *keep_logs(result.lines, result.bench))


def methods(result: MaterialBalance) -> tuple[str, ...]:
    """How each number is made, with its published source."""
    return (*METHODS, CHAIN_METHOD) if result.chains else METHODS


def not_said(result: MaterialBalance) -> str:
    """Which items have no balance, where others have one."""
    names = [line.item.name for line in result.lines if line.verdict == "not counted"]
    if not names or not result.counted:
        return ""
    return f"Whether all of {listed(names, 4)} is there: it takes a count before and one after."


def items_closed(result: MaterialBalance) -> Iterator[Finding]:
    """How many books close in the days of the span, and by how much the others do not."""
    counted, bench, days = result.counted, result.bench, _days(result.span)
    if not counted:
        return
    off = [f"{line.item.name} ({how_much(line, bench)})" for line in counted if line.verdict != "closes"]
    closed = len(counted) - len(off)
    text = f"{days} the books of all {closed} items close: the rows explain what is there."
    if len(counted) == 1:
        how = f"does not close: {how_much(counted[0], bench)}" if off else "closes"
        text = f"{days} the book of {counted[0].item.name} {how}."
    elif off:
        how = "do" if len(off) > 1 else "does"
        text = f"{days} {len(off)} of {len(counted)} books {how} not close: {listed(off, MOST_SAID + 1)}."
    found = make_finding("items_closed", text, (float(closed),), "pieces", n=len(counted))
    yield replace(found, headline=True)


def _days(span: Span) -> str:
    """`In July` of a month, else `From 1 March to 31 July`."""
    last = span.end - timedelta(days=1)
    if span.start.day == span.end.day == 1 and (span.start.year, span.start.month) == (last.year, last.month):
        return f"In {MONTHS[last.month - 1]}"
    return f"From {day_words(span.start, span.end)} to {day_words(last, span.end)}"


def between_seasons(line: Line, bench: Bench) -> Iterator[Finding]:
    """What differs between the last count before the season and the first in it: said, and not looked for."""
    winter, first, item = line.balance.winter, line.balance.first, line.item
    if winter is None or first is None:
        return
    off = winter.amount + line.book.between(winter.moment, first.moment).net - first.amount
    if isfinite(off):
        size = bench.show(abs(off), item.unit)
        than = f"{size} {'less' if off > 0 else 'more'} than" if abs(off) > line.step else "as much as"
        text = f"{item.name} opens with the count of {line.day(first.day)}. It is {than} the count of "
        text += f"{line.day(winter.day)} and the rows since say; what went between seasons is not looked for."
        quiet = abs(off) <= line.step
        yield make_finding("between_seasons", text, (off,), item.unit, group=item.name, quiet=quiet)


def weighed_oddly(odd: Sequence[OddMass], bench: Bench) -> Iterator[Finding]:
    """Castings whose mass cannot be theirs: likely a slip of the pen. The books take it as written."""
    for number, row in enumerate(odd):
        place = f"{row.file} line {row.line}"
        each, nominal = bench.show(row.each_g, "g"), bench.show(row.nominal_g, "g")
        text = f"Look again at {place}: castings of {row.mold} {row.cavity} would weigh {each} each "
        text += f"without their inserts, and bench.toml says {nominal}. The books take it as written."
        quiet = number >= MOST_ODD
        yield make_finding("odd_mass", text, (row.each_g,), "g", n=row.pieces, group=place, quiet=quiet)


def weighed_in_another_unit(found: OtherUnit) -> Finding:
    """All masses of castings off by the factor between two units: one question, and none of them is used."""
    text = f"{_all_weigh(found)}: are they {found.unit}? "
    text += "The books leave these masses out, and take the nominal ones."
    return make_finding("masses_in_another_unit", text, (found.times,), "1", n=found.castings)


def ask_for_unit(found: OtherUnit) -> Action:
    """The same question as an action: all that is said of these masses until it is answered."""
    return Action(
        id="unit-of-castings",
        text=f"Look at the unit of the castings you weighed: are they {found.unit}? Write it in the heading "
        "of `mass`.",
        because=f"{_all_weigh(found)}. Until then none of these masses is used.",
    )


def _all_weigh(found: OtherUnit) -> str:
    times, less = (found.times, "") if found.times > 1 else (1 / found.times, "less than ")
    times_words = figures(times, significant=2)
    return f"All {found.castings} weighed castings weigh {times_words} times {less}their nominal mass"


def weighed_too_little(found: LeftOut) -> Finding:
    """Weighed rows that the books leave out, as their castings weigh no more than the inserts in them."""
    text = f"The books leave out {counted(found.rows, 'weighed row')} of castings, from {found.file} line "
    text += f"{found.line} on: they weigh no more than the inserts in them. "
    text += "Are they ounces?" if 2 * found.in_ounces > found.rows else "Look at their mass and its unit."
    return make_finding("mass_left_out", text, (float(found.rows),), "pieces", n=found.rows)


def how_much(line: Line, bench: Bench, *, both: bool = False) -> str:
    """`154 g missing`, as far as the verdict goes; in `both` units where they differ."""
    off = abs(line.balance.unaccounted)
    amount = both_units(off, line.item, bench) if both else bench.show(off, line.item.unit)
    if line.verdict == UNLOGGED:
        return f"{amount} gone, and no {line.log}"
    return f"{amount} missing" if line.verdict == "missing" else f"{amount} more than the book says"


def _finding(
    id: str, text: str, item: Item, value: float, u: float, n: int | None = None, quiet: bool = False
) -> Finding:
    """A finding about an item, with the interval value ± K u; an unknown value has neither."""
    limits = (value, value - K * u, value + K * u)
    return make_finding(id, text, limits, item.unit, n=n, group=item.name, quiet=quiet)


def unaccounted(line: Line, bench: Bench, with_chain: bool) -> Finding:
    """What is unaccounted for; `with_chain` where the chain of counts is reported beside it."""
    balance, unit, name, day = line.balance, line.item.unit, line.item.name, line.day
    off, spread = balance.unaccounted, K * balance.u
    book, counted = bench.show(balance.book, unit), bench.show(balance.counted, unit)
    if balance.first is None:
        text = f"{name} was never counted."
    elif balance.last is None and balance.first.day >= line.end - timedelta(days=1):
        text = f"{name} was counted on {day(balance.first.day)}, {book}: its next count closes the book."
    elif balance.last is None:
        text = f"{name} was not counted again after {day(balance.first.day)}; {book} by the book. Count it "
        text += "to close the book."
    elif isnan(off):
        text = f"{name} cannot be balanced: see the note with the table."
    elif line.verdict == "closes":
        exact = "" if spread else ", 0 unaccounted"
        text = f"{name} closes: {book} by the book, {counted} counted{exact}."
    else:
        range_ = limits(lambda amount: bench.show(amount, unit), off - spread, off + spread)
        text = (
            f"{name}: {how_much(line, bench, both=True)} since the count of {day(balance.first.day)}"
            f"{f' ({range_})' if spread > line.step else ''}: {book} by the book, {counted} from the count "
            f"of {day(balance.last.day)}."
        )
        text += _reject_words(line) + _unlogged_words(line)
        if line.slips and not (with_chain and line.chain is not None):
            text += f" Most likely {blame_words(line, line.slips[0], bench)}."
    rows = len(balance.closed) + 2 if balance.last is not None else None
    return _finding("unaccounted", text, line.item, off, balance.u, rows, quiet=line.verdict == "closes")


def _reject_words(line: Line) -> str:
    """How rejects may explain that more inserts were counted than the book says."""
    if line.discarded_from_rejects:
        return (
            f" {line.balance.closed.by_kind()['discarded']:g} were `discarded`: these may be the ones from "
            "rejects, which had left when they were cast in and need no row."
        )
    more = -line.balance.unaccounted
    if line.verdict == "surplus" and more <= line.rejected and not whole_packs(more, line.item):
        return f" {line.rejected} went into rejects: those cut out and kept need a `recovered` row."
    return ""


def whole_packs(amount: float, item: Item) -> int:
    """How many packs an amount is, 0 where it is no whole number of them."""
    packs = amount / item.pack if item.pack else 0.0
    return int(packs) if packs == int(packs) else 0


def _unlogged_words(line: Line) -> str:
    if line.verdict == UNLOGGED:
        used_on = WORK[line.item.kind][2]
        return f" There is no {line.log}: what went into {used_on} is not in the book."
    if line.verdict == "missing" and line.quiet and line.log:
        return f" The {line.log} holds no row of it between these counts."
    if line.verdict == "missing" and line.quiet and line.item.kind == "fitting":
        return " No `used` row lies between these counts: what went onto baits needs one."
    return ""


def closings(line: Line, bench: Bench) -> Iterator[Finding]:
    """What is on hand by the book and by the last count, for the JSON twin."""
    balance, item = line.balance, line.item
    for id, value, u, words in (
        ("book_closing", balance.book, balance.book_u, "by the book at the close"),
        ("counted_closing", balance.counted, balance.counted_u, "from the last count"),
    ):
        if isfinite(value):
            text = f"{item.name}: {bench.show(value, item.unit)} {words}."
            yield _finding(id, text, item, value, u, quiet=True)


def below_zero(line: Line, bench: Bench) -> Iterator[Finding]:
    """An item used before it was received, or never received at all."""
    lowest, item = line.lowest, line.item
    if lowest is None or lowest.amount >= -K * lowest.u - 1e-9 * max(1.0, abs(line.balance.opening or 0.0)):
        return
    short, day = -lowest.amount, line.day(lowest.day)
    amount = bench.show(short, item.unit)
    if line.balance.first is None:
        text = f"{item.name} was never counted; by {day} its rows took out {amount} more than they brought: "
        text += "at least that much was on hand before."
    else:
        text = f"{item.name}: by {day} the rows took out {amount} more than there was. "
        text += "Something came in earlier than its row says, or without one, or a count is off."
    yield _finding("book_below_zero", text, item, short, lowest.u, quiet=line.balance.first is None)


def imbalance(line: Line, chain: Chain, bench: Bench) -> Finding:
    """Whether an item's counts and the rows between them can all be right, and what most likely is not."""
    result, item = chain.result.reconciliation, line.item
    text = f"{item.name}: its {len(chain.counts)} counts and the rows between them agree."
    if not chain.result.agrees:
        words = "; and ".join(blame_words(line, each, bench) for each in line.blames)
        likely = f"Most likely {words}." if words else "No one or two of them explain it."
        text = f"{item.name}: its counts and rows cannot all be right. {likely}"
    return Finding(
        id="imbalance_chi2",
        text=text,
        value=result.statistic,
        n=len(chain.counts),
        group=item.name,
        more={"p": result.p_value, "df": result.degrees_of_freedom},
        quiet=chain.result.agrees,
    )


def count_notes(line: Line, span: Span, bench: Bench) -> Iterator[str]:
    """What has to be said of the counts of an item."""
    item, first, book = line.item, line.balance.first, line.book
    for before, after in book.recounted:
        if span.start <= after.day < span.end:
            both = " and ".join(bench.show(count.amount, item.unit) for count in (before, after))
            yield f"{item.name} was counted twice on {line.day(after.day)}, {both}: the later row stands."
    if first is not None and first.day > span.start:
        earlier = len(book.between(midnight(span.start), first.moment))
        if earlier:
            rows = f"{counted(earlier, 'earlier row')} {'is' if earlier == 1 else 'are'}"
            day = line.day(first.day)
            yield f"{item.name} was first counted on {day}: its balance begins there, {rows} not in it."


def yield_findings(found: MoldYield, bench: Bench) -> Iterator[Finding]:
    """First-pass and metal yield of a mold."""
    mold, total = found.mold, found.good + found.rejects
    if found.first_pass is not None:
        few = total < FEWEST_FOR_YIELD
        share = str(found.good) if few else bench.show(found.first_pass.estimate, "1")
        text = f"{mold}: {share} of {total} castings were good at the first pour"
        text += ", too few to judge by." if few else "."
        yield make_finding("first_pass_yield", text, found.first_pass, "1", n=total, group=mold, quiet=True)
    if found.metal is not None and found.poured_g is not None:
        share, amount = bench.show(found.metal.estimate, "1"), bench.show(found.poured_g, "g")
        text = f"{mold}: {share} of the {amount} poured became good castings; the rest goes round again."
        yield make_finding(
            "metal_yield", text, found.metal, "1", n=total + found.blanks, group=mold, quiet=True
        )


def dross_finding(found: Dross, bench: Bench) -> Finding:
    """The share of a metal that was skimmed or thrown away."""
    share, amount = bench.show(found.share.estimate, "1"), bench.show(found.discarded, "g")
    less = found.discarded / (SPRUES * (found.melted - found.discarded) + found.discarded)
    share += in_brackets(lambda value: bench.show(value, "1"), found.share.low, found.share.high)
    text = f"{found.item}: {amount} was skimmed or thrown away, {share} of the metal that the log weighs. "
    text += "Nobody weighs the sprues, which are melted too: if they hold half as much as the castings, as "
    text += f"is common, it was {bench.show(less, '1')} of the melt."
    more: dict[str, Cell] = {"with_customary_sprues": less}
    return make_finding("dross_rate", text, found.share, "1", n=found.rows, group=found.item, more=more)


def blame_words(line: Line, alternatives: Sequence[Blame], bench: Bench) -> str:
    """What most likely went wrong: a count, or a stretch between two; alternatives with `or`."""
    item, parts = line.item, []
    for blame in alternatives:
        if blame.count is not None:
            parts.append(f"the count of {line.day(blame.count.day)} looks {slip_words(item, blame, bench)}")
        elif blame.stretch is not None:
            before, after = blame.stretch
            how = "left" if blame.gap > 0 else "came in"
            gap = abs(blame.gap) if item.unit != "pieces" else round(abs(blame.gap))
            amount = bench.show(gap, item.unit)
            days = f"{line.day(before.day)} and {line.day(after.day)}"
            parts.append(f"{amount} {how} without a row between {days}")
    return ", or ".join(parts)


def slip_words(item: Item, blame: Blame, bench: Bench) -> str:
    """How a count was written wrong: a decimal place, packs for pieces, one unit for another."""
    found, implied = (as_kept(float(f"{amount:.6g}"), item, bench) for amount in (blame.found, blame.implied))
    if blame.slip is None:
        return "mistyped"
    if isinstance(blame.slip, float):
        times, size = max((blame.slip, "large"), (1 / blame.slip, "small"))
        how = f"{times:g} times too {size}"
    elif blame.slip == PACKS:
        how = f"counted in packs of {item.pack:g}"
    else:
        written, meant = blame.slip
        number = blame.found / UNITS[item.unit][written]
        how = f"like {number:.6g} {meant} written as {written}"
    return f"{how} ({found} for {implied})"


def advice(line: Line, season: Season, with_chain: bool) -> Iterator[Action]:
    """What to do about one item; `with_chain` where the chain of counts and what it blames are reported."""
    bench, item, balance, lately = season.bench, line.item, line.balance, recent(season, "inventory").start
    certain = [each for each in line.blames if len(each) == 1 or all(b.slip is not None for b in each)]
    blamed = [(blame, blame.count) for each in certain for blame in each if blame.count is not None]
    for blame, count in blamed if with_chain else ():
        yield _look_again(line, blame, count, bench)
    if line.verdict == "not counted":
        return
    counts = [count for _, count in blamed]
    off = line.verdict in {"missing", "surplus"}
    if off and not line.slips and balance.first not in counts and balance.last not in counts:
        yield _search(line, season, lately)
    shared = balance.closed.shared_by_source(signed=False).items()
    nominal = {source.removeprefix(NOMINAL): u for source, u in shared if source.startswith(NOMINAL)}
    worst = max(nominal, key=lambda source: nominal[source], default="")
    if worst and nominal[worst] ** 2 > balance.u**2 / 2:
        yield Action(
            id=f"{WEIGH}{item.name}",
            text=f"Weigh {FEWEST_WEIGHED} or more good castings of {worst} and log their mass.",
            because=f"Its nominal mass makes most of the {margin(K * balance.u, item.unit, bench)} that the "
            f"balance of {item.name} leaves open.",
        )


def _look_again(line: Line, blame: Blame, count: Count, bench: Bench) -> Action:
    item, because = line.item, "Without this one count the others agree with the rows between them."
    if blame.slip is not None:
        because = f"It looks {slip_words(item, blame, bench)}; with that put right the rest agrees."
    return Action(
        id=f"recount-{item.name}-{count.day}",
        text=f"Look again at the count of {item.name} of {line.day(count.day)}: the row says "
        f"{both_units(count.amount, item, bench)}.",
        because=because,
    )


def keep_logs(lines: Sequence[Line], bench: Bench) -> Iterator[Action]:
    """One action a log that is not kept and that would explain what is gone."""
    for log in dict.fromkeys(line.log for line in lines if line.verdict == UNLOGGED):
        gone = [line for line in lines if line.verdict == UNLOGGED and line.log == log]
        names = ", ".join(
            f"{bench.show(line.balance.unaccounted, line.item.unit)} of {line.item.name}" for line in gone
        )
        yield Action(
            id=f"keep-{log.replace(' ', '-')}",
            text=f"Keep a {log}, or log what is `used`.",
            because=f"Without it nobody can tell whether {names} was used or lost.",
        )


def _search(line: Line, season: Season, lately: date) -> Action:
    """What to do about an item that is missing or surplus, in the stretch that the chain points to.

    Where that ended before `lately`, and the counts since then agree, the advice holds: keep counting.
    """
    bench, balance, item, chain = season.bench, line.balance, line.item, line.chain
    assert balance.first is not None
    assert balance.last is not None
    first, last, again = balance.first, balance.last, " Count it once more first."
    size = abs(balance.unaccounted)
    pointed = [each for each in line.blames if each[0].stretch is not None]
    if chain is not None and len(pointed) == 1 and pointed[0][0].stretch is not None:
        before, after = pointed[0][0].stretch
        if first.moment <= before.moment and after.moment <= last.moment:
            first, last = before, after
            gap = abs(pointed[0][0].gap)
            if abs(gap - size) > K * balance.u:
                size = gap if item.unit != "pieces" else round(gap)
            if len(pointed[0]) == 1:
                again = ""
            elif pointed[0][1].count is chain.counts[0]:
                again = f" Or its count of {line.day(first.day)} was off."
    amount, day = both_units(size, item, bench), line.day
    amount = f"{amount} {item.name}" if item.unit == "pieces" else f"{amount} of {item.name}"
    if last.day < lately:
        way, verb = ("log", "came in") if line.verdict == "surplus" else ("look-for", "left")
        return Action(
            id=f"{way}-{item.name}",
            text=f"Keep counting {item.name}: its counts since {day(last.day)} agree with the rows.",
            because=f"{amount} {verb} without a row between {day(first.day)} and {day(last.day)}.",
            holds=True,
        )
    when = f"between {day(first.day)} and {day(last.day)}"
    room = f"the rows leave room for {margin(K * balance.u, item.unit, bench)}"
    room = room if K * balance.u > line.step else "the rows are exact to the scale"
    book, found = bench.show(balance.book, item.unit), bench.show(balance.counted, item.unit)
    because = f"{book} by the book, {found} counted{'; ' + room if balance.u else ''}."
    if line.verdict == "surplus" and not balance.u and (packs := whole_packs(size, item)):
        because += f" That is just {counted(packs, 'pack')}: a purchase without its row?"
    if line.discarded_from_rejects:
        text = f"Look at the `discarded` rows of {item.name} {when}: take out those of inserts cut out of "
        text += "rejects."
        return Action(id=f"discarded-{item.name}", text=text, because=because)
    if line.verdict == "surplus":
        text = f"Find out where {amount} came from {when}, and log it.{again}"
        return Action(id=f"log-{item.name}", text=text, because=because)
    price = unit_prices(season, midnight(season.end))[item.name]
    return Action(
        id=f"look-for-{item.name}",
        text=f"Look for {amount} that left without a row {when}.{again}",
        because=because,
        worth=None if price is None else size * price,
        worth_unit=None if price is None else "money",
    )


def margin(value: float, unit: str, bench: Bench) -> str:
    """`±0.62 oz`: an uncertainty, in two figures."""
    size = abs(float(bench.show(value, unit).split()[0].replace("−", "-")))
    digits = max(0, 1 - floor(log10(size))) if size else None
    return f"±{bench.show(value, unit, digits)}"


def both_units(value: float, item: Item, bench: Bench) -> str:
    """`1.09 lb (494 g)`: as the bench prints it, and in g or mL: a row may be written in either."""
    shown = bench.show(value, item.unit)
    kept = show(value, item.unit, system="metric", print_unit=item.unit) if item.unit != "pieces" else shown
    return shown if bench.system == "metric" or kept == shown else f"{shown} ({kept})"


def as_kept(value: float, item: Item, bench: Bench) -> str:
    """`494 g`: as the bench prints it, or as the item is kept where that is the other system."""
    kept = bench.show(value, item.unit, item=item.name)
    foreign = ("g", "kg", "mL", "L") if bench.system == "us" else ("oz", "lb", "fl oz")
    return kept if kept.endswith(tuple(f" {unit}" for unit in foreign)) else bench.show(value, item.unit)
