"""Logs of nonsense: what page one and the sections say of them, and what they never say."""

import html
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from benchwater.pipeline import Request, make_report, read_workspace
from benchwater.render.html import render_paper

BENCH = """
[bench]
name = "Bench under attack"
currency = "USD"
units = "us"
season = { start = "03-01" }
[defaults]
mold_temp = "degF"
mass = "g"
fished = "h"
length = "in"
[items.alloy]
kind = "metal"
unit = "g"
scale = { resolution = "1 g" }
melts = "247 degC"
pack = "1 lb"
price = 5.20
[items.hook]
kind = "insert"
pack = 50
price = 10.00
mass = "0.4 g"
[molds.jig]
material = "alloy"
metal_mass = "0.6 lb"
price = 40.00
[[molds.jig.cavities]]
name = "1/4"
mass = "1/4 oz"
insert = "hook"
per_fill = 4
[builds.bare]
head = { mold = "jig", cavity = "1/4" }
bought_price = 2.00
planned_hours = 20
"""
DAYS = [f"2026-{month:02}-{day:02}" for month in (4, 5) for day in (3, 10, 17, 24)]
STOCK, BAITS = "date,item,move,amount\n", "date,build,fished,fate,count,cause,water,trip\n"


def poured(good: int = 3, mass: str = "") -> str:
    """Six fills of four castings on each of eight days, `good` ones of each fill weighed together."""
    rows = ["date,mold,cavity,outcome,count,fill,mold_temp,mass,flaw"]
    for day in DAYS:
        for fill in range(1, 7):
            at = f"{fill},{250 + 10 * fill}"
            rows += [f"{day},jig,1/4,good,{good},{at},{mass},"] if good else []
            rows += [f"{day},jig,1/4,reject,{4 - good},{at},,short fill"] if good < 4 else []
    return "\n".join([*rows, ""])


def fished() -> str:
    rows = [f"{day},bare,2,lost,1,snag,pond,1\n{day},bare,3,kept,2,,pond,1\n" for day in DAYS]
    return BAITS + "".join(rows)


def caught(odd: str) -> str:
    rows = [f"{day},black crappie,bare,2,{9 + n % 3},pond,1\n" for n, day in enumerate(DAYS)]
    return "date,species,build,count,length,water,trip\n" + "".join(rows) + odd


@dataclass(frozen=True, kw_only=True)
class Attack:
    """Logs; what page one says; what a section says, by id; what is said nowhere; and statuses in the season.

    All are patterns.
    """

    logs: Mapping[str, str]
    page_one: tuple[str, ...] = ()
    sections: Mapping[str, str] = field(default_factory=dict)
    nowhere: tuple[str, ...] = ()
    statuses: Mapping[str, str] = field(default_factory=dict)


PLAN = {"pour.csv": poured(), "baits.csv": fished()}
ATTACKS = {
    "all rejects": Attack(
        logs={"pour.csv": poured(good=0), "baits.csv": fished()},
        page_one=("Get good castings out of jig 1/4 before you pour it", "192 this season", "100 %"),
        sections={"pour_plan": "Nothing can be promised before the mold works", "cost": "no known cost"},
        nowhere=(r"Pour \d+ fill", r"Buy \d+ pack", r"% sure that", r"saved \$"),
        statuses={"cost": "thin"},
    ),
    "one trip, all lost": Attack(
        logs={"pour.csv": poured(), "baits.csv": f"{BAITS}2026-05-24,bare,2,lost,7,snag,pond,1\n"},
        page_one=("Only 7 lost baits of 7 on 1 trip", "7 baits ended on 1 day so far"),
        nowhere=(r"% sure", r"Of 100 new baits", r"Pour \d+ fill"),
        statuses={"bait_mortality": "thin", "pour_plan": "thin"},
    ),
    "fishing rows without any catch log": Attack(
        logs=PLAN,
        sections={"catch_rate": "No fish log is kept"},
        nowhere=(r"fish per hour", r"fish an hour", r"without a fish\b", r"\b0 fish", r"per fish"),
        statuses={"catch_rate": "empty", "catch_size": "empty"},
    ),
    "pour rows alone": Attack(
        logs={"pour.csv": poured(good=4)},
        page_one=("Start a fishing log",),
        sections={"cost": "no log says that a bait of it was dressed"},
        nowhere=(r"saved \$[1-9]", r"[1-9]\d* baits? (made|dressed|saved)", r"at this season's pace"),
        statuses={"pour_plan": "thin", "bait_mortality": "empty"},
    ),
    "grams read as ounces": Attack(
        logs={
            "bench.toml": BENCH.replace('mass = "g"', 'mass = "oz"', 1),
            "pour.csv": poured(mass="22.4"),
            "stock.csv": f"{STOCK}2026-04-01,alloy,counted,3000 g\n2026-05-31,alloy,counted,1979 g\n",
        },
        page_one=("are they grams", "All 144 weighed castings weigh 28 times their nominal mass"),
        sections={"material_balance": "the book of alloy closes", "cost": "144 weighed castings grams"},
        nowhere=("Weigh 3 or more", "Look again at", "missing", "more than the book says"),
    ),
    "ounces under a heading of grams": Attack(
        logs={
            "pour.csv": poured(mass="0.79"),
            "stock.csv": f"{STOCK}2026-04-01,alloy,counted,3000 g\n2026-05-31,alloy,counted,1979 g\n",
        },
        page_one=("are they ounces", "28 times less than their nominal mass"),
        sections={"material_balance": "the book of alloy closes", "cost": "144 weighed castings ounces"},
        nowhere=("Weigh 3 or more", "Look again at", "missing", "more than the book says"),
    ),
    "ounces under a heading of grams, no stock log": Attack(
        logs={"pour.csv": poured(mass="0.79"), "baits.csv": fished()},
        sections={"cost": "144 weighed castings ounces"},
        statuses={"material_balance": "empty"},
    ),
    "a row of 50,000 fish": Attack(
        logs={**PLAN, "fish.csv": caught("2026-05-24,black crappie,bare,50000,,pond,1\n")},
        page_one=("Look again at fish.csv line 10: it says 50000 fish in one row",),
        sections={"catch_rate": "16 fish in 64 hours", "catch_size": "16 fish of 1 species were logged"},
        nowhere=(r"500(02|16) fish", r"\$0\.00 per fish"),
    ),
    "a bass of 3 m": Attack(
        logs={**PLAN, "fish.csv": caught("2026-05-24,largemouth bass,bare,1,3 m,pond,1\n")},
        page_one=("a largemouth bass of 118.1 in would be longer than",),
        sections={"catch_rate": "17 fish in 64 hours", "catch_size": "Its size is not used"},
        nowhere=("biggest largemouth bass",),
    ),
    "a winter between two seasons": Attack(
        logs={
            "pour.csv": poured(),
            "stock.csv": f"{STOCK}2025-09-01,alloy,counted,5000 g\n2025-09-30,alloy,counted,4000 g\n"
            "2026-05-31,alloy,counted,1500 g\n2025-09-30,hook,counted,300\n2026-04-01,hook,counted,240\n"
            "2026-05-31,hook,counted,48\n",
        },
        sections={
            "material_balance": r"hook opens with the count of 1 April\. It is 60 less than the count of "
            r"30 September 2025 .* what went between seasons is not looked for"
        },
        nowhere=(r"Look for", r"Log what brought", r"60 missing", r"does not close"),
    ),
    "counts of 200, 188, 178 and 166, and 10 used each month": Attack(
        logs={
            "stock.csv": f"{STOCK}2026-03-01,hook,counted,200\n2026-03-10,hook,used,10\n"
            "2026-03-31,hook,counted,188\n2026-04-10,hook,used,10\n2026-04-30,hook,counted,178\n"
            "2026-05-10,hook,used,10\n2026-05-31,hook,counted,166\n"
        },
        sections={"material_balance": "the book of hook does not close: 4 missing"},
        statuses={"material_balance": "ok"},
    ),
}


def words(markup: str) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>|src=\"data:[^\"]*\"", " ", markup)))


@pytest.mark.parametrize("name", ATTACKS)
def test_nonsense_is_asked_about_and_not_believed(name: str, tmp_path: Path) -> None:
    attack = ATTACKS[name]
    for file, text in {"bench.toml": BENCH, **attack.logs}.items():
        (tmp_path / file).write_text(text, encoding="utf-8")
    report = make_report(read_workspace(tmp_path, workspace_plugins=False), Request())
    assert not report.set_aside
    assert not report.failed
    paper = render_paper(report)
    start, glance = paper.index('<header class="front"'), paper.index('id="glance"')
    first = words(paper[start : paper.index("</section>", glance)])
    said = {
        section.id: " ".join(
            text
            for part in section.parts
            for text in (
                *(part.section.why, part.section.unsaid),
                *(finding.text for finding in part.section.findings),
                *(f"{action.text} {action.because}" for action in part.section.actions),
                *(line.text for card in part.section.cards for line in card.lines),
            )
        )
        for section in report.sections
    }
    for wanted in attack.page_one:
        assert re.search(wanted, first), f"page one lacks {wanted!r}: {first}"
    for id, wanted in attack.sections.items():
        assert re.search(wanted, said[id]), f"{id} lacks {wanted!r}: {said[id]}"
    for refused in (*attack.nowhere, r"100 % sure", r"\bnan\b", r"\binf\b"):
        for id, text in {**said, "page one": first}.items():
            assert not re.search(refused, text), f"{id} says {refused!r}: {text}"
    found = {section.id: section.parts[-1].section.status for section in report.sections}
    assert found | dict(attack.statuses) == found
