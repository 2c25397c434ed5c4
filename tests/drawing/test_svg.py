"""Paths: what is left out of a line cannot be seen, and what cannot be XML is not written."""

import math
import xml.etree.ElementTree as ElementTree
from random import Random

import pytest

from benchwater.drawing.svg import element, path, runs, short, text_of, thinned


@pytest.mark.parametrize("in_order", [True, False])
def test_a_line_of_many_points_keeps_all_that_the_eye_could_tell(in_order: bool):
    dice = Random(7)
    line = [(dice.uniform(0, 240), dice.uniform(0, 150)) for _ in range(5_000)]
    line = sorted(line) if in_order else line
    kept = list(thinned(line))
    assert kept[0] == line[0]
    assert kept[-1] == line[-1]
    for column in {across // 0.25 for across, _ in line}:
        heights = [down for across, down in line if across // 0.25 == column]
        left = [down for across, down in kept if across // 0.25 == column]
        assert (min(left), max(left)) == (min(heights), max(heights))


def test_a_long_line_has_no_more_points_than_paper():
    stock = [(240 * place / 200_000, 100 + 50 * math.sin(place / 9)) for place in range(200_000)]
    assert len(thinned(stock)) <= 4 * 961


def test_gaps_part_a_line():
    gap = (3.0, math.nan)
    assert list(runs([gap, (1, 1), (2, 2), gap, gap, (5, 5), gap])) == [[(1, 1), (2, 2)], [(5, 5)]]


def test_a_path_is_told_briefly():
    assert path([(1, 2), (1, 4.004), (1, 4), (3.5, 4), (0, 0)]) == "M1 2V4H3.5L0 0"
    assert path([(0, 0), (10, 0), (10, 5)], closed=True) == "M0 0H10V5Z"
    assert path([]) == ""
    assert [short(value) for value in (-0.001, 1.5, 2.0, -3.456)] == ["0", "1.5", "2", "-3.46"]


@pytest.mark.parametrize("text", ["a <b> & c", "\x1b[31m", "\ud800", "\u65e5\u672c", "$5"])
def test_any_text_may_stand_in_an_element(text: str):
    tree = ElementTree.fromstring(element("text", text_of(text), x=1.0))
    assert (tree.text or "") == text.replace("\x1b", "").replace("\ud800", "")
    assert tree.get("x") == "1"
