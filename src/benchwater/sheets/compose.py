"""The blank sheet of a log: its columns and the bench in, what is on each page out."""

from benchwater.plugin.bench import Bench
from benchwater.plugin.logs import LogKind
from benchwater.sheets.boxes import MOST_WORDS
from benchwater.sheets.cautions import cautions_for
from benchwater.sheets.entries import entries_of
from benchwater.sheets.labels import cut
from benchwater.sheets.layout import fit, heights
from benchwater.sheets.sheet import Sheet

_LONGEST_MEANING = 110


def sheet_of(kind: LogKind, bench: Bench) -> Sheet:
    """The blank sheet of this log for this bench."""
    once, entries = entries_of(kind, bench)
    fitted = fit(entries, bench.paper)
    legend = _legend(kind)
    measured = heights(fitted.pages, legend, bench.paper)
    return Sheet(
        log=kind.name,
        title=kind.title,
        bench=bench.name,
        paper=bench.paper,
        once=once,
        pages=fitted.pages,
        columns=tuple(column.name for column in kind.columns),
        legend=legend,
        cautions=cautions_for(kind),
        rows=measured.rows,
        row_mm=measured.row_mm,
        label_mm=measured.label_mm,
        legend_mm=measured.legend_mm,
        boxless=fitted.boxless,
    )


def _legend(kind: LogKind) -> tuple[tuple[str, str], ...]:
    """Every column in the order of the CSV, with its meaning and the words that have no box."""
    told = []
    for column in kind.columns:
        meaning = column.meaning
        if column.kind == "word" and len(column.words) > MOST_WORDS:
            meaning += f" (one of: {', '.join(column.words)})"
        told.append((column.name, cut(meaning, _LONGEST_MEANING)))
    return tuple(told)
