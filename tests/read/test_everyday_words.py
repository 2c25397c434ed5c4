"""Words as makers write them: taken where one word of the column alone fits, listed, and never guessed."""

import pytest

from benchwater.read.cells import vocabulary
from small_bench import read_files, shipped_kinds

POUR = "date,mold,cavity,outcome,flaw\n"
MAKERS = {
    ("pour", "outcome"): {
        "good": "ok, OK, fine, Perfect, keeper, passed, all good",
        "reject": "bad, No good, ng, N.G., no-good, scrap, duds, failed",
        "blank": "warm up, warmup, Warm-up, preheat, warm ups",
    },
    ("pour", "flaw"): {
        "short fill": "short, Did not fill, didn't fill, incomplete, not filled, short-fill",
        "cold shut": "wrinkled, Wrinkles, creased",
        "porosity": "bubbles, Bubble, pitted, air bubbles, voids",
        "flash": "fins, flashing",
        "misset insert": "hook crooked, crooked hook, hook off centre",
    },
    ("inventory", "move"): {
        "received": "bought, Got, purchased, arrived, gift",
        "counted": "have, left, on hand, weighed, stock-take",
        "used": "used up, consumed",
        "discarded": "threw out, Threw away, tossed, spilled, dross",
        "recovered": "reclaimed, salvaged, got back",
    },
    ("finishing", "flaw"): {
        "bare spot": "missed spot, not covered",
        "sag": "drips, runs",
        "blocked guard hole": "hole plugged, guard hole plugged",
        "soft coat": "tacky, not cured, under-cured",
    },
    ("fishing", "fate"): {
        "kept": "still good, ok, came home, Still OK",
        "lost": "gone, broke off, missing",
        "worn": "worn out, ruined, chewed up",
    },
    ("fishing", "cause"): {
        "bite off": "bitten, bit off, toothy, Bite-off, toothy fish",
        "snag": "rocks, hung up, log, the rocks, stuck",
        "break off": "broke off, line snapped, knot failed",
        "torn": "ripped, tail gone, torn tail",
        "bent hook": "straightened, hook bent",
        "chipped": "paint gone, flaked",
    },
    ("catch", "released"): {"yes": "y, x, ✓, Yep", "no": "n, nope"},
}
CASES = [
    (log, column, word, phrase.strip())
    for (log, column), words in MAKERS.items()
    for word, text in words.items()
    for phrase in text.split(",")
]
ROWS = {
    ("pour", "outcome"): ("date,mold,cavity,outcome", "2026-05-02,round-jig,1/8,{}"),
    ("pour", "flaw"): ("date,mold,cavity,outcome,flaw", "2026-05-02,round-jig,1/8,reject,{}"),
    ("inventory", "move"): ("date,item,move,amount", "2026-05-02,hook-2,{},50"),
    ("finishing", "flaw"): ("date,mold,cavity,coat,count,flaw", "2026-05-02,round-jig,1/8,black,12,{}"),
    ("fishing", "fate"): ("date,build,fished,fate", "2026-05-02,perch-grub,1 h,{}"),
    ("fishing", "cause"): ("date,build,fished,fate,cause", "2026-05-02,perch-grub,1 h,lost,{}"),
    ("catch", "released"): ("date,species,build,released", "2026-05-02,yellow perch,perch-grub,{}"),
}


@pytest.mark.parametrize(("log", "column", "word", "phrase"), CASES)
def test_a_makers_own_word_is_taken_and_listed(tmp_path, log, column, word, phrase):
    header, row = ROWS[log, column]
    reading = read_files(tmp_path, {"log.csv": f"{header}\n{row.format(phrase)}\n"})
    assert reading.tables[log][column].tolist() == [word]
    assert not reading.set_aside
    assert not reading.cells_set_aside
    listed = [(each.written, each.read_as) for each in reading.read_as]
    known = phrase.replace("-", " ").casefold() in {word, "y", "x", "n"}
    assert [text for text, _ in listed] == ([] if known else [phrase])
    assert all(taken.split(", ")[0] == word for _, taken in listed)


@pytest.mark.parametrize(
    ("log", "column", "word"),
    [
        ("pour", "outcome", "iffy"),
        ("pour", "outcome", "so so"),
        ("pour", "outcome", "not so good"),
        ("pour", "outcome", "b"),
        ("inventory", "move", "out"),
        ("inventory", "move", "returned"),
        ("fishing", "fate", "bitten"),
        ("fishing", "fate", "not snagged"),
        ("fishing", "fate", "snagged then got it back"),
        ("pour", "outcome", "not bubbly"),
        ("fishing", "fate", "broken"),
    ],
)
def test_a_word_with_two_meanings_or_none_is_set_aside(tmp_path, log, column, word):
    header, row = ROWS[log, column]
    reading = read_files(tmp_path, {"log.csv": f"{header}\n{row.format(word)}\n"})
    assert [(entry.column, entry.value) for entry in reading.set_aside] == [(column, word)]
    assert not reading.read_as


def test_a_word_written_often_is_listed_once_a_file(tmp_path):
    rows = "2026-05-02,round-jig,1/8,bad,bubbles\n" * 3
    reading = read_files(tmp_path, {"a.csv": POUR + rows, "b.csv": POUR + rows.replace("05-02", "05-03")})
    assert [(each.file, each.written, each.read_as) for each in reading.read_as] == [
        ("a.csv", "bad", "reject"),
        ("a.csv", "bubbles", "porosity"),
        ("b.csv", "bad", "reject"),
        ("b.csv", "bubbles", "porosity"),
    ]


def test_no_shipped_phrase_stands_for_two_words_of_its_column():
    for kind in shipped_kinds():
        for column in kind.columns:
            meanings = vocabulary(column).by_key
            assert {phrase for phrase, words in meanings.items() if len(words) > 1} == set()
            if column.kind == "word":
                assert {word for word, _ in column.word_phrases} <= set(column.words)


@pytest.mark.parametrize(
    ("log", "columns", "row", "expected"),
    [
        ("pour", "date,mold,cavity,outcome", "2026-05-02,round-jig,1/8,wrinkled", ("reject", "cold shut")),
        (
            "pour",
            "date,mold,cavity,outcome,flaw",
            "2026-05-02,round-jig,1/8,short,",
            ("reject", "short fill"),
        ),
        (
            "pour",
            "date,mold,cavity,outcome,flaw",
            "2026-05-02,round-jig,1/8,short,flash",
            ("reject", "flash"),
        ),
        ("fishing", "date,build,fished,fate", "2026-05-02,perch-grub,1 h,snagged", ("lost", "snag")),
        ("fishing", "date,build,fished,fate", "2026-05-02,perch-grub,1 h,lost to a snag", ("lost", "snag")),
        ("fishing", "date,build,fished,fate", "2026-05-02,perch-grub,1 h,broke off", ("lost", "break off")),
    ],
)
def test_one_cell_that_says_outcome_and_why_fills_both_columns(tmp_path, log, columns, row, expected):
    reading = read_files(tmp_path, {"log.csv": f"{columns}\n{row}\n"})
    assert not reading.set_aside
    names = ("outcome", "flaw") if log == "pour" else ("fate", "cause")
    assert tuple(reading.tables[log].iloc[0][list(names)]) == expected
    assert reading.read_as


@pytest.mark.parametrize(
    "text",
    [
        "Bought on,What,How many,Cost\n2026-05-02,hook-2,50,9.50\n",
        "date,item,qty,cost\n2026-05-02,hook-2,50,9.50\n",
    ],
)
def test_a_log_of_what_was_bought_needs_no_column_that_says_so(tmp_path, text):
    reading = read_files(tmp_path, {"log.csv": text})
    assert reading.tables["inventory"]["move"].tolist() == ["received"]
    assert any("in every row" in each.read_as for each in reading.read_as)


def test_rows_without_a_cost_leave_open_what_they_say(tmp_path):
    text = "date,item,qty,cost\n2026-05-02,hook-2,50,9.50\n2026-05-03,hook-2,20,\n"
    assert read_files(tmp_path, {"log.csv": text}).not_read
