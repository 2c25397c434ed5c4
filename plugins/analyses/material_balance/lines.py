"""One item's balance over the span, its verdict, and which work and log the item goes into."""

from dataclasses import dataclass
from datetime import date
from math import floor, isnan, log10

from benchwater.ledger import midnight
from benchwater.ledger.stock import Balance, Chain, LowestBook, chain_counts, close_books, lowest_book
from benchwater.ledger.stock_books import Book
from benchwater.plugin import Bench, Item, Season, Span
from benchwater.statistics.uncertainty import resolution_uncertainty
from benchwater.words import day_words

from .blame import Blame, blame_chain, blame_two_counts

K = 2.0
SIGNIFICANCE = 0.01
UNLOGGED = "work not logged"
VERDICTS = ("missing", UNLOGGED, "surplus", "closes", "not counted")
WORK = {
    "metal": ("pour", "pour log", "castings"),
    "plastic": ("pour", "pour log", "castings"),
    "insert": ("pour", "pour log", "castings"),
    "coat": ("finishing", "finishing log", "pieces"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One item's balance over the span, the chain of its counts since the season opened, what is to blame.

    `log` is what the log is called that holds the work it goes into; `unlogged` says that it holds no row,
    and `quiet` that none of this item lies between the two counts. `lowest` is the book at its lowest, `end`
    the day after the span's last.
    """

    book: Book
    balance: Balance
    chain: Chain | None
    blames: tuple[tuple[Blame, ...], ...]
    lowest: LowestBook | None
    log: str
    unlogged: bool
    quiet: bool
    end: date

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
        if abs(off) <= K * self.balance.u + 1e-9 * max(1.0, abs(self.balance.book)):
            return "closes"
        if off < 0:
            return "surplus"
        return UNLOGGED if self.unlogged else "missing"

    @property
    def slips(self) -> list[tuple[Blame, ...]]:
        """What a slip of the pen explains, in a count that the balance rests on."""
        rests_on = (self.balance.first, self.balance.last)
        return [
            each
            for each in self.blames
            if all(blame.slip is not None for blame in each)
            and any(blame.count in rests_on for blame in each)
        ]


def balance_line(book: Book, season: Season, span: Span) -> Line:
    """Close an item's book over the span, chain its counts, and look for what is to blame."""
    start, end, chain = midnight(span.start), midnight(span.end), None
    opened = close_books(book.ledger, midnight(season.start), end).first
    if opened is not None:
        step = 1.0 if book.item.unit == "pieces" else book.step or 1.0
        least = resolution_uncertainty(step)
        chain = chain_counts(book.ledger, opened.moment, least_u=least, significance=SIGNIFICANCE)
    balance = close_books(book.ledger, start, end)
    kind, log, _ = WORK.get(book.item.kind, ("", "", ""))
    worked = len(balance.closed.of_kind("in_castings", "used")) > 0
    off = not isnan(balance.unaccounted) and abs(balance.unaccounted) > K * balance.u
    blames = blame_two_counts(book, balance) if off else ()
    return Line(
        book=book,
        balance=balance,
        chain=chain,
        blames=blame_chain(book, chain) if chain is not None else blames,
        lowest=lowest_book(book.ledger, start, end),
        log=log,
        unlogged=bool(kind) and not worked and not season.holds(kind),
        quiet=not worked,
        end=span.end,
    )


def by_verdict(line: Line) -> int:
    """Where a line stands in the table: what is off comes first."""
    return VERDICTS.index(line.verdict)


def margin(value: float, unit: str, bench: Bench) -> str:
    """`±0.62 oz`: an uncertainty, in two figures."""
    size = abs(float(bench.show(value, unit).split()[0].replace("−", "-")))
    digits = max(0, 1 - floor(log10(size))) if size else None
    return f"±{bench.show(value, unit, digits)}"


def both_units(value: float, item: Item, bench: Bench) -> str:
    """`1.09 lb (494 g)`: as the bench prints it, and as the item is kept where that is the other system."""
    shown, kept = bench.show(value, item.unit), bench.show(value, item.unit, item=item.name)
    foreign = ("g", "kg", "mL", "L") if bench.system == "us" else ("oz", "lb", "fl oz")
    return f"{shown} ({kept})" if kept.endswith(tuple(f" {unit}" for unit in foreign)) else shown
