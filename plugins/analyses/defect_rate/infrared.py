"""What an infrared thermometer reads on a surface that radiates less than the gun takes it to.

Temperatures in degrees Celsius. Emissivities are shares of a black body's radiation: bare aluminium 0.05
where polished to 0.3 where oxidised (8 to 14 um band 0.02 to 0.4), oil paint and soot 0.94, from published
emissivity tables (CRC; DMIC Report 177; Thermal Radiation Properties Survey, 1960).
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

BARE_ALUMINIUM, OXIDISED_ALUMINIUM, MATT_BLACK = 0.05, 0.30, 0.94
GUN_SETTING = 0.95
COMMON_BAND_UM = (8.0, 14.0)
FEWEST_READINGS, LEAST_WARMTH_K, FAR_BELOW = 4, 40.0, 1 / 3
TERMS = 30


def infrared_reading(
    temperature: float,
    emissivity: float,
    *,
    setting: float = GUN_SETTING,
    background: float = 20.0,
    band: tuple[float, float] | None = COMMON_BAND_UM,
) -> float:
    """What a gun set to emissivity `setting` reads on a surface at `temperature` in a room at `background`.

    The gun sees emissivity E(T) + (1 - emissivity) E(background) and takes it for setting E(reading) +
    (1 - setting) E(background), with E the radiation of a black body: Planck's law over `band` (um; series of
    Chang and Rhee 1984, International Communications in Heat and Mass Transfer 11:451-455; from memory), or
    Stefan's and Boltzmann's over all wavelengths where `band` is None. Reflections other than the room's are
    left out.

    Raises ValueError for an emissivity or setting outside (0, 1] or a temperature at or below absolute zero.
    """
    from scipy.constants import zero_Celsius
    from scipy.optimize import brentq

    if not (0 < emissivity <= 1 and 0 < setting <= 1):
        raise ValueError(f"emissivity and setting must lie in (0, 1]: {emissivity}, {setting}")
    if not min(temperature, background) > -zero_Celsius:
        raise ValueError(f"a temperature is below absolute zero: {temperature}, {background}")
    room = _radiation(background, band)
    seen = (emissivity * _radiation(temperature, band) + (setting - emissivity) * room) / setting
    if seen <= 0:
        return -zero_Celsius
    highest = max(temperature, background) / min(1.0, setting) + 1000.0
    return float(brentq(lambda value: _radiation(value, band) - seen, 1.0 - zero_Celsius, highest, xtol=1e-9))


def far_below(measured: ArrayLike, expected: ArrayLike, ambient: float) -> bool:
    """Whether readings (n,), nan where none, lie far below what a heat balance expects.

    Where the balance has the mold warmer than the air by LEAST_WARMTH_K or more, the middle reading is warmer
    than the air by less than a third of that; False with fewer than FEWEST_READINGS there. A heat balance
    from book values may be off by a factor of 2 (common practice, no source), a gun on bare metal by more.
    """
    over_air = np.asarray(measured, dtype=np.float64) - ambient
    wanted = np.asarray(expected, dtype=np.float64) - ambient
    told: NDArray[np.bool_] = ~np.isnan(over_air) & (wanted >= LEAST_WARMTH_K)
    if int(told.sum()) < FEWEST_READINGS:
        return False
    return bool(np.median(over_air[told] / wanted[told]) < FAR_BELOW)


def _radiation(celsius: float, band: tuple[float, float] | None) -> float:
    """Black-body radiation in W/m2, all of it or that between two wavelengths in um."""
    from scipy.constants import Stefan_Boltzmann, zero_Celsius

    kelvin = celsius + zero_Celsius
    whole = float(Stefan_Boltzmann) * kelvin**4
    if band is None:
        return whole
    return whole * (_share_below(band[1], kelvin) - _share_below(band[0], kelvin))


def _share_below(wavelength_um: float, kelvin: float) -> float:
    from scipy.constants import c, h, k

    x = h * c / (k * wavelength_um * 1e-6 * kelvin)
    n = np.arange(1, TERMS + 1)
    terms = np.exp(-n * x) * (x**3 / n + 3 * x**2 / n**2 + 6 * x / n**3 + 6 / n**4)
    return float(15 / math.pi**4 * terms.sum())
