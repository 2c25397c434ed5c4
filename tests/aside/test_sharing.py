import os
import time
from collections.abc import Callable
from functools import partial

import pytest

from benchwater.aside import sharing
from benchwater.aside.second_process import of_use
from benchwater.aside.sharing import share_out

needs_two = pytest.mark.skipif(not of_use(), reason="no second process on this machine")


@pytest.fixture(params=[True, False], ids=["two", "one"])
def processes(request, monkeypatch):
    if request.param and not of_use():
        pytest.skip("no second process on this machine")
    monkeypatch.setattr(sharing, "of_use", lambda: request.param)
    return 2 if request.param else 1


def square(number: int) -> tuple[int, int]:
    return number * number, os.getpid()


@pytest.mark.parametrize("many", [0, 1, 2, 30, 256, 300])
def test_every_piece_is_done_once_and_answered_in_its_place(processes, many):
    answers = share_out([partial(square, number) for number in range(many)])
    assert [answer for answer, _ in answers] == [number * number for number in range(many)]


@needs_two
def test_while_one_process_is_at_a_long_piece_the_other_does_the_rest(tmp_path):
    """The first piece waits for the last one: with half of the pieces each it would wait for ever."""

    def first() -> tuple[int, int]:
        while not (tmp_path / "done").exists():
            time.sleep(0.001)
        return 0, os.getpid()

    def last() -> tuple[int, int]:
        (tmp_path / "done").touch()
        return 10, os.getpid()

    pieces: list[Callable[[], tuple[int, int]]] = [first, *(partial(square, n) for n in range(9)), last]
    answers = share_out(pieces)
    waited, *others = (pid for _, pid in answers)
    assert set(others) == {others[0]} != {waited}


def test_what_is_only_for_here_is_done_here_and_begin_hears_of_what_is_done_here(processes):
    begun: list[int] = []
    answers = share_out(
        [partial(square, number) for number in range(8)], only_here={6, 2, 4}, begin=begun.append
    )
    assert [answers[number][1] for number in (2, 4, 6)] == [os.getpid()] * 3
    assert [number for number in begun if number in {2, 4, 6}] == [2, 4, 6]
    assert {number for number in range(8) if answers[number][1] == os.getpid()} == set(begun)


def test_what_is_done_ahead_is_done_once_and_only_where_there_is_to_be_a_second_process(processes):
    done: list[int] = []
    share_out([partial(square, 1)], ahead=lambda: done.append(1))
    assert done == []
    answers = share_out([partial(square, number) for number in range(40)], ahead=lambda: done.append(1))
    assert len(done) == processes - 1
    assert len(answers) == 40


def test_many_pieces_of_which_few_can_be_shared_are_all_done(processes):
    answers = share_out([partial(square, number) for number in range(300)], only_here=range(290))
    assert [answer for answer, _ in answers] == [number * number for number in range(300)]


@needs_two
def test_pieces_of_a_second_process_that_is_gone_are_done_here():
    here = os.getpid()

    def fragile(number):
        if os.getpid() != here:
            os._exit(1)
        return number

    assert share_out([partial(fragile, number) for number in range(40)]) == tuple(range(40))
