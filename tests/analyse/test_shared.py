import os
from datetime import date

import pytest

from benchwater.analyse.run import run_analyses
from benchwater.analyse.shared import run_shared
from benchwater.analyse.vitals import run_vitals
from benchwater.aside import sharing
from benchwater.aside.second_process import of_use
from benchwater.plugin import Analysis, Bench, Finding, Season, Section, Span, Vital
from benchwater.plugin_host.loaded import LoadedPlugin

PERIOD = Span(name="period", label="2026-05", start=date(2026, 5, 1), end=date(2026, 6, 1))
WHOLE = Span(name="season", label="season", start=date(2026, 3, 1), end=date(2026, 6, 1))
SEASON = Season(Bench(name="b"), {}, WHOLE.start, WHOLE.end)
SHIPPED = LoadedPlugin(name="s", origin="shipped", where="s.py", log_kinds=(), analyses=())
OWN = LoadedPlugin(name="o", origin="workspace", where="o.py", log_kinds=(), analyses=())


@pytest.fixture(params=[True, False], ids=["two", "one"])
def processes(request, monkeypatch):
    if request.param and not of_use():
        pytest.skip("no second process on this machine")
    monkeypatch.setattr(sharing, "of_use", lambda: request.param)


def counted(id, analyse, plugin=SHIPPED):
    def vitals(season, span):
        return (Vital(id=id, label=id, value=float(span.start.month), unit="1"),)

    made = Analysis(id=id, title=id, question="?", order=1, analyse=analyse, vitals=vitals)
    return made, plugin


def fine(season, span):
    return Section(status="ok", findings=(Finding(id="f", text=f"Fine in {span.label}."),))


def broken(season, span):
    raise KeyError("no such column")


def test_what_comes_of_it_is_what_comes_of_running_each_here_one_after_the_other(processes):
    analyses = [counted("a", fine), counted("b", broken), *(counted(f"c{n}", fine) for n in range(9))]
    failures: list[tuple[str, str]] = []
    analysed = run_shared(
        analyses, SEASON, [PERIOD, WHOLE], WHOLE, on_failure=lambda *told: failures.append(told)
    )
    assert analysed.sections == run_analyses(analyses, SEASON, [PERIOD, WHOLE])
    assert (analysed.vitals, analysed.problems) == run_vitals(analyses, SEASON, WHOLE)
    assert [(analysis, trace.splitlines()[-1]) for analysis, trace in failures] == [
        ("b", "KeyError: 'no such column'")
    ] * 2


def test_a_makers_own_analyses_share_the_memory_of_one_process_in_their_order(processes):
    kept: list[tuple[str, int]] = []

    def keeps(id):
        def analyse(season, span):
            kept.append((id, os.getpid()))
            return fine(season, span)

        return counted(id, analyse, OWN)

    analyses = [keeps("x"), *(counted(f"c{n}", fine) for n in range(5)), keeps("y"), keeps("z")]
    run_shared(analyses, SEASON, [WHOLE], WHOLE)
    assert kept == [(id, os.getpid()) for id in "xyz"]
