"""What an analysis returns: a section as plain data, never as HTML.

Canonical units, everywhere in a section: `degC`, `g`, `h`, `mL`, `mm`, `pieces`, `1/h`, `1` (a share
between 0 and 1), `p` (a p-value), `delta_degC` (a temperature difference), and the bench's currency as
`money`. The report converts to what the bench prints in; the JSON twin keeps the canonical value.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from benchwater.plugin.field_types import Checked, refuse_wrong_types

Cell = str | float | int | bool | date | None
MOST_PHOTOS = 6
Status = Literal["ok", "thin", "empty", "failed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Checked):
    """One number with its interval and its count, and the sentence that says what it means.

    `text` is a whole sentence a maker can act on, already in the units the bench prints in (see
    `Bench.show`). `value`, `low`, `high` are in the canonical `unit`; `level` is the coverage of the
    interval; `n` the count behind the number; `group` what it is about (a mold, an item, a build).
    `more` holds further numbers by name, such as `p` and `df` of a test. A `quiet` finding is in the JSON
    twin only: for what is as expected, so that the page keeps to what a maker must know. A `headline` is
    what the front page says of the section, instead of its first finding; one that is `ahead` is of the days
    after the report, and its text says which.
    """

    id: str
    text: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    level: float = 0.95
    unit: str | None = None
    n: int | None = None
    group: str | None = None
    more: Mapping[str, Cell] = field(default_factory=dict)
    quiet: bool = False
    headline: bool = False
    ahead: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TableColumn(Checked):
    """A column: `name` in the JSON twin, `label` on the page, and the canonical `unit` of its numbers.

    `digits` is the number of decimals printed (after conversion); left out, three figures are shown.
    `unit_from` names another column of the same table whose cell holds the canonical unit of this
    row's number, for tables that mix grams and pieces. A `hidden` column is in the JSON twin only.
    """

    name: str
    label: str
    unit: str | None = None
    unit_from: str | None = None
    digits: int | None = None
    hidden: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of plain cells under named columns. `None` prints as a dash: not known, never zero.

    `print_units`, where given, is one printed unit a row (such as `lb`) for columns with `unit_from`.
    `print_rows` bounds what the HTML shows (the JSON twin always holds all rows); 0 shows none. Paper has one
    table of a section, the first of the season to date whose `paper_rows` is not 0: its first `paper_rows`,
    or about ten. A longer table gives way to a picture of its numbers: to one of the section's first
    figures whose id is the table's, or begins with it and a colon.
    """

    id: str
    title: str
    columns: tuple[TableColumn, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    print_units: tuple[str | None, ...] | None = None
    print_rows: int = 20
    paper_rows: int | None = None

    def __post_init__(self) -> None:
        """Refuse fields of another type, and rows that do not fit the columns."""
        refuse_wrong_types(self)
        width = len(self.columns)
        for number, row in enumerate(self.rows, start=1):
            if len(row) != width:
                raise ValueError(f"table {self.id!r}: row {number} has {len(row)} cells, {width} columns")
        if self.print_units is not None and len(self.print_units) != len(self.rows):
            raise ValueError(
                f"table {self.id!r}: {len(self.print_units)} printed units, {len(self.rows)} rows"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure(Checked):
    """A plot as SVG (see `benchwater.plots`), and `alt`: a sentence that says what it shows."""

    id: str
    title: str
    alt: str
    svg: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo(Checked):
    """A picture of the maker's: `file` as the `photo` column of the log has it, and what it shows.

    The host prints it small, without its metadata. Of a section it prints the first `MOST_PHOTOS`.
    """

    file: str
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Action(Checked):
    """Something to do next, and why.

    `id` is the same in both spans and in every month for the same piece of advice, so that it is given once
    and the report can say since when. `worth` is what doing it is worth, in `worth_unit` (`money` in the
    bench's currency, or `baits`) where that can be said; the front page ranks by it. `urgent` puts safety
    before money. `holds` says that the season taught this and that recent rows follow it: the report lists
    it under what to keep doing, and not under what to do next.
    """

    id: str
    text: str
    because: str
    worth: float | None = None
    worth_unit: Literal["money", "baits"] | None = None
    urgent: bool = False
    holds: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine(Checked):
    """One line of a card, such as `Start at` and `320 °F (300 to 335)`, in the units the bench prints in.

    `findings` are the ids of the findings, in the section's JSON, that hold the numbers of `text`.
    """

    label: str
    text: str
    findings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Card(Checked):
    """What is done at the bench, in a few lines to cut out and pin up: pages two and three of the report.

    Cards of one `id` from several sections become one card: `title` is the first one's, lines and tables
    follow in the order of the sections. Cards stand by `order`, then by `id`; `wide` ones take the page's
    width, others half of it. A `warning` card is framed as a caution, and stands on page two.
    """

    id: str
    title: str
    order: int
    lines: tuple[CardLine, ...] = ()
    tables: tuple[Table, ...] = ()
    wide: bool = False
    warning: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Vital(Checked):
    """One number of the front page: this month's, its change on the month before, and a small plot by month.

    `label` is two or three words in lower case (`castings made`), `value` in the canonical `unit`; None where
    the span holds nothing to count, which leaves a gap in the plot (a zero is a zero). `better` says which
    way is good news, None where neither is. `n` is the count behind a share or a rate. A running total, such
    as money saved to date, is counted from the season's start to the end of the span.
    """

    id: str
    label: str
    value: float | None = None
    unit: str | None = None
    better: Literal["up", "down"] | None = None
    n: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """What one analysis has to say about one span.

    `thin` says that there is too little to conclude from: it must carry no action. `empty` says that
    the logs hold nothing for it. `failed` is given by the host alone, to an analysis that broke.
    `methods` names how each number was made, with its published source. `unsaid` is what these logs leave
    open although there is enough to go by, and what would close it: a sentence for the front page's "What
    the data cannot say", where a thin section's `why` stands. `cards` are for the bench; a thin section may
    have them too (cautions are always printed).
    """

    status: Status
    why: str = ""
    unsaid: str = ""
    findings: tuple[Finding, ...] = ()
    tables: tuple[Table, ...] = ()
    figures: tuple[Figure, ...] = ()
    actions: tuple[Action, ...] = ()
    methods: tuple[str, ...] = ()
    cards: tuple[Card, ...] = ()
    photos: tuple[Photo, ...] = ()

    def __post_init__(self) -> None:
        """Hold a section to its own promises."""
        refuse_wrong_types(self)
        if self.status != "ok" and not self.why:
            raise ValueError(f"a section that is {self.status!r} must say why")
        if self.status != "ok" and self.actions:
            raise ValueError(f"a section that is {self.status!r} must give no advice")

    @classmethod
    def empty(cls, why: str) -> "Section":
        """A section for which the logs hold nothing."""
        return cls(status="empty", why=why)
