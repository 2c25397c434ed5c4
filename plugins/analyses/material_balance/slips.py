"""What is to blame for counts that do not agree, in words."""

from collections.abc import Sequence

from benchwater.plugin import Bench, Item

from .blame import PACKS, UNITS, Blame
from .lines import Line


def blame_words(line: Line, alternatives: Sequence[Blame], bench: Bench) -> str:
    """What most likely went wrong: a count, or a stretch between two; alternatives with `or`."""
    item, said = line.item, []
    for blame in alternatives:
        if blame.count is not None:
            said.append(f"the count of {line.day(blame.count.day)} looks {slip_words(item, blame, bench)}")
        elif blame.stretch is not None:
            before, after = blame.stretch
            how = "left" if blame.gap > 0 else "came in"
            amount = bench.show(abs(blame.gap), item.unit)
            said.append(
                f"{amount} {how} without a row between {line.day(before.day)} and {line.day(after.day)}"
            )
    return ", or ".join(said)


def slip_words(item: Item, blame: Blame, bench: Bench) -> str:
    """How a count was written wrong: a decimal place, packs for pieces, one unit for another."""
    found, implied = bench.show(blame.found, item.unit), bench.show(blame.implied, item.unit)
    if blame.slip is None:
        return "mistyped"
    if isinstance(blame.slip, float):
        times = blame.slip if blame.slip > 1 else 1 / blame.slip
        how = f"{times:g} times too {'large' if blame.slip > 1 else 'small'}"
    elif blame.slip == PACKS:
        how = f"counted in packs of {item.pack:g}"
    else:
        written, meant = blame.slip
        number = blame.found / UNITS[item.unit][written]
        how = f"like {number:.6g} {meant} written as {written}"
    return f"{how} ({found} for {implied})"
