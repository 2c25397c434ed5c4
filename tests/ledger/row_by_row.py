"""The books kept plainly, one row at a time: slow, and what the columns must agree with."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import groupby
from math import isfinite, nan, sqrt
from typing import Any, NamedTuple

from benchwater.ledger.castings import casting_mass
from benchwater.ledger.costs import Facts
from benchwater.ledger.fills import COLD, HOT
from benchwater.ledger.fish import fish_standard
from benchwater.ledger.stock import COAT_SHARE, NOMINAL
from benchwater.plugin import Bench, Season, Span
from benchwater.statistics.uncertainty import rectangular_uncertainty, resolution_uncertainty


class Movement(NamedTuple):
    """One row of `stock_movements` without its item."""

    when: datetime
    kind: str
    amount: float
    u: float = 0.0
    source: str = ""
    shared_u: float = 0.0


def rows(season: Season, kind: str, *columns: str) -> Iterator[tuple[Any, ...]]:
    if season.holds(kind):
        log = season.log(kind)
        yield from zip(*(log[column].tolist() for column in columns), strict=True)


def midnight(day) -> datetime:
    return datetime(day.year, day.month, day.day)


def _material(season: Season, mold: str, poured: object) -> str:
    return season.bench.material_of(mold, poured if isinstance(poured, str) else None)


def movements(season: Season, steps: Mapping[str, float]) -> dict[str, list[Movement]]:
    """Every movement of every item, in the order of the log; `steps` are those of the scales."""
    bench = season.bench
    found: defaultdict[str, list[Movement]] = defaultdict(list)
    for when, item, kind, amount, stated in rows(
        season, "inventory", "date", "item", "move", "amount", "uncertainty"
    ):
        if kind != "counted":
            u = 0.0 if kind == "received" else resolution_uncertainty(steps[item])
            u = stated if isfinite(stated) else u
            signed = amount if kind in {"received", "recovered"} else -amount
            found[item].append(Movement(when=when, kind=kind, amount=signed, u=u))
    columns = ("date", "mold", "cavity", "outcome", "count", "mass_g", "material")
    for when, mold, name, outcome, count, gross, poured in rows(season, "pour", *columns):
        if outcome == "blank":
            continue
        cavity, material = bench.cavity(mold, name), _material(season, mold, poured)
        hook = 0.0
        if cavity.insert is not None:
            hook = bench.items[cavity.insert].mass_g or 0.0
            found[cavity.insert].append(Movement(when=when, kind="in_castings", amount=-float(count)))
        if outcome == "reject":
            continue
        mass, net = casting_mass(season, (mold, name), material), gross - hook * count
        source = f"mean mass of {mold} {name} in {material}" if mass.weighed else f"{NOMINAL}{mold} {name}"
        if bench.items[material].unit == "g" and net > 0:
            u = resolution_uncertainty(mass.step)
            found[material].append(Movement(when=when, kind="in_castings", amount=-net, u=u))
        else:
            each = mass.mass_g if bench.items[material].unit == "g" else nan
            found[material].append(
                Movement(
                    when=when,
                    kind="in_castings",
                    amount=-count * each,
                    u=mass.scatter * sqrt(count),
                    source=source,
                    shared_u=count * mass.u,
                )
            )
    for when, mold, cavity, coat, count in rows(
        season, "finishing", "date", "mold", "cavity", "coat", "count"
    ):
        masses = coat_masses(bench, (mold, cavity), coat)
        move = Movement(when=when, kind="in_castings", amount=nan)
        if masses:
            mean, range_ = sum(masses) / len(masses), max(masses) - min(masses)
            shared = count * rectangular_uncertainty(max(COAT_SHARE * mean, range_ / 2))
            source = f"coat {coat} on {mold} {cavity}"
            move = Movement(
                when=when, kind="in_castings", amount=-count * mean, source=source, shared_u=shared
            )
        found[coat].append(move)
    return dict(found)


def coat_masses(bench: Bench, piece: tuple[str, str], coat: str) -> list[float]:
    """What builds say that a coat on a piece weighs: those of the piece, else all with the coat."""
    recipes = [b for b in bench.builds.values() if b.coat == coat and bench.items[coat].unit == "g"]
    same = [build for build in recipes if piece in (build.head, build.trailer)]
    masses = [build.coat_mass_g for build in same if build.coat_mass_g is not None]
    return masses or [build.coat_mass_g for build in recipes if build.coat_mass_g is not None]


def counts(season: Season) -> dict[str, list[tuple[datetime, float]]]:
    """By item, the moments its counts stand for and what was found: the later of two of one moment."""
    found: defaultdict[str, dict[datetime, float]] = defaultdict(dict)
    for when, item, kind, amount in rows(season, "inventory", "date", "item", "move", "amount"):
        if kind == "counted":
            whole_day = when == midnight(when) and bool(found[item])
            found[item][when + timedelta(days=1) if whole_day else when] = amount
    return {item: sorted(by_moment.items()) for item, by_moment in found.items()}


def rejected(season: Season) -> Counter[str]:
    """Inserts that went into rejects."""
    found: Counter[str] = Counter()
    for mold, cavity, outcome, count in rows(season, "pour", "mold", "cavity", "outcome", "count"):
        insert = season.bench.cavity(mold, cavity).insert
        if outcome == "reject" and insert is not None:
            found[insert] += count
    return found


def castings(season: Season) -> tuple[Counter[Any], Counter[Any]]:
    """Good castings by mold, cavity and material; rejects by mold and cavity."""
    good: Counter[Any] = Counter()
    bad: Counter[Any] = Counter()
    for mold, cavity, outcome, count, poured in rows(
        season, "pour", "mold", "cavity", "outcome", "count", "material"
    ):
        if outcome == "good":
            good[mold, cavity, _material(season, mold, poured)] += count
        elif outcome == "reject":
            bad[mold, cavity] += count
    return good, bad


def coats(season: Season) -> dict[tuple[str, str, str], tuple[int, int]]:
    """By mold, cavity and coat: pieces that came out good, and bad ones."""
    made: defaultdict[tuple[str, str, str], tuple[int, int]] = defaultdict(lambda: (0, 0))
    for mold, cavity, coat, count, bad in rows(
        season, "finishing", "mold", "cavity", "coat", "count", "rejects"
    ):
        good, spoilt = made[mold, cavity, coat]
        made[mold, cavity, coat] = good + count - bad, spoilt + bad
    return dict(made)


def running(steps) -> list[tuple[datetime, float]]:
    """The total after each moment."""
    total, found = 0.0, {}
    for when, number in sorted(steps):
        total += number
        found[when] = total
    return list(found.items())


def seen(season: Season) -> dict[str, list[tuple[datetime, float]]]:
    """By build, when how many baits were on the water that had not been there before."""
    new_ones: defaultdict[str, list[tuple[datetime, float]]] = defaultdict(list)
    alive: set[tuple[str, str]] = set()
    ended: Counter[str] = Counter()
    untagged: Counter[str] = Counter()
    alike = ("fished_h", "cause", "water", "angler", "trip", "habitat", "leader")
    told = rows(season, "fishing", "date", "build", "bait", "fate", "count", *alike)
    for when, of_moment in groupby(told, key=lambda row: row[0]):
        here: defaultdict[str, Counter[str]] = defaultdict(Counter)
        over: Counter[str] = Counter()
        for _, build, tag, fate, count, *words in of_moment:
            if isinstance(tag, str):
                if (build, tag) not in alive:
                    new_ones[build].append((when, 1.0))
                alive.add((build, tag))
                if fate != "kept":
                    alive.discard((build, tag))
            else:
                here[build][f"{fate} {words}"] += count
                over[build] += count if fate != "kept" else 0
        for build, several in here.items():
            new = max(0, ended[build] + max(over[build], *several.values()) - untagged[build])
            untagged[build] += new
            ended[build] += over[build]
            if new:
                new_ones[build].append((when, float(new)))
    return dict(new_ones)


def pieces(season: Season) -> tuple[dict[Any, float], dict[Any, float], dict[Any, float]]:
    """Bodies on hand, fittings on baits, and bodies from before the logs, move by move."""
    bench = season.bench
    moves: list[tuple[Any, ...]] = []
    for when, mold, cavity, outcome, count in rows(
        season, "pour", "date", "mold", "cavity", "outcome", "count"
    ):
        if outcome == "good":
            moves.append((when.date(), 0, (mold, cavity, None), count))
    dips = ("date", "mold", "cavity", "coat", "count", "rejects", "cure_temp_c")
    for when, mold, cavity, coat, count, bad, cure_c in rows(season, "finishing", *dips):
        melts_c = bench.items[bench.molds[mold].material].melts_c
        melted = melts_c is not None and cure_c >= melts_c
        moves.append((when.date(), 1, (mold, cavity, None), -(count if melted else count - bad)))
        moves.append((when.date(), 1, (mold, cavity, coat), count - bad))
    fittings = {item for build in bench.builds.values() for item in build.fittings}
    for when, item, move, amount in rows(season, "inventory", "date", "item", "move", "amount"):
        if move == "used" and item in fittings:
            moves.append((when.date(), 2, item, amount))
    gone = [
        (when, name, count)
        for when, name, fate, count in rows(season, "fishing", "date", "build", "fate", "count")
        if fate != "kept"
    ]
    gone += [
        (when, name, amount)
        for when, name, move, amount in rows(season, "builds", "date", "build", "move", "amount")
        if move in {"given", "sold", "discarded"}
    ]
    for when, name, count in gone:
        build = bench.builds[name]
        body = build.head or build.trailer
        if body is not None:
            moves.append((when.date(), 3, (*body, build.coat), -count))
        if build.head is not None and build.trailer is not None:
            moves.append((when.date(), 3, (*build.trailer, None), -count))
        moves += [(when.date(), 3, item, -count * each) for item, each in build.fittings.items()]
    held: defaultdict[object, float] = defaultdict(float)
    earlier: defaultdict[object, float] = defaultdict(float)
    for _, _, what, number in sorted(moves, key=lambda move: move[:2]):
        held[what] += number
        if held[what] < 0:
            earlier[what], held[what] = earlier[what] - held[what], 0.0
    bodies = {what: n for what, n in held.items() if not isinstance(what, str)}
    fitted = {what: n for what, n in held.items() if isinstance(what, str)}
    return bodies, fitted, {what: n for what, n in earlier.items() if n and not isinstance(what, str)}


def losses(season: Season, span: Span) -> tuple[Counter[str], float, int]:
    """Baits that ended by build, bait-hours, and fish, of a span."""
    start, end = midnight(span.start), midnight(span.end)
    ended: Counter[str] = Counter()
    hours, fish = 0.0, 0
    for when, build, fate, count, fished in rows(
        season, "fishing", "date", "build", "fate", "count", "fished_h"
    ):
        if start <= when < end:
            ended[build] += count if fate != "kept" else 0
            hours += count * fished
    for when, count in rows(season, "catch", "date", "count"):
        fish += count if start <= when < end else 0
    return ended, hours, fish


def spoilt(season: Season, span: Span, facts: Facts) -> float:
    """What rejects of a span cost in inserts and coat."""
    start, end, cost = midnight(span.start), midnight(span.end), 0.0
    for when, mold, cavity, outcome, count in rows(
        season, "pour", "date", "mold", "cavity", "outcome", "count"
    ):
        insert = season.bench.cavity(mold, cavity).insert
        if start <= when < end and outcome == "reject" and insert is not None:
            cost += count * facts.spoilt[insert] * (facts.prices[insert] or 0.0)
    for when, mold, cavity, coat, bad in rows(
        season, "finishing", "date", "mold", "cavity", "coat", "rejects"
    ):
        masses = coat_masses(season.bench, (mold, cavity), coat) or [0.0]
        if start <= when < end:
            cost += bad * sum(masses) / len(masses) * (facts.prices[coat] or 0.0)
    return cost


def prices(season: Season, up_to: datetime) -> dict[str, float | None]:
    """Moving average by item with receipts."""
    known = counts(season)
    moved = movements(season, defaultdict(float))
    found = {}
    received = [
        row
        for row in rows(season, "inventory", "date", "item", "move", "amount", "cost")
        if row[2] == "received" and row[0] < up_to
    ]
    for name in dict.fromkeys(row[1] for row in received):
        average, today = None, (datetime.min, 0.0)
        for when, item, _, amount, cost in received:
            if item != name:
                continue
            earlier_today = today[1] if today[0] == when else 0.0
            today = (when, earlier_today + amount)
            if not isfinite(cost) or amount <= 0:
                continue
            last = [(moment, held) for moment, held in known.get(name, []) if moment <= when]
            since, held = last[-1] if last else (datetime.min, 0.0)
            between = [m.amount for m in moved[name] if since <= m.when < when and isfinite(m.amount)]
            before = 0.0 if average is None else max(0.0, held + sum(between)) + earlier_today
            average = ((average or 0.0) * before + cost) / (before + amount)
        found[name] = average
    return found


@dataclass
class Fill:
    """What one filling of a mold gave, and the temperatures its rows say."""

    mold: str
    temps: list[float] = field(default_factory=list)
    castings: int = 0
    rejects: int = 0
    cold: int = 0
    hot: int = 0


def fills(season: Season, span: Span) -> dict[tuple[str, Any], Fill]:
    """By session and number, or what its rows say of the temperature where they give no number."""
    found: dict[tuple[str, Any], Fill] = {}
    poured = season.rows("pour", span).to_dict("records")
    times: defaultdict[str, set[datetime]] = defaultdict(set)
    numbered: set[str] = set()
    for row in poured:
        named = row["session"] if isinstance(row["session"], str) else None
        row["sitting"] = " ".join(filter(None, (f"{row['date']:%Y-%m-%d}", named, row["mold"])))
        times[row["sitting"]].add(row["date"])
        if isfinite(row["fill"]):
            numbered.add(row["sitting"])
    bad = [row for row in poured if row["outcome"] == "reject"]
    unnamed = sum(row["count"] for row in bad if not isinstance(row["flaw"], str))
    as_cold = unnamed > sum(row["count"] for row in bad) / 2
    for row in poured:
        sitting, temp, count = row["sitting"], row["mold_temp_c"], row["count"]
        known, number = isfinite(temp), None if not isfinite(row["fill"]) else int(row["fill"])
        if sitting not in numbered and len(times[sitting]) > 1:
            number = sorted(times[sitting]).index(row["date"]) + 1
        told = f"at {temp if known else nan}" if number is None else number
        fill = found.setdefault((sitting, told), Fill(row["mold"]))
        fill.temps += [temp] if known else []
        fill.castings += count if row["outcome"] != "blank" else 0
        if row["outcome"] == "reject":
            flaw = row["flaw"] if isinstance(row["flaw"], str) else None
            fill.rejects += count
            fill.cold += count if flaw in COLD or (flaw is None and as_cold) else 0
            fill.hot += count if flaw in HOT else 0
    return found


@dataclass
class Trips:
    """Hours by factor, group and trip; fish by factor, group, species (or `all`) and trip; species by key."""

    hours: defaultdict[str, defaultdict[str, defaultdict[str, float]]]
    fish: defaultdict[tuple[str, str, str], Counter[str]]
    species: dict[str, str]
    zero_trips: int = 0
    without_hours: int = 0


def trips(season: Season, span: Span) -> Trips:
    """Every stretch of fishing and every fish put to its trip and its groups."""
    book = Trips(defaultdict(lambda: defaultdict(lambda: defaultdict(float))), defaultdict(Counter), {})
    stretches: defaultdict[Any, list[dict[str, str]]] = defaultdict(list)
    spelt: dict[str, str] = {}
    for row in season.rows("fishing", span).to_dict("records"):
        hours, day = row["fished_h"] * row["count"], row["date"].date()
        if not hours > 0:
            continue
        told = {name: _word(row[name]) for name in ("trip", "water", "build", "angler")}
        trip = f"{day} {told['trip'] or 'at ' + told['water']}"
        stretches[day].append(told | {"name": trip})
        for factor, group in _groups_of(row, season, spelt):
            book.hours[factor][group][trip] += hours
    with_fish = set()
    for row in season.rows("catch", span).to_dict("records"):
        of_fish = _trip_of(row, stretches[row["date"].date()])
        with_fish.add(of_fish)
        if of_fish is None or of_fish not in book.hours["build"].get(row["build"], ()):
            book.without_hours += row["count"]
            continue
        species = book.species.setdefault(fish_standard(row["species"]).key, row["species"])
        for factor, group in _groups_of(row, season, spelt):
            if of_fish in book.hours[factor].get(group, ()):
                for kind in ("all", species):
                    book.fish[factor, group, kind][of_fish] += row["count"]
    book.zero_trips = len(set(book.hours["all"]["all"]) - with_fish)
    return book


def _word(cell: object) -> str:
    return " ".join(cell.split()).casefold() if isinstance(cell, str) else ""


def _groups_of(row, season, spelt):
    yield "all", "all"
    yield "build", row["build"]
    yield "coat", season.bench.builds[row["build"]].coat or "no coat"
    if _word(row["water"]):
        yield "water", spelt.setdefault(_word(row["water"]), row["water"])
    tags = row["habitat"] if isinstance(row["habitat"], tuple) else ()
    yield from (("habitat", tag) for tag in dict.fromkeys(_word(tag) for tag in tags))


def _trip_of(row, left) -> str | None:
    """Trip and water must agree as far as named, build and angler tell the rest."""
    for column, must in (("trip", True), ("water", True), ("build", False), ("angler", False)):
        wanted = _word(row[column])
        same = [each for each in left if each[column] == wanted]
        if wanted:
            left = same or ([each for each in left if not each[column]] if must else left)
    names = {each["name"] for each in left}
    return names.pop() if len(names) == 1 else None
