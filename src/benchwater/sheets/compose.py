"""Compose the blank sheet of a log from its columns and the bench."""

from collections.abc import Sequence

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.sheets.entries import MOST_WORDS, entries_of
from benchwater.sheets.layout import cut, fit, heights
from benchwater.sheets.sheet import Caution, Sheet
from benchwater.text import did_you_mean

_LONGEST_MEANING = 110
_BENCH = (
    ("Molten metal", "Nothing wet near the pot: water throws melt. Shield, gloves, shoes."),
    ("Lead", "Air it out. No food, smoke or children. Wash first; wipe wet."),
    ("Hot plastic", "Vent it. Smoke or browning: stop and leave. A splash burns."),
    ("Ovens", "Never for food again, nor the pans. No flame near powder."),
    ("Burns", "Cool running water, 10 to 20 minutes. If bad: a doctor."),
)
_WATER = (("On the water", "Life jacket on. Wash lead off your hands before you eat."),)
_OF_THE_WATER = frozenset({"water", "angler", "trip", "habitat", "fished"})


class UnknownLogError(ValueError):
    """No plugin declares the log that `--log` names."""


def choose_logs(kinds: Sequence[LogKind], names: Sequence[str]) -> tuple[LogKind, ...]:
    """Return the logs with these names; without names, all."""
    known = {kind.name: kind for kind in kinds}
    for name in names:
        if name not in known:
            hint = did_you_mean(name, known, f"there are: {', '.join(known)}")
            raise UnknownLogError(f"there is no log `{name}`{hint}")
    return tuple(kind for kind in kinds if not names or kind.name in names)


def sheet_of(kind: LogKind, bench: Bench) -> Sheet:
    """Return the blank sheet of a log."""
    head, entries = entries_of(kind, bench)
    fitted = fit(entries, bench.paper)
    legend = _legend(kind)
    measured = heights(fitted.pages, legend, bench.paper)
    return Sheet(
        title=kind.title,
        bench=bench.name,
        paper=bench.paper,
        head_entries=head,
        pages=fitted.pages,
        legend=legend,
        cautions=_cautions(kind),
        rows=measured.rows,
        row_mm=measured.row_mm,
        label_mm=measured.label_mm,
        legend_mm=measured.legend_mm,
        boxless=fitted.boxless,
    )


def _legend(kind: LogKind) -> tuple[tuple[str, str], ...]:
    """Return every column with its meaning, and the allowed words where they have no boxes."""
    legend = []
    for column in kind.columns:
        meaning = column.meaning
        if column.kind == "word" and len(column.words) > MOST_WORDS:
            meaning += f" (one of: {', '.join(column.words)})"
        legend.append((column.name, cut(meaning, _LONGEST_MEANING)))
    return tuple(legend)


def _cautions(kind: LogKind) -> tuple[Caution, ...]:
    """Return all cautions; those of the water come first for a log kept on the water."""
    afloat = any(column.name in _OF_THE_WATER for column in kind.columns)
    bench = tuple(Caution(about=about, what=what, here=not afloat) for about, what in _BENCH)
    water = tuple(Caution(about=about, what=what, here=afloat) for about, what in _WATER)
    return water + bench if afloat else bench + water
