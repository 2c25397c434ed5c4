"""Plots: equal bytes, text as text, colours that differ for colour-blind readers."""

import itertools
import math
import os
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from datetime import date, timedelta
from pathlib import Path
from random import Random

import numpy as np
import pytest

from benchwater import plots
from colours import SIGHT, contrast, lab

ROOT = Path(__file__).parents[1]
SVG = "{http://www.w3.org/2000/svg}"


def _everything() -> str:
    figure, axes = plots.new_figure(170, 60)
    days = [date(2026, 3, 1) + timedelta(days=7 * week) for week in range(6)]
    values = [0.9, 0.7, 0.5, 0.3, 0.2, 0.1]
    low, high = [each - 0.05 for each in values], [each + 0.05 for each in values]
    plots.band(axes, days, low, high)
    plots.line(axes, days, values, label="a <script>alert(1)</script> & $5 each, $6 for two")
    plots.steps(axes, days, values, low=low, high=high, series=1, label="steps \x1b[31m \u65e5\u672c")
    plots.points(axes, days, values, series=2)
    plots.interval_points(axes, days, values, low, high, series=3, label="points")
    plots.window(axes, days[1], days[2], "window")
    plots.reference_line(axes, "target", y=0.1)
    plots.reference_line(axes, "then", x=days[3])
    plots.date_axis(axes)
    axes.set_ylabel("Share -->")
    plots.legend(axes)
    return plots.to_svg(figure)


def test_plot_is_svg_without_scripts_or_links() -> None:
    svg = _everything()
    assert svg == _everything()
    assert svg.startswith("<svg")
    assert "<!--" not in svg
    assert "\x1b" not in svg
    tree = ElementTree.fromstring(svg)
    tags = {element.tag.removeprefix(SVG) for element in tree.iter()}
    assert tags == {"svg", "g", "path", "rect", "text"}
    assert "href" not in svg
    said = [element.text for element in tree.iter(f"{SVG}text")]
    assert "a <script>alert(1)</script> & $5 each, $6 for two" in said
    assert {"Share -->", "target", "window", "then", "steps \\x1b[31m \u65e5\u672c"} <= set(said)
    assert "2026" not in svg
    width = float((tree.get("width") or "").removesuffix("pt"))
    assert width == pytest.approx(170 / 25.4 * 72)


def test_interval_points_lie_in_named_rows() -> None:
    figure, axes = plots.new_figure(height_mm=40)
    plots.bars(axes, ["$1 head", "second"], [3, 5])
    plots.interval_points(axes, [0, 1], [3, 5], [2, 4], [4, float("nan")], series=1, horizontal=True)
    tree = ElementTree.fromstring(plots.to_svg(figure))
    heights = {element.text: float(element.get("y") or "nan") for element in tree.iter(f"{SVG}text")}
    assert heights["$1 head"] < heights["second"]


@pytest.mark.slow
def test_two_processes_draw_equal_bytes() -> None:
    code = "import test_plots, hashlib; print(hashlib.sha256(test_plots._everything().encode()).hexdigest())"
    path = os.pathsep.join(str(ROOT / name) for name in ("src", "tests"))
    outputs = {
        subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"PYTHONPATH": path, "PYTHONHASHSEED": seed, "TZ": zone},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    }
    assert len(outputs) == 1


def test_series_colours_differ_in_grey_and_stand_out_from_the_page() -> None:
    assert len(plots.PALETTE) == len(set(plots.DASHES)) == len(set(plots.MARKERS))
    for colour in (*plots.PALETTE, plots.INK, plots.QUIET):
        assert contrast(colour, "#ffffff") >= 3
    for sight in SIGHT:
        for one, other in itertools.combinations(plots.PALETTE, 2):
            assert math.dist(lab(one, sight), lab(other, sight)) > 13, (sight, one, other)


@pytest.mark.parametrize("seed", range(30))
def test_a_line_through_what_is_seen_covers_the_line_through_all(seed: int) -> None:
    dice = Random(seed)
    days = np.sort(np.array([dice.randrange(6) for _ in range(dice.randrange(1, 60))]))
    moments = np.datetime64("2026-03-01") + days.astype("timedelta64[D]")
    values = np.cumsum([dice.choice([-2, -1, 1, 2]) for _ in days]).astype(float)
    seen = plots.thinned_steps(moments, values)
    assert np.all(np.diff(seen) > 0)
    for day in np.unique(days):
        everything, kept = values[days == day], values[seen][days[seen] == day]
        assert (everything[0], everything.min(), everything.max()) == (kept[0], kept.min(), kept.max())
        assert everything[-1] == kept[-1]
        assert len(kept) <= 4
    assert len(plots.thinned_steps(moments[:0], values[:0])) == 0


def test_a_cut_bar_shows_a_break_and_its_number() -> None:
    def drawn(most: float | None) -> str:
        figure, axes = plots.new_figure()
        plots.bars(axes, ["one", "two"], [4, 54], most=most)
        return plots.to_svg(figure)

    assert ">54<" in drawn(15)
    assert ">54<" not in drawn(None)
    assert drawn(15).count("#fff") > drawn(60).count("#fff")


def test_pale_bars_differ_from_full_ones_in_grey() -> None:
    figure, axes = plots.new_figure()
    plots.bars(axes, ["one"], [3], series=2, label="mold's share", pale=True)
    plots.bars(axes, ["one"], [1], series=1, label="rejects")
    plots.legend(axes)
    assert plots.to_svg(figure).count('fill-opacity="0.3"') == 2
