"""The HTML twin in a real browser: nothing runs off a phone, and axe-core finds nothing serious."""

from pathlib import Path

import pytest

from render.chromium import axe_findings, chromium, measured

OVERFLOWING = """
const wide = document.documentElement.clientWidth;
const inside = element => element.closest(".table") !== null;
return [[document.documentElement.scrollWidth, wide], [...document.querySelectorAll("body *")]
  .filter(each => !inside(each) && each.getBoundingClientRect().right > wide + 1)
  .map(each => each.tagName + "." + each.className).slice(0, 9),
  Math.min(...[...document.querySelectorAll("p, li, td, th")]
    .map(each => parseFloat(getComputedStyle(each).fontSize)))];
"""


@pytest.mark.slow
@pytest.mark.parametrize("width", [360, 768, 1280])
def test_nothing_runs_off_the_side_and_no_word_is_tiny(html: str, tmp_path: Path, width: int) -> None:
    chromium()
    (there, wide), running_off, smallest = measured(html, tmp_path, width, OVERFLOWING)
    assert wide == width
    assert there <= width
    assert running_off == []
    assert smallest >= (12 if width == 360 else 10)


@pytest.mark.slow
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing_serious(html: str, tmp_path: Path, width: int, dark: bool) -> None:
    found = axe_findings(html, tmp_path, width, dark=dark)
    serious = [each for each in found if each["impact"] in ("serious", "critical")]
    assert serious == []
