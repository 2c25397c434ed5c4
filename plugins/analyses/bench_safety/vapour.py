"""Vapour over molten lead: what air in equilibrium with the surface would hold."""

LEAD_MELTS_C = 327.462
HOTTEST_C = 926.85

_KELVIN = 273.15
_GAS_CONSTANT = 8.314462618
_LEAD_G_PER_MOL = 207.2


def lead_vapour_pressure(temp_c: float) -> float:
    """Vapour pressure in Pa of liquid lead at `temp_c`: log10(P/Pa) = 9.917 - 9701 / T, T in kelvin.

    Alcock, Itkin and Horrigan 1984, Canadian Metallurgical Quarterly 23:309-313, as in the CRC Handbook
    (coefficients from memory, checked within 2.5 % against tabulated values at 400 to 700 degC). Raises
    ValueError below the melting point or above 1200 K, where the formula does not hold.
    """
    if not LEAD_MELTS_C <= temp_c <= HOTTEST_C:
        raise ValueError(f"the formula holds from {LEAD_MELTS_C} to {HOTTEST_C} degC, not at {temp_c}")
    return float(10 ** (9.917 - 9701 / (temp_c + _KELVIN)))


def saturated_lead_vapour(temp_c: float) -> float:
    """Micrograms of lead in a cubic metre of air at the surface, in equilibrium with pure lead at `temp_c`.

    An ideal gas, P M / (R T). It bounds the vapour at the surface, and says nothing of what is breathed.
    Raises ValueError as `lead_vapour_pressure` does.
    """
    moles = lead_vapour_pressure(temp_c) / (_GAS_CONSTANT * (temp_c + _KELVIN))
    grams = moles * _LEAD_G_PER_MOL
    return grams * 1e6
