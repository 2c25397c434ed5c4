"""What the sections about fishing print in the months of the demo: everyday words, and nothing untrue."""

import re
from collections.abc import Iterator

import pytest

from benchwater.plugin import Section

SECTIONS = ("bait_mortality", "catch_rate", "catch_size")
MONTHS = [f"2026-{month:02d}" for month in range(3, 11)]
NOT_FOR_MAKERS = re.compile(
    r"\bp [=<]|\bn =|\bPSD\b|log-rank|bait-hour|\bnan\b|\binf\b|Std unc|confiden", re.IGNORECASE
)
RANGE = re.compile(r"([\d.½]+) (?:to|and) ([\d.½]+)")


def printed(section: Section) -> Iterator[str]:
    yield from (section.why, section.unsaid)
    yield from (entry.text for entry in section.findings if not entry.quiet)
    yield from (f"{action.text} {action.because}" for action in section.actions)
    yield from (f"{line.label}: {line.text}" for card in section.cards for line in card.lines)
    for table in section.tables:
        if table.print_rows:
            yield from (
                table.title,
                table.note,
                *(column.label for column in table.columns if not column.hidden),
            )
    yield from (f"{figure.title} {figure.alt}" for figure in section.figures)


@pytest.mark.parametrize("month", MONTHS)
def test_a_maker_reads_everyday_words_and_ranges_that_say_something(month: str, demo) -> None:
    made = demo(month)
    for id in SECTIONS:
        for span in (made.period, made.whole):
            for text in printed(made.section(id, span)):
                assert not NOT_FOR_MAKERS.search(text), text
                for low, high in RANGE.findall(text.partition("times as")[2].partition(")")[0]):
                    assert float(high) <= 10 * float(low), text


@pytest.mark.parametrize("month", MONTHS)
def test_no_advice_contradicts_what_was_built_into_the_season(month: str, demo, truth) -> None:
    made = demo(month)
    ids = {action.id for id in SECTIONS for action in made.section(id, made.whole).actions}
    assert truth["bait_ends_per_hour"]["ratio_without_to_with_leader"] > 1
    assert ids <= {"tie_a_leader", f"fish-more-{truth['catch']['best_build']}"}
    of_month = [action for id in SECTIONS for action in made.section(id, made.period).actions]
    assert made.period == made.whole or not of_month


@pytest.mark.parametrize("month", MONTHS)
def test_the_life_of_baits_is_one_number_on_a_page(month: str, demo) -> None:
    made = demo(month)
    texts = [
        text for span in (made.period, made.whole) for text in printed(made.section("bait_mortality", span))
    ]
    lives = {match for text in texts for match in re.findall(r"gone after about (\S+) hours", text)}
    assert len(lives) <= 1
