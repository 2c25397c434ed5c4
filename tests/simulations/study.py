"""A study: one interval or verdict, tried on many small seasons, each from a stream of its own."""

from collections.abc import Callable
from dataclasses import dataclass
from zlib import crc32

import numpy as np

Held = bool | None
Generator = np.random.Generator

SEED = 0x3E1171F8
MARKS: dict[Held, str] = {True: "1", False: "0", None: "-"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """What is drawn, how many seasons, and the band that the share of right ones is asked to lie in.

    `draw` makes a season from its own truth and says whether the interval held it, None where the method
    gives none. `above` says why the share may lie above the band: it is no leave to lie below. The first
    `again` seasons are drawn anew, from `seed`, whenever the tests run.
    """

    name: str
    draw: Callable[[Generator], Held]
    seasons: int = 4000
    again: int = 250
    low: float = 0.93
    high: float = 0.97
    above: str = ""
    seed: int = SEED

    def held(self, season: int) -> Held:
        """Whether the interval of that season held the truth; the same every time."""
        return self.draw(np.random.default_rng([self.seed, crc32(self.name.encode()), season]))

    def marks(self, seasons: int) -> str:
        """A mark a season: 1 held, 0 did not hold, - gave none."""
        return "".join(MARKS[self.held(season)] for season in range(seasons))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """The marks of all seasons of a study."""

    study: Study
    marks: str

    @property
    def right(self) -> int:
        """How many were right."""
        return self.marks.count("1")

    @property
    def stated(self) -> int:
        """How many gave an interval or verdict."""
        return len(self.marks) - self.marks.count("-")

    @property
    def share(self) -> float:
        """How often it was right, of those that gave one."""
        return self.right / self.stated

    @property
    def place(self) -> str:
        """`in`, `below` or `above` the band."""
        below, above = self.share < self.study.low, self.share > self.study.high
        return "below" if below else "above" if above else "in"
