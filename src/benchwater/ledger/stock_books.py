"""The books of a season: for every item, its counts and every movement the logs account for.

What several analyses must agree on, written once: the material balance closes these books, the cost prices
them, and the plan takes what is on hand from them. Rules: received and recovered stock enters; good castings
(metal and inserts), coat on coated pieces, used and discarded stock leaves; rejects, sprues and blank fills
stay inside the shop.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import isfinite, nan

import numpy as np

from benchwater.ledger import computed_once
from benchwater.ledger.casting_masses import OUNCE_G, CastingMass, casting_mass, net_masses
from benchwater.ledger.log_columns import NO_ROWS, Rows, grouped, moments, numbers, words
from benchwater.ledger.movements import Movements, joined
from benchwater.ledger.poured import Poured, castings
from benchwater.ledger.stock import Ledger, close_books
from benchwater.ledger.weighing import reading_step
from benchwater.plugin.bench import Item
from benchwater.plugin.season import Season
from benchwater.statistics.uncertainty import rectangular_uncertainty, resolution_uncertainty

ENTERS = ("received", "recovered")
FLOWS = (*ENTERS, "in_castings", "used", "discarded")
COAT_SHARE = 0.10
NOMINAL = "nominal mass of "
IN_CASTINGS = "in_castings"
OUNCE_ML = 29.5735295625


@dataclass(slots=True)
class Book:
    """One item with its ledger and the step of its scale.

    `rejected` are the inserts that went into rejects; `masses` what a casting takes, by mold and cavity.
    """

    item: Item
    ledger: Ledger = field(default_factory=Ledger)
    step: float = 0.0
    rejected: Ledger = field(default_factory=Ledger)
    masses: dict[tuple[str, str], CastingMass] = field(default_factory=dict)


Entries = defaultdict[str, list[Movements]]


@computed_once
def keep_books(season: Season) -> tuple[dict[str, Book], tuple[str, ...]]:
    """A book for every item of the bench, and what has to be said about how they were kept."""
    books = {name: Book(item) for name, item in season.bench.items.items()}
    entries: Entries = defaultdict(list)
    notes = [
        *_write_inventory(season, books, entries),
        *_write_castings(season, books, entries),
        *_write_coats(season, books, entries),
    ]
    for name, parts in entries.items():
        books[name].ledger.movements = joined(parts)
    return books, tuple(dict.fromkeys(notes))


def _write_inventory(season: Season, books: Mapping[str, Book], entries: Entries) -> Iterator[str]:
    moves = words(season, "inventory", "move")
    amounts, stated = (numbers(season, "inventory", column) for column in ("amount", "uncertainty"))
    when, enters = moments(season, "inventory"), moves.are(*ENTERS)
    counted, received = moves.are("counted"), moves.are("received")
    of_item = grouped(season, "inventory", "item").rows
    for name, book in books.items():
        rows = of_item.get((name,), NO_ROWS)
        book.step = book.item.resolution or 0.0
        readings = amounts[rows[~received[rows]]]
        if book.item.resolution is None and len(readings):
            units = (1.0, OUNCE_G if book.item.unit == "g" else OUNCE_ML)
            book.step = reading_step(readings, units=units)
            step = season.bench.show(book.step, book.item.unit, item=name)
            yield f"{name} states no scale; its rows read like one with a step of {step}."
        read_off = np.where(received, 0.0, resolution_uncertainty(book.step))
        u = np.where(np.isfinite(stated), stated, read_off)
        counts, rows = rows[counted[rows]], rows[~counted[rows]]
        book.ledger.add_counts(when[counts], amounts[counts], u[counts])
        signed = np.where(enters[rows], amounts[rows], -amounts[rows])
        moved = Movements.alike("", when[rows], signed, u=u[rows])
        entries[name].append(replace(moved, kind=moves.codes[rows], kinds=moves.names))


def _write_castings(season: Season, books: Mapping[str, Book], entries: Entries) -> Iterator[str]:
    poured, when = castings(season), moments(season, "pour")
    count = numbers(season, "pour", "count")
    inserts = {what.piece: season.bench.cavity(*what.piece).insert for what in poured.keys}
    for insert in dict.fromkeys(name for name in inserts.values() if name is not None):
        of_it = [what for what in poured.keys if inserts[what.piece] == insert]
        good, bad = (poured.of(what for what in of_it if what.outcome == word) for word in ("good", "reject"))
        entries[insert].append(Movements.alike(IN_CASTINGS, when[good], -count[good]))
        books[insert].rejected.movements = Movements.alike("rejected", when[bad], count[bad])
    for what, rows in poured.rows.items():
        if what.outcome == "good":
            yield from _write_group(season, books, entries, what, rows)


def _write_group(
    season: Season, books: Mapping[str, Book], entries: Entries, what: Poured, rows: Rows
) -> Iterator[str]:
    """The good castings of one mold, cavity and material."""
    (mold, name), material = what.piece, what.material
    bench, book = season.bench, books[material]
    mass = casting_mass(season, what.piece, material)
    when, count = moments(season, "pour")[rows], numbers(season, "pour", "count")[rows]
    net = net_masses(season, what.piece, rows)
    weighed = np.isfinite(net)
    source = f"mean mass of {mold} {name} in {material}" if mass.weighed else f"{NOMINAL}{mold} {name}"
    usual = bench.molds[mold].material
    if not mass.weighed and material != usual and not weighed.all():
        yield f"{mold} {name} in {material}: its nominal mass in {usual} stood in, uncorrected."
    if book.item.unit == "g":
        book.masses[mold, name] = mass
    else:
        weighed, mass = np.zeros(len(rows), dtype=bool), replace(mass, mass_g=nan)
        yield f"{material} is kept by volume without a density: what went into castings is not known."
    moved = Movements.alike(
        IN_CASTINGS,
        when,
        np.where(weighed, -net, -count * mass.mass_g),
        u=np.where(weighed, resolution_uncertainty(mass.step), mass.scatter * np.sqrt(count)),
        shared_u=np.where(weighed, 0.0, count * mass.u),
    )
    entries[material].append(
        replace(moved, source=np.where(weighed, 0, 1).astype(np.int32), sources=("", source))
    )


def _write_coats(season: Season, books: Mapping[str, Book], entries: Entries) -> Iterator[str]:
    """What went onto coated pieces. The `source` of an error is a coat on the pieces of one cavity."""
    coated = grouped(season, "finishing", "mold", "cavity", "coat")
    when, count = moments(season, "finishing"), numbers(season, "finishing", "count")
    sources, mean, u = [], np.full(len(coated.keys), nan), np.zeros(len(coated.keys))
    for number, (mold, cavity, coat) in enumerate(coated.keys):
        recipes = [build for build in season.bench.builds.values() if build.coat == coat]
        same = [build for build in recipes if (mold, cavity) in (build.head, build.trailer)]
        masses = [build.coat_mass_g for build in same if build.coat_mass_g is not None]
        masses = masses or [build.coat_mass_g for build in recipes if build.coat_mass_g is not None]
        if masses and books[coat].item.unit == "g":
            mean[number], range_ = sum(masses) / len(masses), max(masses) - min(masses)
            u[number] = rectangular_uncertainty(max(COAT_SHARE * mean[number], range_ / 2))
        else:
            yield f"{coat} on {mold} {cavity}: no build says how many grams a piece takes; use not known."
        sources.append(f"coat {coat} on {mold} {cavity}" if isfinite(mean[number]) else "")
    each, shared = mean[coated.of_row], u[coated.of_row]
    everything = Movements.alike(IN_CASTINGS, when, -count * each, shared_u=count * shared)
    everything = replace(everything, source=coated.of_row, sources=tuple(sources))
    for coat in dict.fromkeys(key[2] for key in coated.keys):
        entries[coat].append(everything.take(coated.of(key for key in coated.keys if key[2] == coat)))


def on_hand(book: Book, start: datetime, end: datetime) -> float:
    """The stock at the end of a stretch: the last count in it rolled forward, else by the book, else nan.

    It is the balance's `counted_closing` where there is one, else its `book_closing`.
    """
    balance = close_books(book.ledger, start, end)
    return balance.counted if isfinite(balance.counted) else balance.book
