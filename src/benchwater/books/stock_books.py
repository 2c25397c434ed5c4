"""The books of a season: for every item, its counts and every movement the logs account for.

What several analyses must agree on, written once: the material balance closes these books, the cost prices
them, and the plan takes what is on hand from them. Rules: received and recovered stock enters; good castings
(metal and inserts), coat on coated pieces, used and discarded stock leaves; rejects, sprues and blank fills
stay inside the shop.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import isfinite, isnan, nan, sqrt

from benchwater.books.casting_masses import OUNCE_G, CastingMass, casting_mass, net_mass
from benchwater.books.log_rows import log_rows, number_or_nan
from benchwater.books.once import once_a_season
from benchwater.mathematics.stock import Ledger, Movement, close_books
from benchwater.mathematics.uncertainty import rectangular_uncertainty, resolution_uncertainty
from benchwater.mathematics.weighing import reading_step
from benchwater.plugin.bench import Item
from benchwater.plugin.season import Season

ENTERS = ("received", "recovered")
FLOWS = (*ENTERS, "in_castings", "used", "discarded")
COAT_SHARE = 0.10
NOMINAL = "nominal mass of "
OUNCE_ML = 29.5735295625


@dataclass(slots=True)
class Book:
    """One item with its ledger and the step of its scale.

    `rejected` is when how many inserts went into rejects; `masses` what a casting takes, by mold and cavity.
    """

    item: Item
    ledger: Ledger = field(default_factory=Ledger)
    step: float = 0.0
    rejected: list[tuple[datetime, int]] = field(default_factory=list)
    masses: dict[tuple[str, str], CastingMass] = field(default_factory=dict)


@once_a_season
def keep_books(season: Season) -> tuple[dict[str, Book], tuple[str, ...]]:
    """A book for every item of the bench, and what has to be said about how they were kept."""
    books = {name: Book(item) for name, item in season.bench.items.items()}
    notes = [
        *_write_inventory(season, books),
        *_write_castings(season, books),
        *_write_coats(season, books),
    ]
    return books, tuple(dict.fromkeys(notes))


def _write_inventory(season: Season, books: Mapping[str, Book]) -> Iterator[str]:
    rows = list(log_rows(season, "inventory", "date", "item", "move", "amount", "uncertainty"))
    for name, book in books.items():
        readings = [amount for _, item, move, amount, _ in rows if item == name and move != "received"]
        book.step = book.item.resolution or 0.0
        if book.item.resolution is None and readings:
            book.step = reading_step(readings, units=(1.0, OUNCE_G if book.item.unit == "g" else OUNCE_ML))
            step = season.bench.show(book.step, book.item.unit, item=name)
            yield f"{name} states no scale; its rows read like one with a step of {step}."
    for when, name, move, amount, stated in rows:
        book = books[name]
        u = 0.0 if move == "received" else resolution_uncertainty(book.step)
        u = number_or_nan(stated) if isfinite(number_or_nan(stated)) else u
        if move == "counted":
            book.ledger.add_count(when, amount, u)
        else:
            signed = amount if move in ENTERS else -amount
            book.ledger.movements.append(Movement(when=when, kind=move, amount=signed, u=u))


def _write_castings(season: Season, books: Mapping[str, Book]) -> Iterator[str]:
    bench = season.bench
    groups: defaultdict[tuple[str, str, str], list[tuple[datetime, int, float]]] = defaultdict(list)
    columns = ("date", "mold", "cavity", "outcome", "count", "mass_g", "material")
    for when, mold, cavity, outcome, count, gross, poured in log_rows(season, "pour", *columns):
        insert = bench.cavity(mold, cavity).insert
        if outcome == "reject" and insert is not None:
            books[insert].rejected.append((when, count))
        if outcome == "good":
            material = bench.material_of(mold, poured if isinstance(poured, str) else None)
            groups[mold, cavity, material].append((when, count, number_or_nan(gross)))
        if outcome == "good" and insert is not None:
            hooks = Movement(when=when, kind="in_castings", amount=-float(count))
            books[insert].ledger.movements.append(hooks)
    for key, castings in groups.items():
        yield from _write_group(season, books, key, castings)


def _write_group(
    season: Season,
    books: Mapping[str, Book],
    key: tuple[str, str, str],
    castings: Sequence[tuple[datetime, int, float]],
) -> Iterator[str]:
    """The good castings of one mold, cavity and material."""
    mold, name, material = key
    bench, book = season.bench, books[material]
    mass = casting_mass(season, (mold, name), material)
    nets = [net_mass(bench, (mold, name), count, reading) for _, count, reading in castings]
    source = f"mean mass of {mold} {name} in {material}" if mass.weighed else f"{NOMINAL}{mold} {name}"
    usual = bench.molds[mold].material
    if not mass.weighed and material != usual and any(isnan(net) for net in nets):
        yield f"{mold} {name} in {material}: its nominal mass in {usual} stood in, uncorrected."
    if book.item.unit == "g":
        book.masses[mold, name] = mass
    else:
        nets, mass = [nan] * len(castings), replace(mass, mass_g=nan)
        yield f"{material} is kept by volume without a density: what went into castings is not known."
    for (when, count, _), net in zip(castings, nets, strict=True):
        move = Movement(when=when, kind="in_castings", amount=-net, u=resolution_uncertainty(mass.step))
        if isnan(net):
            move = replace(
                move,
                amount=-count * mass.mass_g,
                u=mass.scatter * sqrt(count),
                source=source,
                shared_u=count * mass.u,
            )
        book.ledger.movements.append(move)


def _write_coats(season: Season, books: Mapping[str, Book]) -> Iterator[str]:
    columns = ("date", "mold", "cavity", "coat", "count")
    for when, mold, cavity, coat, count in log_rows(season, "finishing", *columns):
        recipes = [build for build in season.bench.builds.values() if build.coat == coat]
        same = [build for build in recipes if (mold, cavity) in (build.head, build.trailer)]
        masses = [build.coat_mass_g for build in same if build.coat_mass_g is not None]
        masses = masses or [build.coat_mass_g for build in recipes if build.coat_mass_g is not None]
        move = Movement(when=when, kind="in_castings", amount=nan)
        if masses and books[coat].item.unit == "g":
            mean, range_ = sum(masses) / len(masses), max(masses) - min(masses)
            shared = count * rectangular_uncertainty(max(COAT_SHARE * mean, range_ / 2))
            source = f"coat {coat} on {mold} {cavity}"
            move = replace(move, amount=-count * mean, source=source, shared_u=shared)
        else:
            yield f"{coat} on {mold} {cavity}: no build says how many grams a piece takes; use not known."
        books[coat].ledger.movements.append(move)


def on_hand(book: Book, start: datetime, end: datetime) -> float:
    """The stock at the end of a stretch: the last count in it rolled forward, else by the book, else nan.

    It is the balance's `counted_closing` where there is one, else its `book_closing`.
    """
    balance = close_books(book.ledger, start, end)
    return balance.counted if isfinite(balance.counted) else balance.book
