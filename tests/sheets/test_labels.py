from benchwater.sheets.layout import cut, letters, lines, short_names


def test_names_are_cut_in_the_way_that_keeps_them_apart():
    assert short_names(("a-long-name-1", "a-long-name-2"), 7) == {
        "a-long-name-1": "a-l…e-1",
        "a-long-name-2": "a-l…e-2",
    }
    assert set(short_names(("mold 01 of the shelf", "mold 02 of the shelf"), 9).values()) == {
        "mold 01…",
        "mold 02…",
    }


def test_names_that_no_cut_keeps_apart_are_numbered():
    names = ("x" * 20 + "a" + "y" * 20 + "z", "x" * 20 + "b" + "y" * 20 + "z")
    short = short_names(names, 10)
    assert [text[:3] for text in short.values()] == ["1: ", "2: "]


def test_a_name_breaks_between_words():
    assert lines("short") == ("short",)
    assert lines("blocked-guard-hole-at-pin") == ("blocked-guard-", "hole-at-pin")


def test_a_cut_is_never_longer_and_widths_count_wide_letters():
    assert cut("abcdef", 6) == "abcdef"
    assert len(cut("abcdefgh", 4)) == 4
    assert letters("ab") == 2
    assert letters("満潮") > 4
