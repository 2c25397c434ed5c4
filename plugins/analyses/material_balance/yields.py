"""What each mold gave, and what was skimmed: findings and table."""

from collections.abc import Iterator, Sequence

from benchwater.ledger.fills import SPRUES
from benchwater.plugin import Bench, Cell, Finding, Table, TableColumn
from benchwater.words import in_brackets, make_finding

from .metal import Dross, MoldYield

FEWEST_FOR_YIELD = 20


def yield_findings(found: MoldYield, bench: Bench) -> Iterator[Finding]:
    """First-pass and metal yield of a mold."""
    mold, total = found.mold, found.good + found.rejects
    if found.first_pass is not None:
        share = bench.show(found.first_pass.estimate, "1")
        text = f"{mold}: {share} of {total} castings were good at the first pour."
        if total < FEWEST_FOR_YIELD:
            text = (
                f"{mold}: {found.good} of {total} castings were good at the first pour, too few to judge by."
            )
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
    text = f"{found.item}: {share} of what was melted was skimmed or thrown away, {amount}. That reads high, "
    text += "as sprues are melted along and weighed nowhere: with half the castings' metal again in them, as "
    text += f"is common, {bench.show(less, '1')}."
    more: dict[str, Cell] = {"with_customary_sprues": less}
    return make_finding("dross_rate", text, found.share, "1", n=found.rows, group=found.item, more=more)


def yields_table(yields: Sequence[MoldYield]) -> Table:
    """Castings good, rejected and blank of each mold, and both yields."""
    limits = ("", "_low", "_high")
    rows = []
    for found in yields:
        cells: list[Cell] = [found.mold, found.good, found.rejects, found.blanks]
        for share in (found.first_pass, found.metal):
            cells += [None] * 3 if share is None else [share.estimate, share.low, share.high]
        rows.append((*cells, found.poured_g))
    labels = {"first_pass": "First-pass yield", "metal": "Metal yield", "_low": "low", "_high": "high"}
    return Table(
        id="yields",
        title="What each mold gave",
        columns=(
            TableColumn(name="mold", label="Mold"),
            *(TableColumn(name=n, label=n.capitalize(), digits=0) for n in ("good", "rejects", "blanks")),
            *(
                TableColumn(name=f"{share}_yield{end}", label=labels[end or share], unit="1")
                for share in ("first_pass", "metal")
                for end in limits
            ),
            TableColumn(name="poured_g", label="Poured", unit="g"),
        ),
        rows=tuple(rows),
        note="First-pass yield is by castings, good of good and rejected. Metal yield is by mass, rejects "
        "and blank fills in what was poured; sprues are not weighed. Low and high are 95 % limits.",
    )
