"""Labels, cards and tags to cut out, and tally sheets, as PDF: the same bytes for the same bench."""

from collections.abc import Sequence

from benchwater.plugin.bench import Bench
from benchwater.render.html import environment
from benchwater.render.pdf import to_pdf
from benchwater.sheets.labels import Label, LabelStock, MoldTally, TrialSheet, TripSheet
from benchwater.sheets.lists import TripBox, WorkLists

MM_PER_POINT = 25.4 / 72
_LARGEST_PT = 12.0


def print_labels(title: str, bench: Bench, labels: Sequence[Label], stock: LabelStock) -> bytes:
    """Return the PDF of labels on a stock. Raises PrintingUnavailable where native libraries are missing."""
    width, height = stock.label_mm
    on_one = stock.columns * stock.rows
    pages = [
        [
            (
                stock.margin_mm + place % stock.columns * (width + stock.gap_mm),
                stock.margin_mm + place // stock.columns * (height + stock.gap_mm),
                label,
            )
            for place, label in enumerate(labels[start : start + on_one])
        ]
        for start in range(0, len(labels), on_one)
    ]
    lines = max((len(label.lines) for label in labels), default=0)
    points = min(_LARGEST_PT, (height - 2) / (1.2 * lines + 1.7) / MM_PER_POINT)
    return _printed(
        "labels.html.j2", title=title, bench=bench, pages=pages, width=width, height=height, points=points
    )


def print_tallies(bench: Bench, molds: Sequence[MoldTally], trip: TripSheet) -> bytes:
    """Return the PDF of a tally sheet for each mold and one trip sheet; raises as `print_labels` does."""
    return _printed("tally.html.j2", title="Tally sheets", bench=bench, molds=molds, trip=trip)


def print_trial(bench: Bench, trial: TrialSheet) -> bytes:
    """Return the PDF of the sheet of a trial; raises as `print_labels` does."""
    return _printed("trial.html.j2", title=f"Trial: {trial.name.replace('_', ' ')}", bench=bench, trial=trial)


def print_trip_box(bench: Bench, box: TripBox) -> bytes:
    """Return the PDF of a list of what to take; raises as `print_labels` does."""
    return _printed("trip_box.html.j2", title=f"To take: {box.water}", bench=bench, box=box)


def print_work_lists(bench: Bench, lists: WorkLists) -> bytes:
    """Return the PDF of what to buy and the evenings of work; raises as `print_labels` does."""
    return _printed("shopping.html.j2", title="Before next season", bench=bench, lists=lists)


def _printed(template: str, **facts: object) -> bytes:
    return to_pdf(environment().get_template(template).render(**facts))
