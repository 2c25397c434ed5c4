from pathlib import Path

import pytest

from benchwater.read.bench_file import BenchError, load_bench, parse_bench
from small_bench import SMALL_BENCH


def test_the_bench_is_read_in_canonical_units():
    bench = parse_bench(SMALL_BENCH).bench
    assert bench.items["alloy"].pack == pytest.approx(2267.96185)
    assert bench.items["alloy"].resolution == 5.0
    assert bench.items["hook-2"].unit == "pieces"
    cavity = bench.cavity("round-jig", "1/8")
    assert cavity.mass_g == pytest.approx(3.543690390625)
    assert (cavity.tolerance, cavity.per_fill) == (0.05, 2)
    assert bench.builds["perch-grub"].coat_mass_g == 0.15
    assert bench.season_start == (3, 1)


def edited(old, new):
    assert old in SMALL_BENCH
    return SMALL_BENCH.replace(old, new)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (edited('kind = "metal"', 'kind = "meatl"'), 13, ["items.alloy.kind", "meatl", "metal"]),
        (
            edited('material = "alloy"', 'material = "aloy"'),
            28,
            ["molds.round-jig.material", "aloy", "`alloy`"],
        ),
        (edited('mass = "1/8 oz"', 'mass = "4/0"'), 31, ["cavities[1].mass", "4/0", "hook size"]),
        (edited("price = 24.0", "prise = 24.0"), 17, ["items.alloy.prise", "`price`"]),
        (edited("price = 24.0", 'lead = "yes"'), 17, ["items.alloy.lead", "`true` or `false`"]),
        (edited("pack = 50", 'pack = "1 lb"'), 21, ["items.hook-2.pack"]),
        (edited("per_fill = 2", "per_fill = 0"), 33, ["per_fill"]),
        (edited('currency = "USD"', 'currency = "dollars"'), 3, ["bench.currency", "ISO 4217"]),
        (edited('start = "03-01"', 'start = "31-01"'), 6, ["bench.season.start"]),
        (edited('cavity = "1/8" }', 'cavity = "1/4" }'), 36, ["builds.perch-grub.head.cavity", "1/8"]),
        (edited('mold_temp = "degF"', 'mold_temp = "hot"'), 9, ["defaults.mold_temp", "hot"]),
        (edited('[items.black]\nkind = "coat"', "[items.black]"), 24, ["items.black", "needs a key `kind`"]),
        (edited("[builds.perch-grub]", "[build.perch-grub]"), 35, ["build", "`builds`"]),
        (edited('name = "Small bench"', "name = Small bench"), 2, ["not valid TOML"]),
    ],
)
def test_what_is_wrong_is_one_sentence_with_its_key_and_line(text, line, words):
    with pytest.raises(BenchError) as refusal:
        parse_bench(text)
    message = str(refusal.value)
    assert f"line {line}" in message
    for word in words:
        assert word in message


def test_a_missing_file_says_where_it_was_looked_for_and_how_to_get_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for folder in (Path(), tmp_path / "logs" / ".."):
        with pytest.raises(BenchError) as refusal:
            load_bench(folder)
        assert f"in {tmp_path.resolve()}: `benchwater start FOLDER`" in str(refusal.value)


def test_a_table_bench_is_needed():
    with pytest.raises(BenchError, match=r"\[bench\]"):
        parse_bench("")


def test_documented_defaults_that_stand_in_are_told():
    bench = parse_bench("[bench]\n").bench
    assert (bench.currency, bench.system, bench.paper) == ("USD", "us", "letter")
    assert len(bench.fallbacks) == 5


def test_the_bench_cannot_be_changed_by_an_analysis():
    bench = parse_bench(SMALL_BENCH).bench
    for facts in (bench.items, bench.molds, bench.builds, bench.molds["round-jig"].cavities):
        with pytest.raises(TypeError):
            facts["new"] = None  # type: ignore[index]
