"""The numbers of the section: each item's balance over a span, its verdict, and what is likeliest wrong."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import permutations
from math import hypot, isnan

from benchwater.ledger import midnight
from benchwater.ledger.castings import OUNCE_G, OtherUnit, castings, other_unit
from benchwater.ledger.stock import OUNCE_ML, scale_steps, stock_notes
from benchwater.plugin import Bench, Item, Season, Span
from benchwater.statistics.uncertainty import combined_uncertainty, resolution_uncertainty
from benchwater.words import day_words

from .balance import (
    Balance,
    Book,
    Chain,
    Count,
    K,
    LowestBook,
    books_of,
    chain_counts,
    close_book,
    lowest_book,
)
from .metal import Dross, LeftOut, MoldYield, OddMass, dross_rates, left_out, mold_yields, odd_masses

ABOUT = 0.25
SIGNIFICANCE = 0.01
UNLOGGED = "work not logged"
VERDICTS = ("missing", UNLOGGED, "surplus", "closes", "not counted")
WORK = {
    "metal": ("pour", "pour log", "castings"),
    "plastic": ("pour", "pour log", "castings"),
    "insert": ("pour", "pour log", "castings"),
    "coat": ("finishing", "finishing log", "pieces"),
}
Slip = float | tuple[str, str]
UNITS: Mapping[str, Mapping[str, float]] = {
    "g": {"g": 1.0, "oz": OUNCE_G, "lb": 16 * OUNCE_G, "kg": 1000.0},
    "mL": {"mL": 1.0, "fl oz": OUNCE_ML, "L": 1000.0},
}
PACKS = ("packs", "pieces")
DECIMAL_SLIPS: Mapping[Slip, float] = {power: power for power in (10.0, 0.1, 100.0, 0.01)}
SHARPEST = 25.0
WITHIN = 2.0
READ_TO = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Blame:
    """One thing that, if wrong, explains the books: a count, or the rows of a stretch between two counts.

    `slip` is how it was mistyped, where a slip of the pen explains it: how many times too large, or the unit
    written and the unit meant; `found` is then the amount as written and `implied` what it should be. `gap`
    is what left without a row in a stretch; below 0 it came in.
    """

    count: Count | None = None
    stretch: tuple[Count, Count] | None = None
    gap: float = 0.0
    slip: Slip | None = None
    found: float = 0.0
    implied: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """One item's balance over the span, the chain of its counts since the season opened, what is to blame.

    `log` names the log of the work the item goes into; `unlogged` is True where that log has no row, `quiet`
    where no row of it takes this item between the two counts. `rejected` inserts went into rejects between
    them. `lowest` is the book at its lowest, `end` the day after the span's last, `step` that of the scale.
    """

    book: Book
    balance: Balance
    chain: Chain | None
    blames: tuple[tuple[Blame, ...], ...]
    lowest: LowestBook | None
    log: str
    unlogged: bool
    quiet: bool
    rejected: int
    end: date
    step: float

    def day(self, day: date) -> str:
        """A day in words."""
        return day_words(day, self.end)

    @property
    def item(self) -> Item:
        """The item."""
        return self.book.item

    @property
    def verdict(self) -> str:
        """One of `VERDICTS`."""
        off = self.balance.unaccounted
        if isnan(off):
            return "not counted"
        if closes(self.balance):
            return "closes"
        if off < 0:
            return "surplus"
        return UNLOGGED if self.unlogged else "missing"

    @property
    def discarded_from_rejects(self) -> bool:
        """Whether the surplus of an insert is about what was discarded, to `ABOUT` of that, or one piece."""
        discarded = self.balance.closed.by_kind().get("discarded", 0.0)
        if self.verdict != "surplus" or not self.rejected or not discarded:
            return False
        return abs(self.balance.unaccounted + discarded) <= max(1.0, ABOUT * discarded) + K * self.balance.u

    @property
    def slips(self) -> list[tuple[Blame, ...]]:
        """The slips of the pen in the first or last count of the balance."""
        ends = (self.balance.first, self.balance.last)
        return [
            each
            for each in self.blames
            if all(blame.slip is not None for blame in each) and any(blame.count in ends for blame in each)
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialBalance:
    """All numbers of the section; `lines` begin with what is off, as `VERDICTS` are ordered."""

    bench: Bench
    span: Span
    lines: tuple[Line, ...]
    yields: tuple[MoldYield, ...]
    dross: tuple[Dross, ...]
    odd: tuple[OddMass, ...]
    left_out: LeftOut | None
    other_unit: OtherUnit | None
    notes: tuple[str, ...]

    @property
    def whole_season(self) -> bool:
        """Whether the span is the season to date: then the chains of counts are reported too."""
        return self.span.name == "season"

    @property
    def counted(self) -> list[Line]:
        """The lines with a count at both ends."""
        return [line for line in self.lines if line.verdict != "not counted"]

    @property
    def chains(self) -> list[tuple[Line, Chain]]:
        """The lines whose chain of counts is reported."""
        lines = self.lines if self.whole_season else ()
        return [(line, line.chain) for line in lines if line.chain is not None]


def closes(balance: Balance) -> bool:
    """Whether what is unaccounted for is known, and within its expanded uncertainty."""
    return abs(balance.unaccounted) <= K * balance.u + 1e-9 * max(1.0, abs(balance.book))


def compute(season: Season, span: Span) -> MaterialBalance:
    """The balance of every item, and the yield and dross of what was poured, over the span."""
    lines = [balance_line(book, season, span) for book in books_of(season)]
    return MaterialBalance(
        bench=season.bench,
        span=span,
        lines=tuple(sorted(lines, key=lambda line: VERDICTS.index(line.verdict))),
        yields=mold_yields(season, span),
        dross=dross_rates(season, span),
        odd=odd_masses(season, span),
        left_out=left_out(season, span),
        other_unit=other_unit(season),
        notes=stock_notes(season),
    )


def balance_line(book: Book, season: Season, span: Span) -> Line:
    """Close an item's book over the span, chain its counts, and look for what is to blame."""
    start, end, chain, item = midnight(span.start), midnight(span.end), None, book.item
    opens = midnight(season.start)
    opened = close_book(book, opens, end, opens).first
    step = 1.0 if item.unit == "pieces" else scale_steps(season)[item.name] or 1.0
    if opened is not None:
        least = resolution_uncertainty(step)
        chain = chain_counts(book, opened.moment, least_u=least, significance=SIGNIFICANCE)
    balance = close_book(book, start, end, opens)
    kind, log, _ = WORK.get(item.kind, ("", "", ""))
    worked = len(balance.closed.of_kind("in_castings", "used")) > 0
    blames = () if closes(balance) else blame_two_counts(item, balance)
    return Line(
        book=book,
        balance=balance,
        chain=chain,
        blames=blame_chain(item, chain) if chain is not None else blames,
        lowest=lowest_book(book, start, end),
        log=log,
        unlogged=bool(kind) and not worked and not season.holds(kind),
        quiet=not worked,
        rejected=_rejected(season, balance, item) if item.kind == "insert" else 0,
        end=span.end,
        step=step,
    )


def _rejected(season: Season, balance: Balance, insert: Item) -> int:
    """The inserts in rejects between the first and last count of a balance."""
    if balance.first is None or balance.last is None:
        return 0
    table = castings(season)
    inside = (table["date"] >= balance.first.moment) & (table["date"] < balance.last.moment)
    rejects = inside & (table["outcome"] == "reject") & (table["insert"] == insert.name)
    return round(table.loc[rejects, "count"].sum())


def blame_chain(item: Item, chain: Chain) -> tuple[tuple[Blame, ...], ...]:
    """The suspects of a chain, each with the alternatives that it leaves open.

    Where a slip of the pen explains one alternative, those that nothing explains are dropped.
    """
    found = []
    for quantities, implied in zip(chain.result.suspects, chain.result.implied, strict=True):
        alternatives: list[Blame] = []
        for quantity, (value, u) in sorted(zip(quantities, implied, strict=True), reverse=True):
            stretch = quantity - len(chain.counts)
            if stretch < 0:
                alternatives.append(_count(item, chain.counts[quantity], value, u))
            else:
                before, after = chain.counts[stretch : stretch + 2]
                gap = chain.flows[stretch] - value
                alternatives.append(Blame(stretch=(before, after), gap=gap))
        found.append(_explained(alternatives) or tuple(alternatives))
    return tuple(found)


def blame_two_counts(item: Item, balance: Balance) -> tuple[tuple[Blame, ...], ...]:
    """The slips of the pen, in either count, that explain a balance that is off."""
    first, last = balance.first, balance.last
    if first is None or last is None or isnan(balance.unaccounted):
        return ()
    flow, flow_u = balance.closed.net, balance.closed.uncertainty()
    found = _explained(
        [
            _count(item, last, first.amount + flow, combined_uncertainty([first.u, flow_u])),
            _count(item, first, last.amount - flow, combined_uncertainty([last.u, flow_u])),
        ]
    )
    return (found,) if found else ()


def _explained(alternatives: Sequence[Blame]) -> tuple[Blame, ...]:
    return tuple(each for each in alternatives if each.slip is not None)


def _slips(item: Item) -> dict[Slip, float]:
    in_packs: dict[Slip, float] = {PACKS: 1 / item.pack} if item.unit == "pieces" and item.pack else {}
    return {**DECIMAL_SLIPS, **unit_slips(UNITS.get(item.unit, {})), **in_packs}


def _count(item: Item, count: Count, implied: float, u: float) -> Blame:
    slip = likeliest_slip(count.amount, count.u, implied, u, _slips(item))
    return Blame(count=count, slip=slip, found=count.amount, implied=implied)


def unit_slips(units: Mapping[str, float]) -> dict[Slip, float]:
    """By (unit written, unit meant): how many times too large that made the amount.

    `units` are the sizes of units of one kind in any one unit: 10 oz written as 10 g is 1 / 28.35 of it.
    """
    return {(written, meant): units[written] / units[meant] for written, meant in permutations(units, 2)}


def likeliest_slip(
    found: float, found_u: float, implied: float, implied_u: float, slips: Mapping[Slip, float]
) -> Slip | None:
    """The slip that made `found` out of what other records say it must be, `implied`; None where none fits.

    `slips` are by key how many times too large they made it. One fits where found / slip and `implied` differ
    by at most `WITHIN` times their joint standard uncertainty; of several the nearest, the earlier of equals.
    `found_u` is that of the scale, which no slip changes; besides, an amount is taken to be read to `READ_TO`
    of itself. None is named where `implied` is not above `SHARPEST` times its own uncertainty, as by then
    some slip or other fits nearly any amount. A convention, no source.
    """
    if implied <= SHARPEST * implied_u or found == 0:
        return None
    best: Slip | None = None
    nearest = WITHIN
    spread = hypot(implied_u, found_u, READ_TO * implied)
    for key, slip in slips.items():
        off = abs(found / slip - implied) / spread
        if off < nearest:
            best, nearest = key, off
    return best
