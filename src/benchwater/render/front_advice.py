"""Which advice stands on the front page: what there is room for, the best of each section first."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchwater.analyse.report import RankedAction, Report
from benchwater.render.text import sentences
from benchwater.render.unread import unread
from benchwater.words import visible

LONGEST_BECAUSE = 100
LONGEST_KEPT = 88
MOST_LINES, MOST_KEPT = 21, 3
_USUAL_SECTIONS = 11
_LETTERS_A_LINE, _SMALL_LETTERS_A_LINE, _LETTERS_ACROSS, _LETTERS_OF_SINCE = 70, 92, 104, 24


@dataclass(frozen=True, slots=True)
class FrontAdvice:
    """The actions of the front page, each list in the report's order; `left` counts those to do left out."""

    to_do: tuple[RankedAction, ...]
    holds: tuple[RankedAction, ...]
    mended: tuple[RankedAction, ...]
    left: int


def front_advice(report: Report) -> FrontAdvice:
    """Return what the front page shows of the report's actions.

    Urgent actions come first, then the most valuable of each section, then new ones, then the others.
    """
    to_do = [ranked for ranked in report.actions if ranked.state in ("new", "open")]
    holds, mended = (_of(report, state) for state in ("holds", "mended"))
    room = MOST_LINES - unread(report).lines - _kept_lines(holds) - _kept_lines(mended)
    sections = sum(section.status != "empty" for section in report.sections)
    room -= 2 * max(0, sections - _USUAL_SECTIONS)
    chosen: list[RankedAction] = []
    for ranked in _by_need(to_do):
        lines = _lines(ranked)
        if ranked.action.urgent or lines <= room:
            chosen.append(ranked)
            room -= lines
    shown = tuple(ranked for ranked in to_do if any(ranked is each for each in chosen))
    return FrontAdvice(to_do=shown, holds=holds, mended=mended, left=len(to_do) - len(shown))


def _of(report: Report, state: str) -> tuple[RankedAction, ...]:
    return tuple(ranked for ranked in report.actions if ranked.state == state)[:MOST_KEPT]


def _by_need(to_do: Sequence[RankedAction]) -> list[RankedAction]:
    usual = [ranked for ranked in to_do if not ranked.action.urgent]
    best = {id(ranked) for ranked in {each.section_id: each for each in reversed(usual)}.values()}

    def need(ranked: RankedAction) -> int:
        if ranked.action.urgent:
            return 0
        if id(ranked) in best:
            return 1
        return 2 if ranked.state == "new" else 3

    return sorted(to_do, key=need)


def _kept_lines(kept: Sequence[RankedAction]) -> int:
    texts = (sentences(visible(ranked.action.text), LONGEST_KEPT) for ranked in kept)
    letters = sum(len(text) + _LETTERS_OF_SINCE for text in texts)
    return math.ceil((letters + _LETTERS_OF_SINCE) / _LETTERS_ACROSS) if kept else 0


def _lines(ranked: RankedAction) -> int:
    text = visible(ranked.action.text)
    because = sentences(visible(ranked.action.because), LONGEST_BECAUSE)
    return math.ceil(len(text) / _LETTERS_A_LINE) + math.ceil(len(because) / _SMALL_LETTERS_A_LINE)
