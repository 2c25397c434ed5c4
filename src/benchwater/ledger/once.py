"""What several analyses of one report ask of the same season, worked out once."""

from collections.abc import Callable, Hashable
from typing import Concatenate, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

from benchwater.plugin.season import Season

_Answer = TypeVar("_Answer")
_Further = ParamSpec("_Further")
_OfSeason = Callable[Concatenate[Season, _Further], _Answer]


def once_a_season(work: _OfSeason[_Further, _Answer]) -> _OfSeason[_Further, _Answer]:
    """Remember the answer for each season and further arguments, for as long as the season is held.

    A season never changes; its answers are shared, and nobody may change them either.
    """
    known: WeakKeyDictionary[Season, dict[Hashable, _Answer]] = WeakKeyDictionary()

    def remembered(season: Season, /, *further: _Further.args, **named: _Further.kwargs) -> _Answer:
        answers = known.setdefault(season, {})
        key = (further, tuple(sorted(named.items())))
        if key not in answers:
            answers[key] = work(season, *further, **named)
        return answers[key]

    remembered.__doc__ = work.__doc__
    return remembered
