"""Cards of one id joined, in their order, side by side, and no more of one kind than can be pinned up."""

from dataclasses import replace
from itertools import chain, repeat

from benchwater.analyse.report import Report
from benchwater.plugin.section import Card, CardLine, Table, TableColumn
from benchwater.render.cards import MOST_ALIKE, card_rows


def with_cards(report: Report, *of_sections: tuple[Card, ...]) -> Report:
    sections = []
    for section, cards in zip(report.sections, chain(of_sections, repeat(())), strict=False):
        content = replace(section.parts[-1].section, cards=cards)
        sections.append(replace(section, parts=(replace(section.parts[-1], section=content),)))
    return replace(report, sections=tuple(sections))


def card(id: str, order: int, *texts: str, wide: bool = False) -> Card:
    lines = tuple(CardLine(label=id, text=text) for text in texts)
    return Card(id=id, title=id.title(), order=order, lines=lines, wide=wide)


def test_cards_of_one_id_are_one_card_and_stand_by_their_order(report: Report) -> None:
    column = TableColumn(name="item", label="Item")
    table = Table(id="buy", title="To buy", columns=(column,), rows=(("hook",),))
    bought = replace(card("pour", 20, "Buy hooks.", wide=True), tables=(table,))
    made = with_cards(report, (card("money", 50, "Saved."), bought), (card("pour", 20, "Pour 3 fills."),))
    (pour,), (money,) = ((row[0]) for row in card_rows(made))
    assert (pour.title, pour.wide, [line.text for line in pour.lines]) == (
        "Pour",
        True,
        ["Buy hooks.", "Pour 3 fills."],
    )
    assert [block.table.title for row in pour.rows for block in row if block.table] == ["To buy"]
    assert money.title == "Money"


def test_narrow_cards_fill_the_shorter_of_two_columns(report: Report) -> None:
    cards = (card("mold:a", 30, *["x" * 40] * 9), card("mold:b", 31, "One."), card("mold:c", 32, "One."))
    ((left, right),) = card_rows(with_cards(report, cards))
    assert [each.title for each in left] == ["Mold:A"]
    assert [each.title for each in right] == ["Mold:B", "Mold:C"]


def test_of_very_many_cards_of_one_kind_those_with_most_lines_are_printed(report: Report) -> None:
    full = [card(f"mold:{number:02}", 30, "One.", "Two.") for number in range(MOST_ALIKE)]
    thin = [card("mold:aa", 30, "One."), card("mold:zz", 30, "One.")]
    (columns,) = card_rows(with_cards(report, (*thin, *full)))
    titles = {each.title for column in columns for each in column}
    assert titles == {each.title for each in full} | {"And more"}
    (more,) = [each for column in columns for each in column if each.title == "And more"]
    assert more.lines[0].label == "2 more cards"
