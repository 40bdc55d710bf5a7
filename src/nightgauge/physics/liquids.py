"""Density and viscosity of oil and produced water, and how fast drops settle in them."""

import numpy as np

from nightgauge.physics.numbers import Floats, Values, as_floats, plain
from nightgauge.physics.valve import GRAVITY_M_PER_S2, WATER_60F_KG_M3


def oil_specific_gravity(gravity_degapi: Values) -> Values:
    """Return the specific gravity at 60 degF of an oil, `141.5 / (131.5 + API)`.

    Parameters
    ----------
    gravity_degapi : float or array
        API gravity. [degAPI]

    Returns
    -------
    float or array
        Density at 60 degF over that of water at 60 degF. [1]

    Examples
    --------
    >>> round(oil_specific_gravity(35.0), 6)
    0.84985

    """
    (gravity,) = as_floats(gravity_degapi)
    return plain(141.5 / (131.5 + gravity), gravity_degapi)


def oil_density_kg_m3(gravity_degapi: float | Floats, temperature_c: Values) -> Values:
    """Return the density of stabilised crude oil at a temperature.

    Parameters
    ----------
    gravity_degapi : float or array
        API gravity. [degAPI]
    temperature_c : float or array
        [degC]

    Returns
    -------
    float or array
        Density. [kg/m3]

    Notes
    -----
    `rho = rho60 CTL`, the density at 60 degF times the factor of `volume_correction`, with its limits.

    Examples
    --------
    35 degAPI at 120 degF: 849.0136 kg/m3 times 0.971380.

    >>> round(oil_density_kg_m3(35.0, 48.8888888889), 1)
    824.7

    """
    gravity, temperature = as_floats(gravity_degapi, temperature_c)
    at_60f = 141.5 / (131.5 + gravity) * WATER_60F_KG_M3
    return plain(at_60f * volume_correction(gravity, temperature), temperature_c)


def volume_correction(gravity_degapi: float | Floats, temperature_c: Values) -> Values:
    """Return the volume at 60 degF of a volume of stabilised crude oil at a temperature, the trade's CTL.

    Parameters
    ----------
    gravity_degapi : float or array
        API gravity. [degAPI]
    temperature_c : float or array
        [degC]

    Returns
    -------
    float or array
        Volume at 60 degF over that at the temperature. [1]

    Notes
    -----
    `CTL = exp(-a dt (1 + 0.8 a dt))`, `a = 341.0957 / rho60^2`, `dt` above 60 degF in degF. Valid for crude
    of 10-45 degAPI, 0-65 degC, low pressure; gas in solution is not counted.
    Source: API MPMS 11.1, table 6A form (the 2004 procedure differs by less than 2e-5).

    Examples
    --------
    35 degAPI at 120 degF:

    >>> round(volume_correction(35.0, 48.8888888889), 6)
    0.97138

    """
    gravity, temperature = as_floats(gravity_degapi, temperature_c)
    at_60f = 141.5 / (131.5 + gravity) * WATER_60F_KG_M3
    expansion = 341.0957 / at_60f**2 * (temperature * 1.8 + 32.0 - 60.0)
    return plain(np.exp(-expansion * (1.0 + 0.8 * expansion)), temperature_c)


def water_density_kg_m3(temperature_c: Values, specific_gravity_60f: float | Floats = 1.0) -> Values:
    """Return the density of fresh or produced water at a temperature.

    Parameters
    ----------
    temperature_c : float or array
        [degC]
    specific_gravity_60f : float or array
        Of the water at 60 degF; salt shows in it. [1]

    Returns
    -------
    float or array
        Density at 1 atm. [kg/m3]

    Notes
    -----
    Fresh water by Kell's quotient of polynomials over 0-100 degC, scaled by the specific gravity. Brine expands a
    little more than fresh water: a sodium chloride brine of 1.15 reads 0.4 % high at 40 degC.
    Source: Kell, J. Chem. Eng. Data 20 (1975) 97, eq. 16, with t68 = 1.00024 t90.

    Examples
    --------
    >>> round(water_density_kg_m3(37.7777777778), 2)
    993.05

    """
    temperature, gravity = as_floats(temperature_c, specific_gravity_60f)
    reference = _fresh_water_density_kg_m3(np.asarray((60.0 - 32.0) / 1.8))
    return plain(_fresh_water_density_kg_m3(temperature) / reference * gravity * WATER_60F_KG_M3, temperature_c)


def _fresh_water_density_kg_m3(temperature_c: Floats) -> Floats:
    t68 = temperature_c * 1.00024
    above = np.polynomial.polynomial.polyval(
        t68, [999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12]
    )
    return np.asarray(above / (1.0 + 16.879850e-3 * t68))


def water_viscosity_cp(temperature_c: Values) -> Values:
    """Return the viscosity of fresh water at a temperature.

    Parameters
    ----------
    temperature_c : float or array
        0..110. [degC]

    Returns
    -------
    float or array
        Dynamic viscosity at 1 bar. [mPa s = cP]

    Notes
    -----
    Sum of four powers of T / 300 K. Brine is thicker: 20 % at 10 % of sodium chloride.
    Source: IAPWS SR6-08(2011), supplementary release on liquid water at 0.1 MPa, eq. 7.

    Examples
    --------
    >>> round(water_viscosity_cp(37.7777777778), 4)
    0.681

    """
    (temperature,) = as_floats(temperature_c)
    ratio = (temperature + 273.15) / 300.0
    micropascal_s = 280.68 * ratio**-1.9 + 511.45 * ratio**-7.7 + 61.131 * ratio**-19.6 + 0.45903 * ratio**-40.0
    return plain(micropascal_s / 1000.0, temperature_c)


def dead_oil_viscosity_cp(gravity_degapi: float | Floats, temperature_c: Values) -> Values:
    """Return an estimate of the viscosity of an oil without gas in solution.

    Parameters
    ----------
    gravity_degapi : float or array
        API gravity. [degAPI]
    temperature_c : float or array
        [degC]

    Returns
    -------
    float or array
        Dynamic viscosity; NaN at or below 0 degF. [mPa s = cP]

    Notes
    -----
    `log10(log10(mu + 1)) = 3.0324 - 0.02023 API - 1.163 log10(T)`, T in degF. Fitted to 460 oils of 16-58 degAPI at
    21-146 degC. Oils of one gravity differ much, so a measured viscosity is always better. Water droplets in the
    oil make it thicker and gas in solution thinner; neither is counted.
    Source: Beggs and Robinson, J. Pet. Technol. 27 (1975) 1140, from secondary copies that agree.

    Examples
    --------
    22 degAPI at 137 degF, worked in the Petroleum Engineering Handbook (1987), chapter 22: 17.44 cP.

    >>> round(dead_oil_viscosity_cp(22.0, 58.3333333333), 2)
    17.44

    """
    gravity, temperature = as_floats(gravity_degapi, temperature_c)
    fahrenheit = temperature * 1.8 + 32.0
    above_zero = np.where(fahrenheit > 0.0, fahrenheit, np.nan)
    exponent = 10.0 ** (3.0324 - 0.02023 * gravity) * above_zero**-1.163
    return plain(10.0**exponent - 1.0, temperature_c)


def settling_velocity_m_per_s(
    drop_diameter_m: Values, density_difference_kg_m3: float | Floats, viscosity_cp: float | Floats
) -> Values:
    """Return the velocity at which a drop sinks or rises, by Stokes.

    Parameters
    ----------
    drop_diameter_m : float or array
        [m]
    density_difference_kg_m3 : float or array
        Of the drop above that of the liquid around it; the velocity has its sign. [kg/m3]
    viscosity_cp : float or array
        Of the liquid around the drop. [mPa s]

    Returns
    -------
    float or array
        Velocity, down is positive. [m/s]

    Notes
    -----
    `v = g d^2 drho / 18 mu`; valid while the Reynolds number stays below about 0.1 (3 % fast at 0.3).
    Source: Stokes 1851.

    Examples
    --------
    A water drop of 500 um in oil of 10 cP:

    >>> round(settling_velocity_m_per_s(500e-6, 193.809, 10.0), 8)
    0.00263975

    """
    diameter, difference, viscosity = as_floats(drop_diameter_m, density_difference_kg_m3, viscosity_cp)
    return plain(GRAVITY_M_PER_S2 * diameter**2 * difference / (18.0 * viscosity / 1000.0), drop_diameter_m)
