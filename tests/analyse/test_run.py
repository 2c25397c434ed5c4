import threading
from datetime import date

import pytest

from benchwater.analyse.run import rank_actions, run_analyses
from benchwater.plugin import Action, Analysis, Bench, Build, Finding, Season, Section, Span
from benchwater.plugin_host.loaded import LoadedPlugin

PERIOD = Span(name="period", label="2026-05", start=date(2026, 5, 1), end=date(2026, 6, 1))
WHOLE = Span(name="season", label="season", start=date(2026, 3, 1), end=date(2026, 6, 1))
PRICES = {"one": 1.0, "two": 3.0}
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


def action(id, text="", **more):
    return Action(id=id, text=text or id, because="", **more)


def test_actions_are_ranked_urgent_first_then_by_worth_each_once():
    def first(season, span):
        return Section(
            status="ok",
            actions=(
                action("word"),
                action("small", worth=1.0, worth_unit="money"),
                action("large", f"large, {span.name}", worth=9.0, worth_unit="money"),
            ),
        )

    def second(season, span):
        return Section(
            status="ok",
            actions=(action("baits", worth=3.0, worth_unit="baits"), action("danger", urgent=True)),
        )

    bench = Bench(
        name="b", builds={name: Build(name=name, bought_price=price) for name, price in PRICES.items()}
    )
    sections = run_analyses([analysis("a", first), analysis("b", second)], SEASON, [PERIOD, WHOLE])
    ranked = [entry.action.text for entry in rank_actions(sections, bench)]
    assert ranked == ["danger", "large, season", "baits", "small", "word"], "3 baits at 2.00 are worth 6.00"
    assert len(rank_actions(sections, bench, most=2)) == 2


def test_one_section_does_not_fill_the_front_page():
    def eager(season, span):
        return Section(status="ok", actions=tuple(action(str(number)) for number in range(9)))

    sections = run_analyses([analysis("a", eager), analysis("b", eager)], SEASON, [WHOLE])
    assert [entry.section_id for entry in rank_actions(sections, Bench(name="b"))] == ["a"] * 3 + ["b"] * 3
