from benchwater.ledger import sum_in_order


def test_sums_are_added_one_by_one() -> None:
    values = [0.1] * 1000 + [1e9, -1e9]
    assert sum_in_order(values) == sum(values)
    assert sum_in_order([]) == 0.0
