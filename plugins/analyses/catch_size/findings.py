"""Says how long and how plump the fish are, and by which published standards."""

import math
from collections.abc import Iterator, Sequence

from benchwater.plugin import Bench, Finding, Span
from benchwater.words import make_finding

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
    "2007, Fisheries 32:348), with Wilson's limits (1927).",
    "Relative weight is 100 times mass over standard weight (Wege & Anderson 1978), its mean with Student's "
    "t. Fish of one trip are alike, so the limits here are somewhat too narrow.",
)


def all_findings(species: Sequence[CaughtSpecies], bench: Bench, span: Span) -> Iterator[Finding]:
    """Yields the total, then size distribution and condition of each species, then what has no standard."""
    yield _total(species)
    for each in species:
        yield from _psd(each, bench)
        yield from _condition(each)
        yield from _outside(each, bench)
        yield from _odd(each, bench)
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


def _total(species: Sequence[CaughtSpecies]) -> Finding:
    fish, measured, weighed = (
        sum(getattr(each, name) for each in species) for name in ("fish", "measured_fish", "weighed_fish")
    )
    text = (
        f"{fish} fish of {len(species)} species were logged, {measured} with a length, {weighed} with a mass."
    )
    return Finding(id="fish", text=text, value=fish, unit="pieces", n=fish)


def _psd(species: CaughtSpecies, bench: Bench) -> Iterator[Finding]:
    """The share of stock-length fish that reached quality, and beyond."""
    categories, sizes, psd = species.standard.categories, species.sizes, species.psd
    if sizes is None or categories is None or psd is None:
        return
    stock, us = sizes.at_least("stock"), bench.system == "us"
    limits_at = categories.limits_in if us else categories.limits_mm
    at = [f"{limit:g} {'in' if us else 'mm'}" for limit in limits_at]
    text = f"{species.name}: {sizes.at_least('quality')} of {stock} fish of stock length ({at[0]}) reached "
    text += f"quality length ({at[1]}): PSD {100 * psd.estimate:.0f}. {sizes.at_least('preferred')} reached "
    text += f"preferred length ({at[2]}).{_few(stock)}"
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
    if found is not None:
        text = f"{species.name}: {found.fish} weighed fish had on average {found.mean.estimate:.0f} % of the "
        text += f"standard weight for their length (relative weight).{_few(found.fish)}"
        quiet = found.fish < ENOUGH_FISH
        yield make_finding("relative_weight", text, found.mean, n=found.fish, group=species.name, quiet=quiet)


def _outside(species: CaughtSpecies, bench: Bench) -> Iterator[Finding]:
    """How many fish the standard weight does not cover."""
    equation, fish = species.standard.weight, species.outside
    if equation is None or fish == 0:
        return
    top = f"to {bench.show(equation.max_mm, 'mm')}" if math.isfinite(equation.max_mm) else "and longer"
    text = f"{species.name}: {fish} of {species.measured_fish} measured fish outside the lengths that the "
    text += f"standard weight is published for ({bench.show(equation.min_mm, 'mm')} {top}), not used for "
    text += "relative weight."
    yield Finding(
        id="outside_equation", text=text, value=fish, unit="pieces", n=fish, group=species.name, quiet=True
    )


def _odd(species: CaughtSpecies, bench: Bench) -> Iterator[Finding]:
    """Fish thinner or fatter than any fish is: likely a slip of the pen."""
    rows = [] if species.condition is None else species.condition.odd.to_dict("records")
    for number, row in enumerate(rows, start=1):
        text = (
            f"Look again at {row['file']} line {row['line']}: a {species.name} of "
            f"{bench.show(row['length_mm'], 'mm')} and {bench.show(row['mass_g'], 'g')} has relative weight "
            f"{row['wr']:.0f}, which no fish has. It is in the mean."
        )
        fish = f"{species.name}, {row['file']} line {row['line']}"
        yield Finding(id="odd_weight", text=text, value=row["wr"], group=fish, quiet=number > MOST_ODD)


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
