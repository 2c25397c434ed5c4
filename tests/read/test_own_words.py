"""A maker's own words in bench.toml: they count before all others, and `check --mend` writes them."""

import tomllib
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from benchwater.commands import check as check_module
from benchwater.commands.check import check
from benchwater.pipeline import read_workspace
from benchwater.read.bench_table import BenchError
from small_bench import SMALL_BENCH

WORDS = """
[words.columns]
"Gubbins" = "count"
[words.pour.columns]
"Bait" = "cavity"
[words.values]
"iffy" = "reject"   # never sold
"bubbles" = "flash"
[words.names]
"ball" = "round-jig 1/8"
"small hooks" = "hook-2"
"""
POUR = "date,mold,Bait,outcome,Gubbins,flaw\n2026-05-02,round-jig,1/8,iffy,12,bubbles\n"


def workspace(folder, words=WORDS, **logs):
    (folder / "bench.toml").write_text(SMALL_BENCH + words)
    for name, text in logs.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


def test_own_columns_values_and_names_are_read_as_the_maker_says(tmp_path):
    stock = "date,item,move,amount\n2026-05-02,Small hooks,received,50\n"
    heads = "date,mold,outcome\n2026-05-03,ball,good\n"
    reading = read_workspace(workspace(tmp_path, pour=POUR, stock=stock, heads=heads)).reading
    assert not reading.set_aside
    assert not reading.not_read
    pour = reading.tables["pour"]
    assert pour["count"].tolist() == [12, 1]
    assert pour["outcome"].tolist() == ["reject", "good"]
    assert pour["flaw"].tolist()[0] == "flash", "the maker's word counts before everybody's"
    assert pour["cavity"].tolist() == ["1/8", "1/8"]
    assert reading.tables["inventory"]["item"].tolist() == ["hook-2"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ('[words.columns]\n"Gubbins" = "cont"\n', "did you mean `count`"),
        ('[words.values]\n"iffy" = "?"\n', "what it stands for"),
        ('[words.values]\n"iffy" = "rejct"\n', "did you mean `reject`"),
        ('[words.names]\n"ball" = "round-jig 1/4"\n', "no item, mold, cavity"),
        ('[words.pours.values]\n"iffy" = "reject"\n', "a log `pours`"),
    ],
)
def test_a_word_for_what_there_is_not_is_told_with_its_line(tmp_path, words, told):
    with pytest.raises(BenchError, match=r"bench\.toml, line [0-9]+: `words\.") as refusal:
        read_workspace(workspace(tmp_path, words, pour=POUR))
    assert told in str(refusal.value)


LOGS = {
    "pour": "date,mold,cavity,outcome,flaw\n"
    + "2026-05-02,round-jig,1/8,iffy,\n" * 3
    + "2026-05-02,round-jig,1/8,good,wonky\n2026-05-02,roundish,1/8,good,\n",
}


def test_check_prints_the_lines_to_paste_most_rows_first(tmp_path):
    result = CliRunner().invoke(check, [str(workspace(tmp_path, "", **LOGS))], standalone_mode=False)
    lines = result.output.splitlines()
    assert '  iffy = "?"  # "good", "reject" or "blank"; 3 rows' in lines
    assert lines.index("  [words.values]") < lines.index("  [words.names]")


def test_mend_asks_on_a_terminal_and_writes_with_comments_kept(tmp_path, monkeypatch):
    folder = workspace(tmp_path, "\n[plan]   # what I aim at\nservice_level = 0.9\n", **LOGS)
    monkeypatch.setattr(check_module, "sys", SimpleNamespace(stdin=SimpleNamespace(isatty=lambda: True)))
    before = (folder / "bench.toml").read_text()
    result = CliRunner().invoke(check, [str(folder), "--mend"], input="2\n1\n0\n", standalone_mode=False)
    assert "`iffy` under `outcome` (3 rows): is it `good`, `reject` or `blank`?" in result.output
    after = (folder / "bench.toml").read_text()
    assert after.startswith(before)
    assert tomllib.loads(after)["words"] == {"values": {"iffy": "reject"}, "names": {"roundish": "round-jig"}}
    reading = read_workspace(folder).reading
    assert reading.tables["pour"]["outcome"].tolist() == ["reject"] * 3 + ["good"] * 2


def test_mend_says_what_it_would_ask_where_nobody_can_answer(tmp_path):
    folder = workspace(tmp_path, "", **LOGS)
    before = (folder / "bench.toml").read_text()
    result = CliRunner().invoke(check, [str(folder), "--mend"], standalone_mode=False)
    assert "On a terminal this would ask:" in result.output
    assert "`iffy` under `outcome` (3 rows)" in result.output
    assert (folder / "bench.toml").read_text() == before
