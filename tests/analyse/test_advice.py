from dataclasses import replace
from datetime import date

import pytest

from benchwater.analyse.advice import MONTHS_BACK, past_actions, rank_actions
from benchwater.analyse.run import run_analyses
from benchwater.analyse.spans import earlier_spans, month_spans, season_spans
from benchwater.plugin import Action, Analysis, Bench, Build, Finding, Season, Section
from benchwater.plugin_host.loaded import LoadedPlugin

PRICES = {"one": 1.0, "two": 3.0}
BENCH = Bench(
    name="b",
    season_start=(3, 1),
    builds={name: Build(name=name, bought_price=price) for name, price in PRICES.items()},
)
PLUGIN = LoadedPlugin(name="p", origin="workspace", where="p.py", log_kinds=(), analyses=())


def action(id, **more):
    return Action(id=id, text=more.pop("text", id), because="", **more)


def analysis(id, analyse):
    return Analysis(id=id, title=id, question="?", order=1, analyse=analyse), PLUGIN


def gather(spans):
    return Season(BENCH, {}, spans.season.start, spans.season.end)


def advice_by_month(given):
    """An analysis whose season to date ends in a month gives that month's actions; None is thin."""

    def analyse(season, span):
        actions = given.get(f"{span.end.month - 1:02}", ())
        if actions is None:
            return Section(status="thin", why="Three rows.")
        return Section(status="ok", findings=(Finding(id="f", text="Found."),), actions=tuple(actions))

    return analysis("a", analyse)


def states(given, month, spans=None):
    analyses = [advice_by_month(given)]
    spans = spans or month_spans(date(2026, month, 1), BENCH)
    past = past_actions(analyses, earlier_spans(spans, BENCH), gather)
    ranked = rank_actions(run_analyses(analyses, gather(spans), spans.parts), BENCH, spans, past)
    return {entry.action.id: (entry.state, entry.since.month) for entry in ranked}


A, B = action("a"), action("b")
HELD = action("a", holds=True)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"06": [A]}, {"a": ("new", 6)}),
        ({"05": [A], "06": [A]}, {"a": ("open", 5)}),
        ({"03": [A], "04": [A], "05": [A], "06": [A]}, {"a": ("open", 3)}),
        ({"03": [A], "05": [A], "06": [A]}, {"a": ("open", 5)}),
        ({"04": [A], "06": [A]}, {"a": ("new", 6)}),
        ({"05": [A, B], "06": [B]}, {"b": ("open", 5), "a": ("mended", 5)}),
        ({"04": [A], "05": [A], "06": []}, {"a": ("mended", 4)}),
        ({"05": [A], "06": None}, {}),
        ({"04": [A], "06": []}, {}),
        ({"04": [A], "05": [A], "06": [HELD]}, {"a": ("holds", 6)}),
        ({"04": [A], "05": [HELD], "06": [HELD]}, {"a": ("holds", 5)}),
        ({"05": [HELD], "06": [A]}, {"a": ("new", 6)}),
        ({"05": [HELD], "06": []}, {}),
    ],
)
@pytest.mark.parametrize("whole_season", [False, True])
def test_advice_is_new_open_held_or_mended_by_what_earlier_months_gave(given, expected, whole_season):
    spans = season_spans(date(2026, 6, 9), BENCH) if whole_season else None
    assert states(given, 6, spans) == expected


def test_the_first_month_of_a_season_has_only_new_advice():
    assert states({"02": [A, B], "03": [A]}, 3) == {"a": ("new", 3)}


def test_the_report_looks_no_further_back_than_it_says():
    months = [f"{month:02}" for month in range(3, 11)]
    spans = month_spans(date(2026, 10, 1), BENCH)
    analysed = []

    def analyse(season, span):
        analysed.append((span.name, season.end.month - 1))
        return Section(status="ok", findings=(Finding(id="f", text="F."),), actions=(A,))

    past = past_actions([analysis("a", analyse)], earlier_spans(spans, BENCH), gather)
    assert analysed == [("season", month) for month in (9, 8, 7)]
    (entry,) = past.values()
    assert (entry.since, entry.or_earlier) == (date(2026, 7, 1), True)
    assert states({month: [A] for month in months}, 10) == {"a": ("open", 10 - MONTHS_BACK)}


def test_older_months_are_analysed_only_where_advice_may_go_back():
    calls = []

    def counting(id, until):
        def analyse(season, span):
            calls.append((id, season.end.month - 1))
            given = (A,) if season.end.month - 1 > until else ()
            return Section(status="ok", findings=(Finding(id="f", text="F."),), actions=given)

        return analysis(id, analyse)

    spans = month_spans(date(2026, 6, 1), BENCH)
    past = past_actions([counting("x", 4), counting("y", 9)], earlier_spans(spans, BENCH), gather)
    assert calls == [("x", 5), ("y", 5), ("x", 4)]
    assert {key: entry.since.month for key, entry in past.items()} == {("x", "a"): 5}


def test_earlier_months_are_asked_for_their_advice_alone_where_an_analysis_gives_it_apart():
    given, plugin = advice_by_month({"05": [A]})
    told = replace(given, advise=lambda season, span: [B])
    spans = month_spans(date(2026, 6, 1), BENCH)
    assert set(past_actions([(told, plugin)], earlier_spans(spans, BENCH), gather)) == {("a", "b")}


@pytest.mark.parametrize("month", ["2026-05", "2026-10"])
def test_the_advice_alone_of_each_analysis_is_that_of_its_section(demo, month):
    made = demo(month)
    apart = {id: each for id, each in made.analyses.items() if each.advise is not None}
    assert {"bait_mortality", "catch_rate", "cost", "defect_rate", "material_balance"} <= set(apart)
    for id, each in apart.items():
        for span in (made.period, made.whole):
            assert tuple(each.advise(made.season, span)) == made.section(id, span).actions, id


def test_a_season_that_starts_within_a_month_counts_that_month():
    bench = Bench(name="b", season_start=(3, 15))
    earlier = earlier_spans(month_spans(date(2026, 5, 1), bench), bench)
    assert [(each.label, each.season.start) for each in earlier] == [
        ("2026-04", date(2026, 3, 15)),
        ("2026-03", date(2026, 3, 15)),
    ]


def test_actions_are_ranked_by_state_then_urgent_first_then_by_worth_each_once():
    spans = month_spans(date(2026, 5, 1), BENCH)

    def first(season, span):
        small, kept = action("small", worth=1.0, worth_unit="money"), action("kept", holds=True, urgent=True)
        large = action("large", text=f"large, {span.name}", worth=9.0, worth_unit="money")
        return Section(status="ok", actions=(kept, action("word"), small, large))

    def second(season, span):
        baits = action("baits", worth=3.0, worth_unit="baits")
        return Section(status="ok", actions=(baits, action("danger", urgent=True)))

    sections = run_analyses([analysis("a", first), analysis("b", second)], gather(spans), spans.parts)
    ranked = [entry.action.text for entry in rank_actions(sections, BENCH, spans)]
    expected = ["danger", "large, season", "baits", "small", "word", "kept"]
    assert ranked == expected, "3 baits at 2.00 are worth 6.00"


def test_recent_is_the_last_month_and_the_one_before_within_the_season():
    spans = month_spans(date(2026, 7, 1), BENCH)
    assert (spans.recent.start, spans.recent.end) == (date(2026, 6, 1), date(2026, 8, 1))
    assert month_spans(date(2026, 3, 1), BENCH).recent.start == date(2026, 3, 1)
