"""A bound on how long one analysis may take, on any system: a thread that is waited for so long."""

import threading
from collections.abc import Callable
from typing import TypeVar

_Answer = TypeVar("_Answer")


class TookTooLongError(RuntimeError):
    """An analysis did not come back in time."""


def within(seconds: float, work: Callable[[], _Answer]) -> _Answer:
    """The answer of `work`, or what it raised; TookTooLongError where it is not back in time.

    A thread cannot be stopped: what hangs is left behind, and ends with the process.
    """
    answers: list[_Answer] = []
    raised: list[BaseException] = []

    def run() -> None:
        try:
            answers.append(work())
        except BaseException as error:
            raised.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    if thread.is_alive():
        raise TookTooLongError(f"it was not done after {seconds:g} seconds")
    if raised:
        raise raised[0]
    return answers[0]
