"""The numbers of the section: costs, mold accounts, savings, losses and purchases."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchwater.ledger import computed_once
from benchwater.ledger.sums import sums_by
from benchwater.plugin import Season, Span
from benchwater.plugin.bench import Item

from .bait_costs import BaitCost, Facts, bait_costs, season_facts
from .savings import Account, Losses, Savings, losses_in, mold_account, saved_in, spoilt_in

FEWEST_CASTINGS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """What was received of an item, in its unit; `spent` is None where no receipt states its cost."""

    item: Item
    received: float
    spent: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """`facts`, `baits` and `accounts` are those at the report's end, the rest those of the span.

    `spoilt` is the cost of the span's rejects (money). `why_thin` says why nothing can be concluded; it is
    empty where something can.
    """

    facts: Facts
    baits: Mapping[str, BaitCost]
    accounts: Sequence[Account]
    savings: Savings
    losses: Losses
    spoilt: float
    bought: Sequence[Bought]
    why_thin: str


def compute(season: Season, span: Span) -> Costs | None:
    """The numbers of the section; None where no log has a row in the span."""
    if not _any_rows(season, span, "inventory", "pour", "finishing", "fishing"):
        return None
    facts, baits = _priced(season)
    return Costs(
        facts=facts,
        baits=baits,
        accounts=[mold_account(season, facts, baits, mold) for mold in season.bench.molds.values()],
        savings=saved_in(span, facts, baits),
        losses=losses_in(season, span, baits),
        spoilt=spoilt_in(season, span, facts),
        bought=_bought_in(season, span),
        why_thin=_too_little(facts, baits),
    )


def saved_to_date(season: Season, span: Span) -> tuple[int, float | None]:
    """Baits made from the season's start to the span's end, and the money saved; None where not known."""
    whole = Span(name="season", label=span.label, start=season.start, end=span.end)
    facts, baits = _priced(season)
    savings = saved_in(whole, facts, baits)
    known = _any_rows(season, whole, "pour", "finishing", "fishing") and not _too_little(facts, baits)
    return round(savings.baits), savings.saved.estimate if known else None


def _any_rows(season: Season, span: Span, *kinds: str) -> bool:
    return any(season.holds(kind) and len(season.rows(kind, span)) for kind in kinds)


@computed_once
def _priced(season: Season) -> tuple[Facts, dict[str, BaitCost]]:
    """Facts and costs at the report's end: every span rests on the same."""
    facts = season_facts(season)
    return facts, bait_costs(season, facts)


def _too_little(facts: Facts, baits: Mapping[str, BaitCost]) -> str:
    """Why nothing can be concluded; empty where something can."""
    castings = sum(cast.good + cast.rejects for cast in facts.castings.values())
    if castings < FEWEST_CASTINGS:
        return f"{castings} castings so far: a yield, and with it a cost, takes {FEWEST_CASTINGS}."
    if any(bait.cost is not None for bait in baits.values()):
        return ""
    reasons = [bait.why_unknown for bait in baits.values()]
    return f"No bait's cost is known: {reasons[0] if reasons else 'bench.toml names no build'}."


def _bought_in(season: Season, span: Span) -> list[Bought]:
    """What came in, most money first."""
    if not season.holds("inventory"):
        return []
    rows = season.rows("inventory", span)
    came = rows[rows["move"] == "received"]
    received, spent = sums_by(came, "amount", "item"), sums_by(came[came["cost"] >= 0], "cost", "item")
    items = sorted(received, key=lambda name: (-spent.get(name, 0.0), name))
    return [
        Bought(item=season.bench.items[name], received=received[name], spent=spent.get(name))
        for name in items
    ]
