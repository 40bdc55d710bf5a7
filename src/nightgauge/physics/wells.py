"""What pressure costs a well, and the oil in what a test measured."""

import numpy as np

from nightgauge.physics.numbers import Floats, Values, as_floats, plain

_SECONDS_PER_DAY = 86400.0


def rate_lost_m3_per_day(
    pressure_kpa: Values,
    productivity_index_m3_per_day_per_kpa: float | Floats,
    pump_slope_kpa_per_m3_per_day: float | Floats | None = None,
) -> Values:
    """Return the liquid that wells make less of because of back pressure, at most.

    Parameters
    ----------
    pressure_kpa : float or array
        Back pressure above what is needed; below it the loss is negative, a gain. [kPa]
    productivity_index_m3_per_day_per_kpa : float or array
        Of the liquid of one well, or the sum over the wells that stand against this pressure; NaN unless
        above 0. [m3/day/kPa]
    pump_slope_kpa_per_m3_per_day : float or array, optional
        How much less pressure the pump adds for each m3/day more, of either sign: curves fall. Without it the
        pump counts as adding the same pressure at any rate.

    Returns
    -------
    float or array
        Liquid; without a slope an upper bound, to be shown as "up to". [m3/day]

    Notes
    -----
    `dq = dp / (1 / PI + |slope|)`: the inflow line `q = PI (p_r - p_wf)` meets the pump's line, and both move by
    `dq`. Without a slope `dq = PI dp`. An upper bound because a pump's curve, friction in the tubing and gas that
    comes out of solution all give way in part. The indices of several wells add up; a slope is that of one pump
    with its own well's index. Source: definition of the productivity index; intersection of two straight lines.

    Examples
    --------
    10 psi on an index of 4 bbl/day/psi: up to 40 bbl/day.

    >>> psi, bbl = 6.894757293168361, 0.158987294928
    >>> round(rate_lost_m3_per_day(10 * psi, 4 * bbl / psi) / bbl, 9)
    40.0

    With a pump whose pressure falls 0.75 psi per bbl/day: a quarter of it.

    >>> round(rate_lost_m3_per_day(10 * psi, 4 * bbl / psi, 0.75 * psi / bbl) / bbl, 9)
    10.0

    """
    pressure, index = as_floats(pressure_kpa, productivity_index_m3_per_day_per_kpa)
    known = np.where(index > 0.0, index, np.nan)
    if pump_slope_kpa_per_m3_per_day is None:
        return plain(pressure * known, pressure_kpa)
    (slope,) = as_floats(pump_slope_kpa_per_m3_per_day)
    return plain(pressure / (1.0 / known + np.abs(slope)), pressure_kpa)


def rate_m3_per_day(volume_m3: Values, duration_s: float | Floats) -> Values:
    """Return a volume measured over a time as a rate per day, `q = 86400 V / t`.

    Parameters
    ----------
    volume_m3 : float or array
        [m3]
    duration_s : float or array
        NaN unless above 0. [s]

    Returns
    -------
    float or array
        Rate. [m3/day]

    Examples
    --------
    >>> rate_m3_per_day(10.0, 6 * 3600.0)
    40.0

    """
    volume, duration = as_floats(volume_m3, duration_s)
    return plain(_SECONDS_PER_DAY * volume / np.where(duration > 0.0, duration, np.nan), volume_m3)


def water_cut(water_m3: Values, oil_m3: float | Floats) -> Values:
    """Return the share of water in a liquid, `Q_w / (Q_o + Q_w)`.

    Parameters
    ----------
    water_m3, oil_m3 : float or array
        Volumes, or rates; NaN unless they add up to more than 0. [m3]

    Returns
    -------
    float or array
        Water cut. [1]

    Examples
    --------
    >>> water_cut(900.0, 100.0)
    0.9

    """
    water, oil = as_floats(water_m3, oil_m3)
    liquid = water + oil
    return plain(water / np.where(liquid > 0.0, liquid, np.nan), water_m3)


def net_oil_m3(
    gross_m3: Values,
    water_cut: float | Floats,
    meter_factor: float | Floats = 1.0,
    volume_correction: float | Floats = 1.0,
    shrinkage: float | Floats = 1.0,
) -> Values:
    """Return the oil at standard conditions in a metered volume of liquid.

    Parameters
    ----------
    gross_m3 : float or array
        Liquid as the meter read it; a rate gives a rate. [m3]
    water_cut : float or array
        Share of water in it. [1]
    meter_factor : float or array
        True volume over the meter's. [1]
    volume_correction : float or array
        Volume at 60 degF over that at the meter's temperature, the trade's CTL. [1]
    shrinkage : float or array
        Volume of stock tank oil over that of the oil with its gas in solution. [1]

    Returns
    -------
    float or array
        Net oil. [m3]

    Notes
    -----
    `NSV = IV MF (1 - WC) CTL SF`.
    Source: the definition of each factor; the terms are those of API MPMS 12.2 (from memory).

    Examples
    --------
    1000 bbl with 40 % of water at 120 degF, 35 degAPI:

    >>> round(net_oil_m3(1000.0, 0.40, 1.002, 0.971380, 0.985), 3)
    575.234

    """
    gross, cut, meter, temperature, gas = as_floats(gross_m3, water_cut, meter_factor, volume_correction, shrinkage)
    return plain(gross * meter * (1.0 - cut) * temperature * gas, gross_m3)


def net_oil_error_fraction(water_cut: Values, water_cut_error: float | Floats) -> Values:
    """Return by what share net oil is wrong when the water cut is wrong.

    Parameters
    ----------
    water_cut : float or array
        NaN unless below 1. [1]
    water_cut_error : float or array
        What it reads too high; an uncertainty gives an uncertainty, of which the sign says nothing. [1]

    Returns
    -------
    float or array
        Error of net oil over net oil. [1]

    Notes
    -----
    `dN / N = -dWC / (1 - WC)`, exact since net oil is linear in the water cut.

    Examples
    --------
    One point of water too many at 90 %: a tenth of the oil is missed.

    >>> round(net_oil_error_fraction(0.90, 0.01), 9)
    -0.1

    """
    cut, error = as_floats(water_cut, water_cut_error)
    return plain(-error / np.where(cut < 1.0, 1.0 - cut, np.nan), water_cut)


def combined_uncertainty(first: Values, *others: float | Floats) -> Values:
    """Return independent uncertainties of a product taken together, their root sum of squares.

    Parameters
    ----------
    first : float or array
        Relative, all at the same coverage. [1]
    *others : float or array
        The same of the other factors. [1]

    Returns
    -------
    float or array
        Relative uncertainty of the product. [1]

    Notes
    -----
    `u = sqrt(sum u_i^2)`. Source: JCGM 100 (GUM), 5.1.6, factors of power 1.

    Examples
    --------
    >>> round(combined_uncertainty(0.005, 0.01, 0.02), 8)
    0.02291288

    """
    parts = as_floats(first, *others)
    return plain(np.sqrt(sum((part**2 for part in parts), np.zeros(()))), first)
