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
        (edited('currency = "USD"', 'currency = "shells"'), 3, ["bench.currency", "ISO 4217"]),
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


SHORT = """\
[bench]
name = "Short"
currency = "$"
units = "US"
paper = "letter"
season = "03-01"

[items."soft lead"]
kind = "lead"
scale = "5 g"
pack = "5 lb"
price = "$1,024.50"
[items.hook-2]
kind = "hook"
[items.chartreuse]
kind = "powder"
[items.skirt-black]
kind = "skirt"
[items.guard]
kind = "weed guard"

[molds.round-jig]
material = "Soft-Lead"
cavities = ["1/8", "7 g"]

[builds.perch]
head = "1/8 round jig"
coat = "chartreuse"
fittings = ["skirt-black", "2 guard", "skirt-black"]
"""


def test_short_forms_say_what_the_long_ones_say():
    bench = parse_bench(SHORT).bench
    assert (bench.currency, bench.system, bench.season_start) == ("USD", "us", (3, 1))
    kinds = {name: item.kind for name, item in bench.items.items()}
    assert list(kinds.values()) == ["metal", "insert", "coat", "fitting", "fitting"]
    assert (bench.items["soft lead"].price, bench.items["soft lead"].resolution) == (1024.5, 5.0)
    assert bench.molds["round-jig"].material == "soft lead"
    assert bench.cavity("round-jig", "1/8").mass_g == pytest.approx(3.543690390625)
    assert bench.cavity("round-jig", "7 g").mass_g == 7.0
    build = bench.builds["perch"]
    assert (build.head, build.coat) == (("round-jig", "1/8"), "chartreuse")
    assert build.fittings == {"skirt-black": 2.0, "guard": 2.0}


@pytest.mark.parametrize(
    ("written", "instead"),
    [
        ("[items.hook-4/0]", '[items."hook-4/0"]'),
        ("[items.soft lead]", '[items."soft lead"]'),
        ("[items.a]\nkind = lead", 'kind = "lead"'),
        ("[items.a]\nkind = “lead”", 'kind = "lead"'),
        ('[items.a]\nkind = "lead', 'kind = "lead"'),
        ('[items.a]\nkind = "lead"\npack = 5 lb', 'pack = "5 lb"'),
        ('[items.a]\nkind: "lead"', 'kind = "lead"'),
        ('[items.a]\nkind = "lead"\nlead = yes', 'lead = "yes"'),
        ('[items.a]\nkind = "lead"\nscale = { resolution = 5 g }', 'scale = { resolution = "5 g" }'),
    ],
)
def test_what_toml_refuses_is_shown_as_it_could_be_written(written, instead):
    with pytest.raises(BenchError) as refusal:
        parse_bench(f'[bench]\nname = "A"\n{written}\n')
    line = f"line {2 + len(written.splitlines())}"
    first = str(refusal.value).splitlines()[0]
    assert first.startswith(f"bench.toml, {line}: ")
    assert first.endswith(f"write it as `{instead}`")


def test_all_that_is_wrong_is_told_at_once_in_order_with_the_line_as_it_could_be():
    text = (
        SHORT.replace('kind = "lead"', 'kind = "laed"')
        .replace("[items.hook-2]", "[items.hook 2/0]")
        .replace('"2 guard"', '"2 gaurd"')
        .replace('"$1,024.50"', '"1,5"')
        .replace('coat = "chartreuse"', 'coat = "chartruse"')
    )
    with pytest.raises(BenchError) as refusal:
        parse_bench(text)
    told = str(refusal.value).splitlines()
    assert [line.rpartition("write it as ")[2] for line in told] == [
        '`kind = "metal"`',
        "`price = 1.5`",
        '`[items."hook 2/0"]`',
        '`coat = "chartreuse"`',
        '`fittings = ["skirt-black", "2 guard", "skirt-black"]`',
    ]
