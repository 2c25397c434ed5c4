"""A few pages of the demo look as they did when somebody last looked at them (see tests/golden/README.md)."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from benchwater.analyse.report import Report
from benchwater.render.html import render_paper
from golden import golden_pages
from render.boxes import laid_out, running_over

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def printed_pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Image.Image]:
    if shutil.which("pdftoppm") is None:
        pytest.skip("needs pdftoppm (Debian: apt-get install poppler-utils)")
    pdf = golden_pages.print_demo(tmp_path_factory.mktemp("reports"))
    pages = golden_pages.chosen_pages(pdf)
    return dict(zip(pages, golden_pages.pictures(pdf, pages.values()), strict=True))


def test_a_report_that_fails_says_so_with_its_own_words(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(golden_pages, "DEMO", tmp_path / "not there")
    with pytest.raises(RuntimeError, match=r"(?s)ended with [12] and said:.*not there"):
        golden_pages.print_demo(tmp_path)


def golden(name: str) -> Image.Image:
    with Image.open(Path(golden_pages.HERE, f"{name}.png")) as picture:
        return picture.convert("RGB")


def test_the_pages_look_as_they_did(printed_pages: dict[str, Image.Image]) -> None:
    assert sorted(printed_pages) == sorted(path.stem for path in golden_pages.HERE.glob("*.png"))
    different = {
        name: golden_pages.apart(picture, golden(name))
        for name, picture in printed_pages.items()
        if not golden_pages.alike(picture, golden(name))
    }
    assert different == {}, "if that is meant: .venv/bin/python tests/tasks.py golden"


@pytest.mark.parametrize("month", ["2026-07", None])
def test_on_a4_the_front_page_is_one_page_and_nothing_of_the_demo_runs_over(
    month: str | None, demo_report: Callable[[str | None], Report]
) -> None:
    report = demo_report(month)
    document = laid_out(render_paper(replace(report, bench=replace(report.bench, paper="a4"))))
    assert running_over(document.pages) == []
    starts = {title: place[0] for title, place, *_ in document.make_bookmark_tree()}
    assert starts["Season report"] == 0
    assert starts["For the bench"] == 1


def test_the_comparison_sees_what_an_eye_would(printed_pages: dict[str, Image.Image]) -> None:
    front, second = printed_pages["front"], printed_pages["second"]
    assert not golden_pages.alike(front, second)
    moved = Image.new("RGB", front.size, "white")
    moved.paste(front, (0, 9))
    assert not golden_pages.alike(front, moved)
    blotted = front.copy()
    ImageDraw.Draw(blotted).rectangle((40, 120, 240, 150), fill="black")
    assert not golden_pages.alike(front, blotted)
    nudged = Image.new("RGB", front.size, "white")
    nudged.paste(front, (0, 0))
    nudged.putpixel((5, 5), (0, 0, 0))
    assert golden_pages.alike(front, nudged)
