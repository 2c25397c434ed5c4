"""Says how long and how plump the fish are, by which published standards, and which were the biggest."""

import math
from collections.abc import Hashable, Iterator, Sequence
from typing import Any

import pandas as pd

from benchwater.plugin import Bench, Card, CardLine, Cell, Finding, Span
from benchwater.words import counted, day_words, make_finding

from .compute import ENOUGH_FISH, CaughtSpecies

MOST_ODD = 3
CAUTION = (
    "A hook chooses its fish by size, so these numbers describe the catch and not the water; two months "
    "compare only where the same baits were fished."
)
METHODS = (
    "Length categories: Gabelhouse 1984, N. Amer. J. Fish. Manage. 4:273-285, and for some species the later "
    "authors named below; by the limits published in inches on a bench that prints inches, else by those in "
    "mm. PSD is the share of stock-length fish that reached quality length (Guy, Neumann, Willis & Anderson "
    "2007, Fisheries 32:348), with Wilson's limits (1927), fish taken as independent.",
    "Relative weight is 100 times mass over standard weight (Wege & Anderson 1978), its mean with Student's "
    "t, trips as the unit. 100 is the 75th percentile of the populations behind the equation.",
    "Asked about and not used: a length beyond the record of its species, which is at most its trophy length "
    "over 0.74 (Gabelhouse 1984 set trophy length at 74 to 80 % of it), without a published one beyond three "
    "times the median of at least five rows; a row of more than 100 fish, and 20 times the usual row (both "
    "common practice, no source); a mass under 50 or over 200 % of the standard weight.",
)


def all_findings(
    species: Sequence[CaughtSpecies], in_doubt: pd.DataFrame, bench: Bench, span: Span
) -> Iterator[Finding]:
    """Yields the total, then size, condition and biggest fish of each species, and what is in doubt."""
    yield _total(species)
    for each in species:
        yield from _size(each, bench)
        yield from _condition(each)
        yield from _biggest(each, bench, span)
        yield from _outside(each, bench)
        yield from _odd(each, bench)
    for row in in_doubt.to_dict("records"):
        where = f"{row['file']} line {row['line']}"
        text = f"Look again at {where}: it says {row['count']} fish in one row, so they are not counted here."
        yield Finding(
            id="odd_count", text=text, value=int(row["count"]), unit="pieces", group=where, headline=True
        )
    yield from _without_standard(species)
    yield Finding(id="caution", text=CAUTION, quiet=span.name == "period")


def methods(species: Sequence[CaughtSpecies]) -> tuple[str, ...]:
    """Returns the methods, with the published source of each species' figures."""
    found = list(METHODS)
    for each in sorted(species, key=lambda one: one.name):
        weight, categories = each.standard.weight, each.standard.categories
        sources = [f"standard weight of {weight.source}"] if weight else []
        sources += [f"length categories of {categories.source}"] if categories else []
        found += [f"{each.name}: {', '.join(sources)}."] if sources else []
    return tuple(found)


def card(species: Sequence[CaughtSpecies], bench: Bench, span: Span) -> Card | None:
    """Returns the biggest fish of each species with day, bait and angler; None where none was measured."""
    lines = [
        CardLine(label=f"Biggest {each.name}", text=_biggest_text(each, bench, span), findings=("biggest",))
        for each in species
        if each.biggest is not None
    ]
    return Card(id="best", title="The season's best", order=60, lines=tuple(lines)) if lines else None


def _total(species: Sequence[CaughtSpecies]) -> Finding:
    fish, measured = sum(each.fish for each in species), sum(each.measured_fish for each in species)
    text = f"{fish} fish of {len(species)} species were logged, {measured} with a length."
    return Finding(id="fish", text=text, value=fish, unit="pieces", n=fish)


def _size(species: CaughtSpecies, bench: Bench) -> Iterator[Finding]:
    """The share of stock-length fish that reached quality, and beyond."""
    categories, sizes, psd = species.standard.categories, species.sizes, species.psd
    if sizes is None or categories is None or psd is None:
        return
    stock, us = sizes.at_least("stock"), bench.system == "us"
    limits_at = categories.limits_in if us else categories.limits_mm
    at = [f"{limit:g} {'in' if us else 'mm'}" for limit in limits_at]
    text = (
        f"{species.name}: of {stock} fish of {at[0]} or longer, {sizes.at_least('quality')} were of a good "
    )
    text += f"size ({at[1]} or longer), {sizes.at_least('preferred')} of {at[2]} or longer.{_few(stock)}"
    yield make_finding(
        *("psd", text, psd, "1"),
        n=stock,
        group=species.name,
        quiet=stock < ENOUGH_FISH,
        more={f"psd_{step[0]}": sizes.proportion(step) for step in ("preferred", "memorable", "trophy")},
    )


def _condition(species: CaughtSpecies) -> Iterator[Finding]:
    """The mean relative weight."""
    found = species.condition
    if found is not None and found.mean is not None:
        mean, limits = found.mean, ""
        if math.isfinite(mean.low):
            limits = f" (somewhere between {mean.low:.0f} and {mean.high:.0f} %)"
        text = f"{species.name}: {counted(found.fish, 'weighed fish', 'weighed fish')} came to "
        text += f"{mean.estimate:.0f} % of what a plump fish of that length weighs{limits}.{_few(found.fish)}"
        quiet = found.fish < ENOUGH_FISH
        yield make_finding("relative_weight", text, mean, n=found.fish, group=species.name, quiet=quiet)


def _biggest(species: CaughtSpecies, bench: Bench, span: Span) -> Iterator[Finding]:
    """The longest fish, or the heaviest where none was measured."""
    big = species.biggest
    if big is not None:
        unit = "mm" if big["length_mm"] is not None else "g"
        value = big["length_mm"] if unit == "mm" else big["mass_g"]
        text = f"The biggest {species.name}: {_biggest_text(species, bench, span)}."
        more: dict[str, Cell] = {name: big[name] for name in ("build", "bait", "angler", "mass_g")}
        more["day"] = big["date"].date()
        yield Finding(
            id="biggest",
            text=text,
            value=float(value),
            unit=unit,
            n=species.fish,
            group=species.name,
            more=more,
            quiet=True,
        )


def _biggest_text(species: CaughtSpecies, bench: Bench, span: Span) -> str:
    """`12.5 in (14 oz), 5 May, on perch-grub, by Orrin`."""
    big = species.biggest or {}
    sizes = [
        bench.show(big[name], unit) for name, unit in (("length_mm", "mm"), ("mass_g", "g")) if big[name]
    ]
    size = sizes[0] + (f" ({sizes[1]})" if len(sizes) > 1 else "")
    parts = [size, day_words(big["date"].date(), span.end), f"on {big['build']}"]
    parts += [f"by {big['angler']}"] if big["angler"] else []
    return ", ".join(parts)


def _outside(species: CaughtSpecies, bench: Bench) -> Iterator[Finding]:
    """How many fish the standard weight does not cover."""
    equation, fish = species.standard.weight, species.outside
    if equation is None or fish == 0:
        return
    top = f"to {bench.show(equation.max_mm, 'mm')}" if math.isfinite(equation.max_mm) else "and longer"
    text = f"{species.name}: {fish} of {species.measured_fish} measured fish outside the lengths that the "
    text += f"standard weight is published for ({bench.show(equation.min_mm, 'mm')} {top}), not used for "
    text += "how plump they are."
    yield Finding(
        id="outside_equation", text=text, value=fish, unit="pieces", n=fish, group=species.name, quiet=True
    )


def _odd(species: CaughtSpecies, bench: Bench) -> Iterator[Finding]:
    """Fish longer, thinner or fatter than any fish is: likely a slip of the pen."""
    rows: list[tuple[dict[Hashable, Any], float | None]] = [
        (row, None) for row in species.doubted.to_dict("records")
    ]
    if species.condition is not None:
        rows += [(row, float(row["wr"])) for row in species.condition.odd.to_dict("records")]
    for number, (row, wr) in enumerate(rows, start=1):
        where = f"{row['file']} line {row['line']}"
        text = f"Look again at {where}: a {species.name} of {bench.show(row['length_mm'], 'mm')}"
        if wr is None:
            text += " would be longer than any on record. Its size is not used."
        else:
            text += (
                f" and {bench.show(row['mass_g'], 'g')} has {wr:.0f} % of the weight of a plump one, which "
            )
            text += "no fish has. Its mass is not used."
        id, value, unit = ("odd_length", row["length_mm"], "mm") if wr is None else ("odd_weight", wr, None)
        group = f"{species.name}, {where}"
        yield Finding(
            id=id,
            text=text,
            value=value,
            unit=unit,
            group=group,
            quiet=number > MOST_ODD,
            headline=number == 1,
        )


def _without_standard(species: Sequence[CaughtSpecies]) -> Iterator[Finding]:
    """Which species have lengths only, and which need a closer name."""
    bare = []
    for each in species:
        name, standard = each.name, each.standard
        choices = dict.fromkeys((*standard.weight_choices, *standard.category_choices))
        if choices:
            plain = standard.key.partition(" (")[0]
            what = ["a standard weight"] * bool(standard.weight_choices)
            what += ["length categories"] * bool(standard.category_choices)
            names = " or ".join(f"`{plain} ({choice})`" for choice in choices)
            text = f"{name}: {' and '.join(what)} published for some of its kinds only; write {names}."
            yield Finding(id="choose_standard", text=text, group=name)
        elif standard.weight is None and standard.categories is None:
            bare.append(name)
    if bare:
        text = f"Lengths only, for want of a published standard: {', '.join(bare)}."
        yield Finding(id="no_standard", text=text)


def _few(fish: int) -> str:
    return " Too few to judge by." if fish < ENOUGH_FISH else ""
