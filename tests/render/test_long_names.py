"""Forty molds with long names: nothing is cut off, runs over the margin or pushes the front page over."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_paper
from render.boxes import laid_out, running_over

LONG = "a six-cavity ball jig mold bought second hand from the neighbour across the water"


def _workspace(folder: Path) -> Path:
    molds = [f"{LONG} no {number:02}" for number in range(40)]
    bench = [
        '[bench]\nname = "The longest bench name on the north shore of the flowage, shed at the back"',
        'currency = "USD"\nunits = "us"\npaper = "letter"\nseason = { start = "03-01" }',
        '[items.alloy]\nkind = "metal"\nunit = "lb"\npack = "5 lb"\nprice = 24.0',
    ]
    pour = ["date,mold,cavity,fill,mold_temp,outcome,count,flaw"]
    for number, mold in enumerate(molds):
        bench.append(f'[molds."{mold}"]\nmaterial = "alloy"\nprice = 40.0\n[[molds."{mold}".cavities]]')
        bench.append('name = "one eighth of an ounce, wide gap"\nmass = "1/8 oz"\nper_fill = 2')
        bench.append(
            f'[builds."build of {mold}"]\nbought_price = 2.5\n'
            f'head = {{ mold = "{mold}", cavity = "one eighth of an ounce, wide gap" }}'
        )
        for fill in range(1, 9):
            day = date(2026, 5, 1) + timedelta(days=(number + 3 * fill) % 28)
            for outcome, count, flaw in (
                ("good", 2 - (fill == 1), ""),
                ("reject", int(fill == 1), "short fill"),
            ):
                if count:
                    cells = (day, mold, '"one eighth of an ounce, wide gap"', fill, f"{200 + 25 * fill} F")
                    pour.append(",".join(str(cell) for cell in (*cells, outcome, count, flaw)))
    fishing = ["date,build,fished,fate,count,cause"]
    fishing += [
        f"2026-05-{1 + number % 28:02},build of {mold},2 h,{fate}"
        for number, mold in enumerate(molds)
        for fate in ("kept,1,", "lost,1,snag")
    ]
    (folder / "bench.toml").write_text("\n".join(bench))
    (folder / "pour.csv").write_text("\n".join(pour))
    (folder / "fishing.csv").write_text("\n".join(fishing))
    return folder


@pytest.mark.slow
def test_forty_molds_with_long_names(tmp_path: Path) -> None:
    workspace = read_workspace(_workspace(tmp_path), workspace_plugins=False)
    assert not workspace.reading.set_aside
    assert not workspace.reading.not_read
    report = make_report(workspace, Request(month="2026-05"))
    assert not report.failed, [section.why for section in report.sections if section.status == "failed"]
    pages = laid_out(render_paper(report)).pages
    assert running_over(pages) == []
    assert len(pages) < 60
