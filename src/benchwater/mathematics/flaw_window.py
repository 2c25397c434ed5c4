"""Flaws of a cold mold and of a hot one, fitted apart over temperature and added: the working window."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchwater.mathematics.logistic import (
    Limits,
    LogisticFit,
    WorkingWindow,
    dispersion_factor,
    fit_logistic,
    likelihood_ratio_tests,
    line_design,
    probability_limits,
    profile_inverse_prediction,
    summed_rate,
    with_dispersion,
    working_window,
)

FloatArray = NDArray[np.float64]

SMALLEST_TARGET = 0.005
LARGEST_TARGET = 0.499
SHOWN = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class FlawWindow:
    """Two fits (None = too few of the kind), the constant share `plain` of the rest, and what follows.

    `window` is None where `plain` alone leaves nothing of the target. `falls` (`rises`) says that the cold
    flaws are shown to fall (the hot ones to rise) with temperature, at the 5 % level. `top_lower`,
    `top_upper` are limits of the window's upper end, None where there is none.
    """

    coldest: float
    hottest: float
    cold: LogisticFit | None
    hot: LogisticFit | None
    plain: float
    window: WorkingWindow | None
    falls: bool
    rises: bool
    top_lower: float | None
    top_upper: float | None

    @property
    def first_met(self) -> float | None:
        """Where the target is first met, if it is met and was not met all along."""
        return None if self.window is None or self.window.starts_before else self.window.first_met

    @property
    def top(self) -> float | None:
        """Where the target is last met, if the window's upper end was seen."""
        return None if self.window is None or self.window.ends_after else self.window.window_high

    def total(self, temperature: ArrayLike) -> FloatArray:
        """Summed rate of all flaws."""
        return np.asarray(np.minimum(summed_rate(self.cold, self.hot, temperature) + self.plain, 1.0))


def flaw_window(
    temperature: ArrayLike,
    castings: ArrayLike,
    cold: ArrayLike,
    hot: ArrayLike,
    other: ArrayLike,
    *,
    target: float,
    enough: int = 5,
) -> FlawWindow | None:
    """The working window from counts by cluster (fill), all (n,): castings and their flaws of three kinds.

    Each kind with at least `enough` flaws is fitted (Firth 1993; Heinze and Schemper 2002) with its
    dispersion over the clusters; a kind with fewer joins the constant share of `other`. That share is taken
    as known in the limits of the target temperature, and in those of the upper end (profile likelihood of
    the hot fit: Williams 1986, Biometrics 42:641-645; from memory) so is the cold flaws' share there.

    None where neither kind is frequent enough or there are not two temperatures. Raises ValueError as
    `fit_logistic` does.
    """
    x, n = np.asarray(temperature, dtype=np.float64), np.asarray(castings, dtype=np.float64)
    kinds = [np.asarray(kind, dtype=np.float64) for kind in (cold, hot)]
    if np.unique(x[n > 0]).size < 2 or max(kind.sum() for kind in kinds) < enough:
        return None
    cold_fit, hot_fit = (_fit(x, n, kind) if kind.sum() >= enough else None for kind in kinds)
    rest = float(np.sum(other)) + sum(float(kind.sum()) for kind in kinds if kind.sum() < enough)
    plain = rest / float(n.sum())
    coldest, hottest = float(x[n > 0].min()), float(x[n > 0].max())
    left = min(target, LARGEST_TARGET) - plain
    window = None
    if left >= SMALLEST_TARGET:
        window = working_window(cold_fit, hot_fit, left, coldest, hottest)
    lower, upper = _top_limits(cold_fit, hot_fit, left, window)
    return FlawWindow(
        coldest=coldest,
        hottest=hottest,
        cold=cold_fit,
        hot=hot_fit,
        plain=plain,
        window=window,
        falls=_shown(cold_fit, -1),
        rises=_shown(hot_fit, 1),
        top_lower=lower,
        top_upper=upper,
    )


def rate_limits(fit: LogisticFit, temperature: ArrayLike) -> tuple[FloatArray, Limits]:
    """Fitted rate at each temperature (m,), with its pointwise limits."""
    design = line_design(temperature)
    return summed_rate(fit, None, temperature), probability_limits(fit, design)


def _fit(x: FloatArray, n: FloatArray, events: FloatArray) -> LogisticFit:
    fit = fit_logistic(events, n, line_design(x))
    return with_dispersion(fit, dispersion_factor(fit))


def _shown(fit: LogisticFit | None, sign: int) -> bool:
    if fit is None or np.sign(fit.coefficients[1]) != sign:
        return False
    return bool(likelihood_ratio_tests(fit).p_value[1] < SHOWN)


def _top_limits(
    cold: LogisticFit | None, hot: LogisticFit | None, left: float, window: WorkingWindow | None
) -> tuple[float | None, float | None]:
    if hot is None or window is None or window.window_high is None or window.ends_after:
        return None, None
    beside = 0.0 if cold is None else float(summed_rate(cold, None, [window.window_high])[0])
    share = left - beside
    limits = profile_inverse_prediction(hot, share) if share > 0 else None
    if limits is None:
        return None, None
    lower, upper = (float(v) if np.isfinite(v) else None for v in (limits.lower, limits.upper))
    return lower, upper
