"""Cards for the bench: lines to cut out and pin up, joined over the sections."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import TypeAlias

from benchwater.analyse.report import Report, ReportSection
from benchwater.plugin.section import Card, CardLine
from benchwater.render.sections import BlockRow, side_by_side, table_block
from benchwater.words import counted

MOST_ALIKE = 24
"""How many cards of one kind, such as those of molds, are printed."""
_LETTERS_A_LINE, _LINES_OF_A_FRAME = 40, 3


@dataclass(frozen=True, slots=True)
class CardView:
    """One card: its lines, and its tables in rows of one or two."""

    title: str
    lines: tuple[CardLine, ...]
    rows: tuple[BlockRow, ...]
    wide: bool
    warning: bool


CardRow: TypeAlias = tuple[tuple[CardView, ...], ...]
"""Columns of cards, side by side."""


def section_cards(section: ReportSection) -> tuple[Card, ...]:
    """Return a section's cards, each id once: the season's replaces the period's."""
    return tuple({card.id: card for part in section.parts for card in part.section.cards}.values())


def card_rows(report: Report) -> tuple[CardRow, ...]:
    """Return the report's cards by `order`: a wide one in a row of its own, others in two columns."""
    joined: dict[str, list[Card]] = {}
    for section in report.sections:
        for card in section_cards(section):
            joined.setdefault(card.id, []).append(card)
    in_order = sorted(joined.values(), key=lambda cards: (min(card.order for card in cards), cards[0].id))
    views: list[CardView] = []
    for _, family in groupby(in_order, lambda cards: cards[0].id.partition(":")[0]):
        own = [_joined(cards, report) for cards in family]
        fullest = set(sorted(range(len(own)), key=lambda place: -len(own[place].lines))[:MOST_ALIKE])
        views += [view for place, view in enumerate(own) if place in fullest]
        if len(own) > MOST_ALIKE:
            views.append(_left_out(len(own) - MOST_ALIKE))
    rows: list[CardRow] = []
    for wide, group in groupby(views, lambda card: card.wide):
        cards = list(group)
        rows += [((card,),) for card in cards] if wide else [_in_columns(cards)]
    return tuple(rows)


def _left_out(number: int) -> CardView:
    text = "in season-report.json: those with fewest lines are left out here."
    line = CardLine(label=counted(number, "more card"), text=text)
    return CardView(title="And more", lines=(line,), rows=(), wide=False, warning=False)


def _joined(cards: list[Card], report: Report) -> CardView:
    tables = [table_block(table, report.bench) for card in cards for table in card.tables if table.rows]
    return CardView(
        title=cards[0].title,
        lines=tuple(line for card in cards for line in card.lines),
        rows=tuple(side_by_side(tables)),
        wide=any(card.wide for card in cards),
        warning=any(card.warning for card in cards),
    )


def _in_columns(cards: Iterable[CardView]) -> CardRow:
    """Return the cards in two columns, each card in the one that is shorter so far."""
    columns: tuple[list[CardView], list[CardView]] = ([], [])
    for card in cards:
        min(columns, key=lambda column: sum(map(_lines, column))).append(card)
    return tuple(tuple(column) for column in columns if column)


def _lines(card: CardView) -> int:
    """Return about how many lines a card takes."""
    text = sum(math.ceil(len(line.text) / _LETTERS_A_LINE) for line in card.lines)
    return (
        _LINES_OF_A_FRAME
        + text
        + sum(len(block.table.rows) + 2 for row in card.rows for block in row if block.table)
    )
