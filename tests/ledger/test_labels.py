from benchwater.ledger.labels import MOST_TAGS, SYMBOLS, tags, unprinted_tag


def test_one_wrong_symbol_or_two_neighbours_swapped_never_give_another_tag():
    known = set(tags(1, MOST_TAGS))
    assert len(known) == MOST_TAGS
    for tag in [*tags(1, 600), *tags(MOST_TAGS - 300, MOST_TAGS)]:
        for place in range(len(tag)):
            wrong = {tag[:place] + symbol + tag[place + 1 :] for symbol in SYMBOLS} - {tag}
            assert not wrong & known
            swapped = tag[:place] + tag[place : place + 2][::-1] + tag[place + 2 :]
            assert swapped == tag or swapped not in known


def test_no_two_symbols_of_a_tag_look_alike():
    for alike in ("0OQ", "1IL", "2Z", "5S", "8B", "6G", "VU"):
        assert len(set(alike) & set(SYMBOLS)) <= 1


def test_a_mistyped_tag_is_told_from_a_tag_of_the_makers_own():
    third = tags(1, 40)[2]
    assert unprinted_tag(third.lower(), 40) is None
    assert third in (unprinted_tag(third[1] + third[0] + third[2], 40) or ())
    assert unprinted_tag("red-one", 40) is None
    assert unprinted_tag(tags(41, 41)[0], 40) is not None
