"""What it costs to heat water that need not have come along."""

import numpy as np

from nightgauge.physics.numbers import Floats, Values, as_floats, plain

WATER_SPECIFIC_HEAT_KJ_PER_KG_C = 4.19
"""Heat that warms a kilogram of fresh water by a degree. [kJ/(kg K)]

Source: IAPWS-95, within 0.7 % from 0 to 100 degC. Brine takes less, by 11 % per kilogram at 10 % of sodium chloride, so
heat reckoned with it is an upper bound.
"""

_SECONDS_PER_DAY = 86400.0
_MJ_PER_KWDAY = 86.4


def heat_kw(
    flow_m3_per_day: Values,
    temperature_rise_c: float | Floats,
    density_kg_m3: float | Floats,
    specific_heat_kj_per_kg_c: float | Floats = WATER_SPECIFIC_HEAT_KJ_PER_KG_C,
) -> Values:
    """Return the heat that warms a flow of liquid.

    Parameters
    ----------
    flow_m3_per_day : float or array
        [m3/day]
    temperature_rise_c : float or array
        [K]
    density_kg_m3 : float or array
        At the temperature at which the flow was measured. [kg/m3]
    specific_heat_kj_per_kg_c : float or array
        Fresh water's unless given. [kJ/(kg K)]

    Returns
    -------
    float or array
        Heat into the liquid, without what the vessel loses to the air. [kW]

    Notes
    -----
    `P = q rho c dT`. The trade's rule is the same: Btu/h = 14.6 x bbl/day x degF x specific gravity.
    Source: conservation of energy.

    Examples
    --------
    100 bbl/day of fresh water warmed by 40 degF:

    >>> round(heat_kw(15.8987, 40 / 1.8, 999.016), 2)
    17.12

    """
    flow, rise, density, heat = as_floats(flow_m3_per_day, temperature_rise_c, density_kg_m3, specific_heat_kj_per_kg_c)
    return plain(flow * density * heat * rise / _SECONDS_PER_DAY, flow_m3_per_day)


def fuel_kw(heat_kw: Values, efficiency: float | Floats) -> Values:
    """Return the fuel that gives a heat, `fuel = heat / efficiency`.

    Parameters
    ----------
    heat_kw : float or array
        Heat into the liquid. [kW]
    efficiency : float or array
        Heat into the liquid over heat in the fuel; NaN unless above 0 and at most 1. [1]

    Returns
    -------
    float or array
        Heat in the fuel, by the heating value that the efficiency refers to. [kW]

    Notes
    -----
    A fact sheet of the Canadian industry has 30-60 % of the higher heating value as usual for fire tubes in the
    field (1979); a tuned burner does better.

    Examples
    --------
    >>> fuel_kw(30.0, 0.6)
    50.0

    """
    heat, share = as_floats(heat_kw, efficiency)
    return plain(heat / np.where((share > 0.0) & (share <= 1.0), share, np.nan), heat_kw)


def fuel_gas_m3_per_day(fuel_kw: Values, heating_value_mj_per_m3: float | Floats) -> Values:
    """Return the gas that holds a heat, `q = P / H`.

    Parameters
    ----------
    fuel_kw : float or array
        Heat in the fuel. [kW]
    heating_value_mj_per_m3 : float or array
        Of the gas at standard conditions, > 0, of the same kind that the efficiency refers to. [MJ/m3]

    Returns
    -------
    float or array
        Gas at standard conditions. [m3/day]

    Examples
    --------
    A million Btu per day of gas of 1000 Btu per cubic foot is a thousand cubic feet:

    >>> btu, foot3 = 1.05505585262e-3, 0.028316846592
    >>> round(fuel_gas_m3_per_day(1e6 * btu / 86.4, 1000 * btu / foot3) / foot3, 6)
    1000.0

    """
    fuel, value = as_floats(fuel_kw, heating_value_mj_per_m3)
    return plain(fuel * _MJ_PER_KWDAY / value, fuel_kw)
