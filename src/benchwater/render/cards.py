"""Cards for the bench: lines to cut out and pin up, joined over the sections."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from benchwater.analyse.report import Report, ReportSection
from benchwater.plugin.section import Card, CardLine
from benchwater.render.sections import BlockRow, side_by_side, table_block


@dataclass(frozen=True, slots=True)
class CardView:
    """One card: its lines, and its tables in rows of one or two."""

    title: str
    lines: tuple[CardLine, ...]
    rows: tuple[BlockRow, ...]
    wide: bool
    warning: bool


def section_cards(section: ReportSection) -> tuple[Card, ...]:
    """Return a section's cards, each id once: the season's replaces the period's."""
    return tuple({card.id: card for part in section.parts for card in part.section.cards}.values())


def card_rows(report: Report) -> tuple[tuple[CardView, ...], ...]:
    """Return the report's cards by `order` in rows: a wide one alone, two others side by side."""
    joined: dict[str, list[Card]] = {}
    for section in report.sections:
        for card in section_cards(section):
            joined.setdefault(card.id, []).append(card)
    in_order = sorted(joined.values(), key=lambda cards: (min(card.order for card in cards), cards[0].id))
    return tuple(_in_rows(_joined(cards, report) for cards in in_order))


def _joined(cards: list[Card], report: Report) -> CardView:
    tables = [table_block(table, report.bench) for card in cards for table in card.tables if table.rows]
    return CardView(
        title=cards[0].title,
        lines=tuple(line for card in cards for line in card.lines),
        rows=tuple(side_by_side(tables)),
        wide=any(card.wide for card in cards),
        warning=any(card.warning for card in cards),
    )


def _in_rows(cards: Iterable[CardView]) -> Iterator[tuple[CardView, ...]]:
    waiting: tuple[CardView, ...] = ()
    for card in cards:
        if card.wide:
            yield from filter(None, (waiting, (card,)))
            waiting = ()
        else:
            waiting = (*waiting, card)
            if len(waiting) == 2:
                yield waiting
                waiting = ()
    if waiting:
        yield waiting
