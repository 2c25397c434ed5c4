"""The cure of a powder coat: held against its window, and against the melting of what is coated."""

from typing import Literal

SOFTENING_MARGIN_C = 10.0
"""How far below the start of melting a cure must stay. A project choice, no published source: an oven's
own thermostat swings by about as much."""

CureVerdict = Literal["in the window", "too cool", "too hot", "too short", "too long", "not recorded"]

_ROUNDING = 1e-6


def cure_verdict(
    temp_c: float | None,
    time_h: float | None,
    *,
    min_temp_c: float | None = None,
    max_temp_c: float | None = None,
    min_time_h: float | None = None,
    max_time_h: float | None = None,
) -> CureVerdict:
    """Where a cure lies against a window whose ends belong to it; an end that is None does not bind.

    Temperature is judged first, as no time makes up for it. A cure known to be out on one count is said
    to be so even if the other was not recorded; else it is `not recorded` when a needed number is None.
    """
    if temp_c is not None:
        if min_temp_c is not None and temp_c < min_temp_c - _ROUNDING:
            return "too cool"
        if max_temp_c is not None and temp_c > max_temp_c + _ROUNDING:
            return "too hot"
    if time_h is not None:
        if min_time_h is not None and time_h < min_time_h - _ROUNDING:
            return "too short"
        if max_time_h is not None and time_h > max_time_h + _ROUNDING:
            return "too long"
    temp_needed = min_temp_c is not None or max_temp_c is not None
    time_needed = min_time_h is not None or max_time_h is not None
    if (temp_needed and temp_c is None) or (time_needed and time_h is None):
        return "not recorded"
    return "in the window"


def softens(cure_c: float, melts_c: float, margin_c: float = SOFTENING_MARGIN_C) -> bool:
    """Whether a cure at `cure_c` comes within `margin_c` of `melts_c`, where the alloy begins to melt.

    The solidus, and not the liquidus, is what counts: a part with a little liquid in it already slumps
    (Callister, Materials Science and Engineering, on hot shortness; from memory).
    """
    return cure_c > melts_c - margin_c - _ROUNDING
