"""Liquid flow through a valve, and the head of liquid that stands above it."""

import numpy as np

from nightgauge.physics.numbers import Floats, Values, as_floats, plain

WATER_60F_KG_M3 = 999.016
"""Density of water at 60 degF and 1 atm, to which specific gravities refer. [kg/m3]

Source: API MPMS 11.1 (2004); IAPWS-95 gives 999.0171.
"""

GRAVITY_M_PER_S2 = 9.80665
"""Standard acceleration of gravity. [m/s2] Source: ISO 80000-3 (CGPM 1901)."""

_KPA_PER_PSI = 6.894757293168361
_M3_PER_DAY_PER_GPM = 3.785411784e-3 * 1440.0


def flow_m3_per_day(cv: float, pressure_drop_kpa: Values, specific_gravity: float | Floats = 1.0) -> Values:
    """Return the liquid flow through a valve that does not choke.

    Parameters
    ----------
    cv : float
        Flow coefficient. [gpm/psi^0.5]
    pressure_drop_kpa : float or array
        Across the valve; none or a negative one gives no flow; NaN passes. [kPa]
    specific_gravity : float or array
        Of the liquid, water at 60 degF = 1. [1]

    Returns
    -------
    float or array
        Flow. [m3/day]

    Notes
    -----
    `Q = Cv sqrt(dP / SG)` in gpm and psi. Valid in turbulent flow without flashing: dump valves on water below
    some 60 degC and 4 bar stay clear of it. Source: IEC 60534-2-1, liquid, non-choked.

    Examples
    --------
    Cv 21 at 40 psi on water of 1.07 passes 4402.2 bbl/day:

    >>> round(flow_m3_per_day(21.0, 40 * 6.894757293168361, 1.07) / 0.158987294928, 3)
    4402.208

    """
    drop, gravity = as_floats(pressure_drop_kpa, specific_gravity)
    flow = cv * _M3_PER_DAY_PER_GPM * np.sqrt(np.maximum(drop, 0.0) / _KPA_PER_PSI / gravity)
    return plain(flow, pressure_drop_kpa)


def flow_coefficient(
    flow_m3_per_day: Values, pressure_drop_kpa: float | Floats, specific_gravity: float | Floats = 1.0
) -> Values:
    """Return the flow coefficient that a measured flow shows.

    Parameters
    ----------
    flow_m3_per_day : float or array
        Through the valve. [m3/day]
    pressure_drop_kpa : float or array
        Across the valve. [kPa]
    specific_gravity : float or array
        Of the liquid, water at 60 degF = 1. [1]

    Returns
    -------
    float or array
        Effective Cv; NaN where the pressure drop is not above 0. [gpm/psi^0.5]

    Notes
    -----
    The inverse of `flow_m3_per_day` in `cv`, with the same limits.

    Examples
    --------
    >>> round(flow_coefficient(flow_m3_per_day(21.0, 275.0, 1.07), 275.0, 1.07), 9)
    21.0

    """
    flow, drop, gravity = as_floats(flow_m3_per_day, pressure_drop_kpa, specific_gravity)
    pulling = np.where(drop > 0.0, drop, np.nan)
    return plain(flow / _M3_PER_DAY_PER_GPM / np.sqrt(pulling / _KPA_PER_PSI / gravity), flow_m3_per_day)


def liquid_head_kpa(height_m: Values, specific_gravity: float | Floats = 1.0) -> Values:
    """Return the pressure of a column of liquid, `rho g h`.

    Parameters
    ----------
    height_m : float or array
        Of the column. [m]
    specific_gravity : float or array
        Of the liquid, water at 60 degF = 1. [1]

    Returns
    -------
    float or array
        Pressure at the foot above that at the top. [kPa]

    Examples
    --------
    A foot of fresh water is 0.4331 psi:

    >>> round(liquid_head_kpa(0.3048) / 6.894757293168361, 6)
    0.433101

    """
    height, gravity = as_floats(height_m, specific_gravity)
    return plain(height * gravity * (WATER_60F_KG_M3 * GRAVITY_M_PER_S2 / 1000.0), height_m)
