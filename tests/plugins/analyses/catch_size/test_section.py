"""Catch size: small seasons whose answer is known by hand, then the demo season against its truth."""

import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from benchwater.plugin import Analysis, Section
from benchwater.testing import finding, make_season, plugin_file, records, table
from reference_cases import worked_examples

ROOT = Path(__file__).parents[4]
ANALYSIS: Analysis = next(iter(plugin_file(ROOT / "plugins/analyses/catch_size").analyses()))
BENCH = """
[bench]
name = "Test bench"
units = "us"
[items.alloy]
kind = "metal"
[molds.ball]
material = "alloy"
[[molds.ball.cavities]]
name = "1/8"
mass = "1/8 oz"
[builds.plain]
head = { mold = "ball", cavity = "1/8" }
"""
METRIC = BENCH.replace('"us"', '"metric"')


def whole(*rows: str, bench: str = BENCH) -> Section:
    """Rows of species, count, length, mass."""
    lines = [f"2026-05-01,plain,{row}" for row in rows]
    made = make_season(bench, {"fish.csv": "\n".join(["date,build,species,count,length,mass", *lines, ""])})
    return ANALYSIS.analyse(made.season, made.whole)


def sizes(section: Section, species: str) -> dict[object, object]:
    """Fish by category, those with any."""
    rows = [row for row in records(section, "lengths") if row["species"] == species]
    return {row["category"]: row["fish"] for row in rows if row["fish"]}


def named(inputs: dict[str, Any]) -> str:
    return f"{inputs['species']} ({inputs['group']})" if inputs["group"] else str(inputs["species"])


def ids(section: Section) -> list[str]:
    return [entry.id for entry in section.findings]


@pytest.mark.parametrize(("inputs", "expected", "tol"), [case[1:] for case in worked_examples("psd")])
def test_psd_of_the_worked_examples(inputs: dict[str, Any], expected: dict[str, Any], tol: float) -> None:
    section = whole(*(f"{named(inputs)},,{length} mm," for length in inputs["tl_mm"]), bench=METRIC)
    if expected["psd"] is None:
        assert "psd" not in ids(section)
        return
    found = finding(section, "psd", named(inputs))
    assert (found.n, found.unit) == (expected["n_stock"], "1")
    assert found.value == pytest.approx(expected["psd"] / 100, rel=tol)
    for key in ("psd_p", "psd_m", "psd_t"):
        assert found.more[key] == pytest.approx(expected[key] / 100, rel=tol)


@pytest.mark.parametrize(
    ("inputs", "expected", "tol"), [case[1:] for case in worked_examples("relative_weight")]
)
def test_relative_weight_of_the_worked_examples(
    inputs: dict[str, Any], expected: dict[str, Any], tol: float
) -> None:
    species = "Walleye" if inputs["species"] == "Walleye" else named(inputs)
    section = whole(f"{species},,{inputs['tl_mm']} mm,{inputs['w_g']} g", bench=METRIC)
    if expected["wr"] is None:
        assert records(section, "condition") == []
        assert finding(section, "outside_equation", species).value == 1
        return
    (row,) = records(section, "condition")
    assert row["mean_wr"] == pytest.approx(expected["wr"], rel=tol)
    assert (row["fish"], row["low"], row["high"]) == (1, None, None)
    assert "Too few" in finding(section, "relative_weight", species).text


def test_the_docstring_s_example() -> None:
    section = whole("yellow perch,3,8 1/2 in,", "Yellow Perch,1,6 in,1.4 oz", "perca flavescens,,,")
    found = finding(section, "psd", "yellow perch")
    assert (found.value, found.n) == (0.75, 4)
    assert found.text.startswith(
        "yellow perch: of 4 fish of 5 in or longer, 3 were of a good size (8 in or longer)"
    )
    assert round(finding(section, "relative_weight", "yellow perch").value or 0) == 86
    assert sizes(section, "yellow perch") == {"stock": 1, "quality": 3, "not measured": 1}
    (row,) = records(section, "length_summary")
    assert (row["fish"], row["measured"]) == (5, 4)
    assert row["median_mm"] == row["longest_mm"] == pytest.approx(8.5 * 25.4)


def test_limits_are_those_published_in_the_bench_s_unit() -> None:
    # 5 in is stock length of a crappie where lengths are in inches, 130 mm where they are in mm.
    assert sizes(whole("black crappie,,5 in,"), "black crappie") == {"stock": 1}
    assert sizes(whole("black crappie,,127 mm,", bench=METRIC), "black crappie") == {"under stock": 1}


def test_mass_is_that_of_one_fish_also_where_several_are_alike() -> None:
    one = finding(whole("bluegill,,160 mm,126 g"), "relative_weight", "bluegill")
    three = finding(whole("bluegill,3,160 mm,126 g"), "relative_weight", "bluegill")
    assert one.value == three.value
    assert (one.n, three.n) == (1, 3)


def test_lengths_outside_the_equation_are_counted_and_not_used() -> None:
    section = whole("yellow perch,,3.5 in,9 oz", "yellow perch,2,9 in,5 oz", "yellow perch,,9 1/2 in,6 oz")
    found = finding(section, "outside_equation", "yellow perch")
    assert (found.value, found.n) == (1, 1)
    assert "1 of 4 measured fish" in found.text
    assert "3.9 in and longer" in found.text
    (row,) = records(section, "condition")
    assert row["fish"] == 3
    assert isinstance(row["mean_wr"], float)
    assert row["mean_wr"] < 110


def test_a_species_without_a_standard_gets_lengths_only() -> None:
    section = whole("mud minnow,5,4 in,1 oz", "mud minnow,,,")
    assert sizes(section, "mud minnow") == {"measured": 5, "not measured": 1}
    assert finding(section, "no_standard").text.endswith("mud minnow.")
    assert not {"psd", "relative_weight"} & set(ids(section))
    assert section.status == "ok"


def test_a_sub_group_is_asked_for_and_not_guessed() -> None:
    section = whole("brown trout,,12 in,1 lb")
    assert "write `brown trout (lentic)` or `brown trout (lotic)`" in finding(section, "choose_standard").text
    assert not {"psd", "relative_weight"} & set(ids(section))
    chosen = whole("brown trout (lotic),,12 in,1 lb")
    assert finding(chosen, "relative_weight").group == "brown trout (lotic)"
    assert "choose_standard" not in ids(chosen)


def test_a_slip_of_the_pen_is_pointed_at() -> None:
    section = whole("largemouth bass,,12 in,1 lb", "largemouth bass,,12 in,10 lb")
    assert "fish.csv line 3" in finding(section, "odd_weight").text
    assert finding(section, "relative_weight").n == 1, "and not believed"


def test_a_bass_of_three_metres_is_asked_about_and_not_believed() -> None:
    usual = ["largemouth bass,,12 in,1 lb", "largemouth bass,,14 in,"]
    section = whole(*usual, "largemouth bass,,3000 mm,")
    odd = finding(section, "odd_length")
    assert (odd.value, odd.unit, odd.headline) == (3000, "mm", True)
    assert "fish.csv line 4: a largemouth bass of 118.1 in would be longer than any on record" in odd.text
    (row,) = records(section, "length_summary")
    assert (row["fish"], row["measured"], row["longest_mm"]) == (3, 2, pytest.approx(14 * 25.4))
    # The all-tackle record of 22 lb 4 oz was 32.5 in long (from memory).
    assert "odd_length" not in ids(whole(*usual, "largemouth bass,,32.5 in,"))
    own = [f"mud minnow,,{length} in," for length in (3, 3.5, 4, 4, 4.5)]
    assert "odd_length" in ids(whole(*own, "mud minnow,,40 in,"))
    assert "odd_length" not in ids(whole(*own[:3], "mud minnow,,40 in,"))


def test_a_row_of_fifty_thousand_fish_is_asked_about_and_not_counted() -> None:
    section = whole("bluegill,20,6 in,3 oz", "bluegill,50000,6 in,")
    assert finding(section, "odd_count").value == 50_000
    assert finding(section, "fish").value == 20
    assert whole("bluegill,50000,6 in,").status == "thin"


def test_the_biggest_fish_of_each_species_is_on_the_card() -> None:
    rows = "date,build,species,length,mass,angler\n"
    rows += "2026-05-01,plain,bluegill,7 in,5 oz,Orrin\n2026-05-02,plain,bluegill,8 in,,Tamsin\n"
    rows += "2026-05-03,plain,mud minnow,,1 oz,\n2026-05-03,plain,largemouth bass,3000 mm,,\n"
    made = make_season(BENCH, {"fish.csv": rows}, "2026-05")
    (card,) = ANALYSIS.analyse(made.season, made.whole).cards
    assert (card.id, card.order) == ("best", 60)
    assert [(line.label, line.text) for line in card.lines] == [
        ("Biggest bluegill", "8.0 in, 2 May, on plain, by Tamsin"),
        ("Biggest mud minnow", "1 oz, 3 May, on plain"),
    ]
    assert ANALYSIS.analyse(made.season, made.period).cards == ()


def test_few_measured_fish_are_thin_and_no_fish_is_empty() -> None:
    section = whole("bluegill,9,,", "bluegill,,6 in,")
    assert section.status == "thin"
    assert sizes(section, "bluegill") == {"quality": 1, "not measured": 9}
    assert [whole(f"bluegill,{fish},6 in,").status for fish in (4, 5)] == ["thin", "ok"]
    unmeasured = whole("bluegill,9,,")
    assert (unmeasured.status, unmeasured.figures) == ("thin", ())
    rows = "date,build,species\n2026-04-01,plain,bluegill\n"
    made = make_season(BENCH, {"fish.csv": rows}, "2026-05")
    assert ANALYSIS.analyse(made.season, made.period).status == "empty"


def test_it_says_what_an_angler_s_sample_is_and_gives_no_advice() -> None:
    section = whole("bluegill,20,6 in,3 oz")
    assert "the catch and not the water" in finding(section, "caution").text
    assert section.actions == ()
    assert any("Hillman (1982)" in method for method in section.methods)


def test_the_contract_s_columns() -> None:
    section = whole("bluegill,,6 in,3 oz")
    assert [column.name for column in table(section, "lengths").columns] == ["species", "category", "fish"]
    names = [column.name for column in table(section, "condition").columns]
    assert names == ["species", "fish", "mean_wr", "low", "high"]


# --- the demo season -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sections(demo) -> tuple[Section, Section]:
    made = demo()
    return ANALYSIS.analyse(made.season, made.period), ANALYSIS.analyse(made.season, made.whole)


def test_the_demo_s_short_fish_are_counted_as_drawn(truth, sections) -> None:
    _, section = sections
    drawn = Counter(entry["species"] for entry in truth["lengths_below_equation"])
    told = {entry.group: entry.value for entry in section.findings if entry.id == "outside_equation"}
    assert told == drawn


def test_the_demo_s_true_relative_weights_lie_within_the_limits(truth, sections) -> None:
    _, section = sections
    for species, wr in truth["relative_weight"].items():
        found = finding(section, "relative_weight", species)
        assert found.low is not None
        assert found.high is not None
        assert found.low <= wr <= found.high


@pytest.mark.parametrize("part", [0, 1])
def test_the_demo_s_fish_add_up_to_the_log(part: int, demo, sections) -> None:
    made = demo()
    logged = made.season.rows("catch", (made.period, made.whole)[part])
    by_species = logged.groupby("species")["count"].sum().to_dict()
    summed: Counter[object] = Counter()
    for row in records(sections[part], "lengths"):
        summed[row["species"]] += int(str(row["fish"]))
    assert summed == by_species
    assert finding(sections[part], "fish").value == logged["count"].sum()


def test_the_demo_says_the_same_twice(demo, sections) -> None:
    made = demo()
    again = (ANALYSIS.analyse(made.season, made.period), ANALYSIS.analyse(made.season, made.whole))
    assert again == sections


@pytest.mark.parametrize(
    ("bench", "axis"), [(BENCH, "8 9 10 11 12 in"), (METRIC, "200 220 240 260 280 300 320 mm")]
)
def test_the_figure_is_drawn_in_the_unit_that_it_names(bench: str, axis: str) -> None:
    svg = whole("yellow perch,3,8 in,", "yellow perch,2,12 in,", bench=bench).figures[0].svg
    assert [*re.findall(r">(\d+)<", svg), *re.findall(r"total length, (\w+)", svg)] == axis.split()
