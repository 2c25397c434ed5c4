"""`start` in a folder of logs: it writes what they name, asks on a terminal, and can be stopped."""

import sys

import click
import pytest

from benchwater.pipeline import read_workspace
from benchwater.read.bench_file import load_bench
from command_line import run
from small_bench import write_files

LOGS = {
    "pour.csv": "date,mold,cavity,outcome,count\n2026-04-01,round-jig,1/8,good,9\n"
    "2026-04-02,round-jig,ball,good,9\n2026-04-02,grub mold,two inch,good,9\n",
    "stock.csv": "date,item,move,amount,cost\n2026-04-01,soft lead,received,5 lb,$24\n"
    "2026-04-01,tin bar,counted,1 lb,\n2026-04-01,2/0 hook,received,50,$9\n",
    "fished.csv": "date,build,fished,fate\n2026-04-03,perch grub,1 h,kept\n",
}
SAID = {
    "What is this bench called?": "Alder Flat",
    "First day": "03-01",
    "What do you pour into round-jig": "tin bar",
    "Does tin bar hold lead": "no",
    "ball of round-jig weigh": "1/4 oz",
    "goes into 1/8 of round-jig": "2/0 hook",
    "goes into ball of round-jig": "none",
    "goes into two inch of grub mold": "none",
    "pack of soft lead": "5 lb",
}


@pytest.fixture
def folder(tmp_path):
    return write_files(tmp_path, LOGS)


class Terminal:
    def isatty(self):
        return True


def answering(monkeypatch, said, stop_at=None):
    asked = []

    def prompt(text, default, **_):
        asked.append(text)
        if stop_at is not None and stop_at in text:
            raise click.Abort
        return next((answer for part, answer in said.items() if part in text), default)

    monkeypatch.setattr(sys, "stdin", Terminal())
    monkeypatch.setattr(click, "prompt", prompt)
    return asked


def test_without_a_terminal_it_writes_what_it_found_and_claims_no_more(folder):
    before = read_workspace(folder)
    outcome = run("start", folder)
    assert outcome.status == 0
    text = (folder / "bench.toml").read_text(encoding="utf-8")
    assert 'material = "?"' in text
    after = read_workspace(folder)
    assert not after.reading.set_aside
    assert dict(after.bench.molds) == dict(before.bench.molds)
    assert {name: item.use_known for name, item in after.bench.items.items()} == {
        name: item.use_known for name, item in before.bench.items.items()
    }
    assert not (folder / "logs").exists()


def test_on_a_terminal_the_answers_are_what_bench_toml_says(folder, monkeypatch):
    answering(monkeypatch, SAID)
    assert run("start", folder).status == 0
    bench = load_bench(folder).bench
    assert (bench.name, bench.season_start) == ("Alder Flat", (3, 1))
    mold = bench.molds["round-jig"]
    assert mold.material == "tin bar"
    assert (mold.cavities["1/8"].insert, mold.cavities["ball"].insert) == ("2/0 hook", None)
    assert mold.cavities["ball"].mass_g == pytest.approx(7.08738078125)
    assert bench.items["tin bar"].holds_lead is False
    assert bench.items["soft lead"].pack == pytest.approx(2267.96185)
    assert bench.items["2/0 hook"].use_known


def test_a_stopped_run_is_taken_up_where_it_stopped(folder, monkeypatch):
    answering(monkeypatch, SAID, stop_at="Does tin bar hold lead")
    assert run("start", folder).status == 130
    assert not (folder / "bench.toml").exists()
    asked = answering(monkeypatch, SAID)
    outcome = run("start", folder)
    assert "Taking up where you stopped." in outcome.out
    assert asked[0].startswith("Does tin bar hold lead")
    assert load_bench(folder).bench.name == "Alder Flat"
    assert sorted(path.name for path in folder.iterdir()) == [
        "bench.toml", "fished.csv", "plugins", "pour.csv", "reports", "stock.csv",
    ]  # fmt: skip


def test_an_answer_that_cannot_be_meant_is_asked_again(folder, monkeypatch):
    answers = iter(["shells", "EUR"])
    asked = answering(monkeypatch, {})

    def prompt(text, default, **_):
        asked.append(text)
        return next(answers) if text.startswith("Currency") else default

    monkeypatch.setattr(click, "prompt", prompt)
    outcome = run("start", folder)
    assert "`shells` is not a currency" in outcome.out
    assert load_bench(folder).bench.currency == "EUR"
