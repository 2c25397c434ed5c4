import threading
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from benchwater.analyse.run import Unread, run_analyses
from benchwater.plugin import Analysis, Bench, Finding, Season, Section, Span
from benchwater.plugin_host.loaded import LoadedPlugin

PERIOD = Span(name="period", label="2026-05", start=date(2026, 5, 1), end=date(2026, 6, 1))
WHOLE = Span(name="season", label="season", start=date(2026, 3, 1), end=date(2026, 6, 1))
SEASON = Season(Bench(name="b"), {}, WHOLE.start, WHOLE.end)
PLUGIN = LoadedPlugin(name="p", origin="workspace", where="p.py", log_kinds=(), analyses=())


def analysis(id, analyse, needs=()):
    return Analysis(id=id, title=id, question="?", order=1, analyse=analyse, needs=needs), PLUGIN


def fine(season, span):
    return Section(status="ok", findings=(Finding(id="f", text="Fine."),))


def broken(season, span):
    raise KeyError("no such column")


@pytest.mark.parametrize(
    ("analyse", "words"),
    [
        (broken, "KeyError"),
        (lambda season, span: "a text", "must return a Section"),
        (lambda season, span: None, "must return a Section"),
    ],
)
def test_an_analysis_that_raises_is_a_failed_section_and_the_others_remain(analyse, words):
    traces = []
    sections = run_analyses(
        [analysis("broken", analyse), analysis("fine", fine)],
        SEASON,
        [PERIOD, WHOLE],
        on_failure=lambda identity, trace: traces.append(trace),
    )
    assert [section.status for section in sections] == ["failed", "ok"]
    assert words in sections[0].why
    assert len(traces) == 2


def test_an_analysis_of_seasons_alone_is_not_asked_of_a_month():
    asked, whole = analysis("seasons", fine)
    alone = replace(asked, season_only=True), whole
    for section in run_analyses([alone], SEASON, [PERIOD, WHOLE]):
        assert [part.span for part in section.parts] == [WHOLE]


def test_a_column_without_its_unit_is_told_with_the_one_that_was_meant():
    season = Season(Bench(name="b"), {"pour": pd.DataFrame({"mold_temp_c": []})}, WHOLE.start, WHOLE.end)
    asks = analysis("asks", lambda season, span: season.log("pour")["mold_temp"])
    (section,) = run_analyses([asks], season, [WHOLE])
    assert (
        section.why == "This analysis broke: KeyError: 'mold_temp' (did you mean the column `mold_temp_c`?)"
    )


def test_an_analysis_that_hangs_or_exits_fails_only_its_own_section(monkeypatch):
    monkeypatch.setattr("benchwater.analyse.run.LONGEST_ANALYSIS_S", 0.2)
    never = threading.Event()

    def leave(season, span):
        raise SystemExit(0)

    sections = run_analyses(
        [
            analysis("hangs", lambda season, span: never.wait()),
            analysis("leaves", leave),
            analysis("fine", fine),
        ],
        SEASON,
        [WHOLE],
    )
    never.set()
    assert [section.status for section in sections] == ["failed", "failed", "ok"]
    assert "not done after 0.2 seconds" in sections[0].why


def test_an_analysis_whose_logs_are_empty_is_not_called():
    (section,) = run_analyses([analysis("needy", broken, needs=("pour",))], SEASON, [WHOLE])
    assert (section.status, section.why) == ("empty", "There is nothing yet in the pour log.")


def test_a_section_is_ok_when_one_of_its_spans_is():
    def by_span(season, span):
        return fine(season, span) if span.name == "season" else Section(status="thin", why="Three rows.")

    (section,) = run_analyses([analysis("a", by_span)], SEASON, [PERIOD, WHOLE])
    assert section.status == "ok"
    assert [part.section.status for part in section.parts] == ["thin", "ok"]


@pytest.mark.parametrize(
    ("unread", "why"),
    [
        (Unread({"pour": 14}, 1), "No row of the pour log could be read so far, and 14 are set aside."),
        (Unread({"fishing": 2}, 2), "No file was understood as the pour log, and 2 files were not read."),
    ],
)
def test_a_log_whose_rows_could_not_be_read_is_not_called_empty(unread, why):
    (section,) = run_analyses([analysis("needy", broken, needs=("pour",))], SEASON, [WHOLE], unread=unread)
    assert (section.status, section.why) == ("empty", why)
