"""What an ingest plugin declares: log kinds and their columns. The host does all the reading."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from benchwater.plugin.bench import Bench
from benchwater.plugin.field_types import Checked
from benchwater.units import QUANTITIES, Quantity, is_quantity

ColumnKind = Literal[
    "date",
    "text",
    "photo",
    "word",
    "name",
    "tags",
    "yes_no",
    "count",
    "number",
    "money",
    "amount",
    "spread",
    Quantity,
]
Reference = Literal["mold", "cavity", "item", "build"]
MOST_COUNTED = 100_000
Value = str | float | int | bool | object | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Column(Checked):
    """One column of a log.

    `kind` says how a cell is read:

    - `date` a day, or day and time; `text` as written; `tags` several, set apart by `;`;
    - `photo` the file of a picture, as its path below the folder (see `Photo`);
    - `name` as written, upper and lower case not told apart;
    - `word` one of `words`, any case; `yes_no` yes or no, or (when `words` is `("*",)`) any other text;
    - `count` a whole number from 0 to `most`; `number` any number; `money` 0 or more;
    - `temperature`, `mass`, `duration`, `length`, `volume` a quantity, held in degC, g, h, mm, mL under
      the name with the suffix `_c`, `_g`, `_h`, `_mm`, `_ml`;
    - `amount` a quantity in the unit of the item that the row's `item` column names, whole pieces for
      counted items; `spread` a standard uncertainty in that unit.

    `refers_to` names what on the bench the cell must exist as: a `cavity` is one of the row's `mold`.
    `also` lists other headings people use. `everyday` lists looser ones (case, punctuation and plural do
    not matter; `minutes [min]` implies a unit): one is taken, and listed under "Read as", where it fits
    this column of the log alone and no heading names it; else the maker is asked. `word_phrases` pairs
    words with everyday phrases for them, compared likewise: a cell that fits one word alone is taken for
    it, and listed; a `name` that is none of them stays as written. `ordinary` lists words that look like a
    misspelling of a phrase and are none. `told_by` pairs a word with another column and words of that: a cell
    that says one of these (`wrinkled` under `outcome`) is the word, and fills the other column's empty cell.
    `implied` pairs a word with headings that say it of every row (`bought on`), or columns whose cells all
    do (`cost`): it stands in where the column is missing. `zero_beside` pairs a column with words of it: an
    empty cell of a row with one of these is 0. `default` stands in for an empty cell; without one
    an empty cell is missing. `signed` lets a number be negative. `most` is the largest plausible count: a
    row with a larger one is set aside.
    `bare_unit` is the unit of a bare number where neither the cell, the heading nor bench.toml names one
    (left out: `F` or `C`, `g`, `h`, `in` or `mm`, `fl oz` or `mL` by the bench's units). A rough value
    (`~7 g`) of an `exact` column is set aside: what stands in without it is better known. One that
    is not `on_sheets` is on no blank sheet; such columns come last.
    """

    name: str
    meaning: str
    kind: ColumnKind
    needed: bool = False
    words: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    everyday: tuple[str, ...] = ()
    word_phrases: tuple[tuple[str, tuple[str, ...]], ...] = ()
    ordinary: tuple[str, ...] = ()
    told_by: tuple[tuple[str, tuple[str, ...]], ...] = ()
    implied: tuple[tuple[str, tuple[str, ...]], ...] = ()
    zero_beside: tuple[tuple[str, tuple[str, ...]], ...] = ()
    refers_to: Reference | None = None
    default: float | int | str | None = None
    signed: bool = False
    most: int = MOST_COUNTED
    bare_unit: str = ""
    exact: bool = False
    on_sheets: bool = True

    @property
    def decides_row(self) -> bool:
        """Whether a cell that cannot be read sets its row aside: without it the row would count otherwise."""
        return self.needed or self.default is not None or self.refers_to is not None

    @property
    def frame_name(self) -> str:
        """The name of this column in the season's table, canonical unit included."""
        return self.name + (QUANTITIES[self.kind].suffix if is_quantity(self.kind) else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class RowProblem:
    """Why a row cannot be used: the column to look at, and a sentence for the maker."""

    column: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """A column of words whose words may head columns of numbers instead: `good, bad` for `outcome, count`.

    Each number makes a row with its `word` and its `number`; a 0 makes none, except of `zero_counts`. What
    else stands on the line goes to each row; a column of `only` to rows of these words alone, one of
    `of_all` nowhere if the line makes several rows. `headings` are phrases for a word as a heading alone.
    """

    word: str
    number: str
    only: tuple[tuple[str, tuple[str, ...]], ...] = ()
    of_all: tuple[str, ...] = ()
    zero_counts: tuple[str, ...] = ()
    headings: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LogKind(Checked):
    """A kind of log: how its header is known, its columns, and what each row must satisfy.

    A file is of this kind when its header has every column in `known_by` (any needed column when that is
    left out). `check` gets one row's values by the table's column names, and the bench, and yields what is
    wrong with the row. What names a column that is not needed, has no default and refers to nothing sets
    that cell aside alone, as a cell that cannot be read is; anything else sets the row aside. A row on
    which it raises is used, and the host reports the plugin. `side_by_side` lets words head columns of
    numbers; `also_called` are everyday words for the log, by which one file may hold several.

    A log that is `part_of` another has no files of its own: it gets those rows of the other that name a build
    where an item is due, in the columns of the same names.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    known_by: tuple[str, ...] = ()
    check: Callable[[Mapping[str, Value], Bench], Iterable[RowProblem]] | None = None
    side_by_side: SideBySide | None = None
    also_called: tuple[str, ...] = ()
    part_of: str = ""

    @property
    def signature(self) -> tuple[str, ...]:
        """The columns a header must have to be recognised as this log."""
        return self.known_by or tuple(column.name for column in self.columns if column.needed)

    @property
    def frame_columns(self) -> tuple[str, ...]:
        """The columns of this log's table, in order."""
        return (*(column.frame_name for column in self.columns), "file", "line")

    def column(self, name: str) -> Column | None:
        """The column of that name, if declared."""
        return next((column for column in self.columns if column.name == name), None)


def with_everyday_words(kind: LogKind, file: Path) -> LogKind:
    """The log, with the everyday headings and phrases of a TOML file; see `Column`.

    `[columns]` has headings by column, `[words.COLUMN]` phrases and
    `[implied.COLUMN]` headings by word, `[ordinary]` words that are no
    misspelling by column; each is a text with commas between.
    `[LOG.columns]` and `[LOG.words.COLUMN]` are of that log alone. ValueError for a column or word that the
    log does not have.
    """
    import tomllib

    data = tomllib.loads(file.read_text(encoding="utf-8"))
    own = data.get(kind.name, {})
    headings = {**data.get("columns", {}), **own.get("columns", {})}
    words: Mapping[str, Mapping[str, str]] = {**data.get("words", {}), **own.get("words", {})}
    ordinary = {**data.get("ordinary", {}), **own.get("ordinary", {})}
    implied: Mapping[str, Mapping[str, str]] = {**data.get("implied", {}), **own.get("implied", {})}
    known = {column.name for column in kind.columns}
    unknown = sorted({*headings, *words, *ordinary, *implied} - known)
    unknown += [
        f"{column.name}: {word}"
        for column in kind.columns
        for word in words.get(column.name, {})
        if column.kind == "word" and word not in column.words
    ]
    if unknown:
        raise ValueError(f"{file.name} has words for what the {kind.name} log does not have: {unknown}")
    columns = tuple(
        replace(
            column,
            everyday=(*column.everyday, *_phrases(headings.get(column.name, ""))),
            word_phrases=tuple((word, _phrases(text)) for word, text in words.get(column.name, {}).items()),
            ordinary=_phrases(ordinary.get(column.name, "")),
            implied=tuple((word, _phrases(text)) for word, text in implied.get(column.name, {}).items()),
        )
        for column in kind.columns
    )
    return replace(kind, columns=columns)


def _phrases(text: str) -> tuple[str, ...]:
    return tuple(phrase.strip() for phrase in text.split(",") if phrase.strip())
