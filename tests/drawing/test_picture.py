"""Pictures: nothing leaves the paper, names keep off each other, marks lie where their values are."""

import math
import re
import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchwater import plots
from benchwater.drawing.picture import _lay_out
from benchwater.drawing.text import Box, Line

SVG = "{http://www.w3.org/2000/svg}"
NAMES = st.text(st.characters(codec="utf-8"), max_size=70)
VALUES = st.floats(-1e6, 1e6) | st.sampled_from([math.nan, math.inf, -math.inf])


def lines_of(figure: plots.Picture) -> dict[str, Line]:
    return {line.text: line for line in _lay_out(figure).lines}


def within(box: Box, figure: plots.Picture) -> bool:
    return box.left > 0 and box.top > 0 and box.right < figure.width and box.bottom < figure.height


def test_a_mark_lies_where_the_ticks_say():
    figure, axes = plots.new_figure()
    plots.line(axes, [0, 4, 10], [1, 1, 3])
    axes.set_xlim(0, 10)
    axes.set_ylim(0, 4)
    layout = _lay_out(figure)
    frame = layout.frame
    number = "([0-9.]+)"
    curve = rf'd="M{number} {number}H{number}L{number} {number}" fill="none" stroke="{plots.PALETTE[0]}"'
    at = re.search(curve, plots.to_svg(figure))
    assert at is not None
    left, low, middle, right, high = map(float, at.groups())
    assert left == pytest.approx(frame.left, abs=0.01)
    assert right == pytest.approx(frame.right, abs=0.01)
    assert (middle - left) / (right - left) == pytest.approx(0.4, abs=1e-3)
    assert (frame.bottom - low) / frame.height == pytest.approx(1 / 4, abs=1e-3)
    assert (frame.bottom - high) / frame.height == pytest.approx(3 / 4, abs=1e-3)
    middles = [line.x + line.width / 2 for line in layout.lines if line.text == "4"]
    assert any(place == pytest.approx(middle, abs=0.01) for place in middles)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(VALUES, VALUES), max_size=8),
    st.lists(NAMES, min_size=1, max_size=5),
    st.booleans(),
)
def test_whatever_is_drawn_is_whole_and_on_the_paper(
    values: list[tuple[float, float]], names: list[str], narrow: bool
):
    figure, axes = plots.new_figure(plots.HALF_MM if narrow else plots.FULL_MM, 62)
    x, y = [pair[0] for pair in values], [pair[1] for pair in values]
    plots.steps(axes, x, y, low=y, high=y, series=1, label=names[0])
    plots.interval_points(axes, x, y, y, x, label=names[-1])
    plots.reference_line(axes, names[0][:20], y=y[0] if y and math.isfinite(y[0]) else 1)
    plots.legend(axes)
    axes.set_ylabel(names[0][:30])
    tree = ElementTree.fromstring(plots.to_svg(figure))
    numbers = [
        float(number)
        for element in tree.iter(f"{SVG}path")
        for number in re.findall(r"-?[0-9.]+", element.get("d") or "")
    ]
    assert all(math.isfinite(number) for number in numbers)
    ticks = [line for line in lines_of(figure).values() if re.fullmatch("[0-9.\u2212]+", line.text)]
    assert all(within(line.box, figure) for line in ticks)


def test_names_at_the_ends_keep_off_each_other_and_in_their_order():
    figure, axes = plots.new_figure(plots.HALF_MM)
    ends = [(0.50, "a"), (0.51, "b"), (0.505, "c"), (0.98, "d"), (1.0, "e"), (0.99, "f")]
    plots.line(axes, [0, 1], [0, 1])
    axes.set_ylim(0, 1)
    plots.name_ends(axes, 1, ends)
    lines = lines_of(figure)
    order = [name for _, name in sorted(ends)]
    boxes = [lines[name].box for name in order]
    for lower, upper in pairwise(boxes):
        assert upper.bottom <= lower.top + 1e-6
    assert all(within(box, figure) for box in boxes)


def test_the_name_of_a_target_moves_to_where_less_is_in_its_way():
    def end_of(values: list[float]) -> float:
        figure, axes = plots.new_figure(plots.HALF_MM)
        plots.points(axes, range(40), values)
        axes.set_ylim(0, 10)
        plots.reference_line(axes, "the target", y=5)
        return lines_of(figure)["the target"].x

    falls = [5.4 if place < 20 else 1 for place in range(40)]
    rises = falls[::-1]
    assert end_of(falls) > end_of(rises) + 80


def test_rows_of_numbers_stand_below_their_ticks():
    figure, axes = plots.new_figure(plots.HALF_MM)
    plots.line(axes, [0, 2], [0, 1])
    axes.set(xticks=[0, 1, 2], xlabel="hours")
    plots.rows_below(axes, [("no leader", ["58", "28", "7"])])
    lines = lines_of(figure)
    for tick, number in (("0", "58"), ("1", "28"), ("2", "7")):
        ticks = [line for line in _lay_out(figure).lines if line.text == tick and line.y < lines["hours"].y]
        middles = [line.x + line.width / 2 for line in ticks]
        assert any(middle == pytest.approx(lines[number].x + lines[number].width / 2) for middle in middles)
        assert lines[number].box.top > lines["hours"].box.bottom - 1
    assert lines["no leader"].box.right < lines["58"].box.left


def test_what_reaches_beyond_the_limits_is_cut_at_them():
    figure, axes = plots.new_figure()
    plots.band(axes, [0, 1, 2], [-5, -5, -5], [5, 20, 5])
    plots.interval_points(axes, [1], [3], [-math.inf], [math.inf])
    axes.set_ylim(0, 10)
    svg = plots.to_svg(figure)
    tree = ElementTree.fromstring(svg)
    clipped = [each.get("fill") for each in tree.iter() if each.get("clip-path") == "url(#plot)"]
    assert clipped == [plots.PALETTE[0]]
    frame = _lay_out(figure).frame
    stem = next(each.get("d") for each in tree.iter(f"{SVG}path") if each.get("stroke-width") == "1.3")
    ends = sorted(float(number) for number in re.findall("[0-9.]+", stem or "")[1:])
    assert ends == pytest.approx([frame.top, frame.bottom], abs=0.01)


def test_an_empty_plot_is_a_plot():
    figure, axes = plots.new_figure()
    plots.line(axes, [], [])
    plots.steps(axes, [1.0], [math.nan])
    plots.legend(axes)
    assert {"0.0", "1.0"} <= set(lines_of(figure))
    ElementTree.fromstring(plots.to_svg(figure))
