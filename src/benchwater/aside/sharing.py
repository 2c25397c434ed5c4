"""Several pieces of work shared out with a second process: whichever is free takes the next."""

import contextlib
import os
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import TypeVar

from benchwater.aside.second_process import SecondProcess, of_use

_Answer = TypeVar("_Answer")
_MOST = 256


def share_out(
    pieces: Sequence[Callable[[], _Answer]],
    *,
    only_here: Collection[int] = (),
    begin: Callable[[int], None] = lambda number: None,
    ahead: Callable[[], object] = lambda: None,
) -> tuple[_Answer, ...]:
    """The answer of each piece, in the order given, whoever worked it out.

    Pieces numbered in `only_here` are done in this process, in their order. `begin` hears the number of each
    piece that this process begins. `ahead` is done once where there is to be a second process, before it is.
    What that cannot do or hand back is done here.
    """
    shared = [number for number in range(len(pieces)) if number not in only_here]
    done: dict[int, _Answer] = {}

    def do(numbers: Iterator[int]) -> None:
        for number in numbers:
            begin(number)
            done[number] = pieces[number]()

    if of_use() and len(shared) > 1 and len(pieces) <= _MOST:
        ahead()
        with _turns(shared) as turns:

            def theirs(_: None) -> dict[int, _Answer]:
                return {number: pieces[number]() for number in _taken(turns)}

            with SecondProcess(theirs, shares=(turns,)) as second:
                second.give(None)
                do(number for number in range(len(pieces)) if number in only_here)
                do(_taken(turns))
                done.update(second.answer())
    do(number for number in range(len(pieces)) if number not in done)
    return tuple(done[number] for number in range(len(pieces)))


@contextlib.contextmanager
def _turns(numbers: Sequence[int]) -> Iterator[int]:
    """A pipe of the numbers, a byte each: a byte is read by one process only, and so each is taken once."""
    out, into = os.pipe()
    try:
        os.write(into, bytes(numbers))
        os.close(into)
        yield out
    finally:
        os.close(out)


def _taken(turns: int) -> Iterator[int]:
    while number := os.read(turns, 1):
        yield number[0]
