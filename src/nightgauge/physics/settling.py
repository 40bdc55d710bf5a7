"""Which drops leave a layer of liquid or gas before the layer leaves the vessel.

A layer flows from inlet to outlet while drops cross it, down or up. All drops of one size are out when they cross its
depth in the time that the layer stays: `h / v <= V / Q`, so `Q <= v V / h`, the velocity of the drop times the mean
plan area of the layer. In a standing vessel that is the rate at which the liquid rises as fast as the drop falls.
Source: Hazen, Trans. ASCE 53 (1904) 45; the sizing rules of Arnold and Stewart are this with rounded numbers.

It is the most that a vessel can do: flow evenly spread, nothing stirred up, drops round and not merging.
"""

from dataclasses import dataclass
from typing import Generic

import numpy as np

from nightgauge.physics.geometry import Shell
from nightgauge.physics.numbers import Floats, Values, as_floats, plain
from nightgauge.physics.retention import effective_volume_m3
from nightgauge.physics.valve import GRAVITY_M_PER_S2

WATER_DROP_IN_OIL_M = 500e-6
"""Water drops that are to settle out of the oil where nothing better is known. [m]

Source: Arnold and Stewart, Surface Production Operations 1, 3rd ed., example of a three-phase separator, from copies.
"""

OIL_DROP_IN_WATER_M = 200e-6
"""Oil drops that are to rise out of the water where nothing better is known. [m] Source: as above."""

_SECONDS_PER_DAY = 86400.0
_NEWTON_STEPS = 30  # from a start at most a few times too high, each step at worst takes a quarter off


@dataclass(frozen=True)
class Layer(Generic[Values]):
    """A layer of liquid or gas in a vessel: its volume and the depth that drops cross."""

    volume_m3: Values
    depth_m: Values


def layer(
    shell: Shell,
    lower_level_m: Values,
    upper_level_m: Values,
    settling_length_m: float | None = None,
    solids_depth_m: float | None = None,
) -> Layer[Values]:
    """Return the layer between two levels in which drops settle.

    Parameters
    ----------
    shell : Shell
        The vessel.
    lower_level_m : float or array
        0 for the water, the interface for the oil, the oil level for the gas. [m]
    upper_level_m : float or array
        The interface for the water, the oil level for the oil, the top for the gas. [m]
    settling_length_m : float, optional
        Length of the straight shell that counts; without it the whole vessel counts. [m]
    solids_depth_m : float, optional
        Depth of solids on the bottom. [m]

    Returns
    -------
    Layer
        Neither volume nor depth is below 0.

    Examples
    --------
    The oil of a vessel of 10 ft by 30 ft from 3 ft to 6 ft, as volume and depth:

    >>> oil = layer(Shell(3.048, 9.144, "2:1 ellipsoidal", "horizontal"), 0.9144, 1.8288)
    >>> round(oil.volume_m3, 4), round(oil.depth_m, 4)
    (28.1661, 0.9144)

    """
    lower, upper = as_floats(lower_level_m, upper_level_m)
    floor = np.maximum(lower, 0.0 if solids_depth_m is None else solids_depth_m)
    depth = np.maximum(np.minimum(upper, shell.height_m) - floor, 0.0)
    volume = effective_volume_m3(shell, lower_level_m, upper_level_m, settling_length_m, solids_depth_m)
    return Layer(volume, plain(depth, upper_level_m))


def settling_rate_m3_per_day(through: Layer[Values], velocity_m_per_s: float | Floats) -> Values:
    """Return the largest flow of a layer out of which all drops of one velocity still settle.

    Parameters
    ----------
    through : Layer
        The oil for water drops, the water for oil drops, the gas for drops of liquid.
    velocity_m_per_s : float or array
        At which the drop crosses the layer, of either sign. [m/s]

    Returns
    -------
    float or array
        Flow of the layer; NaN where it has no depth. Gas at the vessel's pressure and temperature. [m3/day]

    Notes
    -----
    `Q = v V / h`, see the module.

    Examples
    --------
    A layer of 20 m3 and 1 m, crossed at 1 mm/s:

    >>> round(settling_rate_m3_per_day(Layer(20.0, 1.0), 0.001), 6)
    1728.0

    """
    volume, depth, velocity = as_floats(through.volume_m3, through.depth_m, velocity_m_per_s)
    crossed = np.where(depth > 0.0, depth, np.nan)
    return plain(_SECONDS_PER_DAY * np.abs(velocity) * volume / crossed, through.volume_m3)


def smallest_drop_m(
    through: Layer[Values],
    rate_m3_per_day: float | Floats,
    density_difference_kg_m3: float | Floats,
    viscosity_cp: float | Floats,
) -> Values:
    """Return the smallest drop that settles out of a layer at a flow, by Stokes.

    Parameters
    ----------
    through : Layer
        The oil for water drops, the water for oil drops.
    rate_m3_per_day : float or array
        Flow of the layer. [m3/day]
    density_difference_kg_m3 : float or array
        Between drop and layer, of either sign. [kg/m3]
    viscosity_cp : float or array
        Of the layer's liquid. [mPa s]

    Returns
    -------
    float or array
        Diameter; NaN where the layer has no volume, the flow is negative or the densities are equal. [m]

    Notes
    -----
    `d = sqrt(18 mu v / (g drho))`, `v = Q h / V`: the inverse of `settling_rate_m3_per_day` with `liquids`'
    `settling_velocity_m_per_s`, with the limits of both: a drop of 200 um in water rises 8 % slower than by Stokes.

    Examples
    --------
    A layer of 20 m3 and 1 m, 1728 m3/day, 10 cP, 200 kg/m3 lighter than the drop, as micrometres:

    >>> round(smallest_drop_m(Layer(20.0, 1.0), 1728.0, 200.0, 10.0) * 1e6, 1)
    302.9

    """
    volume, depth, rate = as_floats(through.volume_m3, through.depth_m, rate_m3_per_day)
    difference, viscosity = as_floats(density_difference_kg_m3, viscosity_cp)
    held = np.where((volume > 0.0) & (rate >= 0.0), volume, np.nan)
    pull = np.where(difference != 0.0, GRAVITY_M_PER_S2 * np.abs(difference), np.nan)
    velocity = rate / _SECONDS_PER_DAY * depth / held
    return plain(np.sqrt(18.0 * viscosity / 1000.0 * velocity / pull), through.volume_m3)


def largest_pad_m(retention_min: Values, velocity_m_per_s: float | Floats) -> Values:
    """Return the depth of the deepest layer that a drop crosses while the layer stays, `h = v t`.

    Parameters
    ----------
    retention_min : float or array
        How long the layer stays. [min]
    velocity_m_per_s : float or array
        Of the drop, of either sign. [m/s]

    Returns
    -------
    float or array
        Depth. [m]

    Examples
    --------
    Water drops of 500 um in oil of 10 cP held 10 min, in inches:

    >>> round(largest_pad_m(10.0, 0.002639747) / 0.0254, 1)
    62.4

    """
    retention, velocity = as_floats(retention_min, velocity_m_per_s)
    return plain(60.0 * retention * np.abs(velocity), retention_min)


def terminal_velocity_m_per_s(
    drop_diameter_m: Values,
    density_difference_kg_m3: float | Floats,
    density_around_kg_m3: float | Floats,
    viscosity_cp: float | Floats,
) -> Values:
    """Return the velocity at which a drop sinks or rises where Stokes no longer holds: in gas, or large in thin liquid.

    Parameters
    ----------
    drop_diameter_m : float or array
        [m]
    density_difference_kg_m3 : float or array
        Of the drop above that of what is around it; the velocity has its sign. [kg/m3]
    density_around_kg_m3 : float or array
        Of the liquid or gas around the drop. [kg/m3]
    viscosity_cp : float or array
        Of the liquid or gas around the drop. [mPa s]

    Returns
    -------
    float or array
        Velocity, down is positive. [m/s]

    Notes
    -----
    `v^2 = 4 g d drho / (3 rho C)` with `C = 24 / Re + 3 / sqrt(Re) + 0.34`. The books go round between the two; put
    together they are `24 Re + 3 Re^1.5 + 0.34 Re^2 = 4 g d^3 rho drho / (3 mu^2)`, which Newton's method solves.
    Against newer drag laws 3-4 % slow below Re 1 and up to 20 % fast at Re 5-100: good for drops in liquids; in gas
    count on less, or take a capacity factor as `gas` does.
    Source: Arnold and Stewart, Surface Production Operations 1, two-phase separators.

    Examples
    --------
    Liquid of 51.5 in gas of 3.71 lb/ft3 and 0.013 cP, drop of 140 um, in ft/s:

    >>> lb_ft3 = 16.018463374
    >>> round(terminal_velocity_m_per_s(140e-6, 47.79 * lb_ft3, 3.71 * lb_ft3, 0.013) / 0.3048, 2)
    0.54

    """
    diameter, difference, density = as_floats(drop_diameter_m, density_difference_kg_m3, density_around_kg_m3)
    (centipoise,) = as_floats(viscosity_cp)
    viscosity = centipoise / 1000.0
    driven = 4.0 / 3.0 * GRAVITY_M_PER_S2 * diameter**3 * density * np.abs(difference) / viscosity**2
    reynolds = _root_of_reynolds(driven) ** 2
    return plain(np.sign(difference) * reynolds * viscosity / (density * diameter), drop_diameter_m)


def _root_of_reynolds(driven: Floats) -> Floats:
    """Return the square root s of the Reynolds number: `0.34 s^4 + 3 s^3 + 24 s^2 = driven`."""
    # Either end term alone gives too large a root; from there the steps of a convex rising curve never overshoot.
    root = np.minimum(np.sqrt(driven / 24.0), (driven / 0.34) ** 0.25)
    for _ in range(_NEWTON_STEPS):
        slope = root * (48.0 + root * (9.0 + root * 1.36))
        excess = root**2 * (24.0 + root * (3.0 + root * 0.34)) - driven
        root = root - np.where(slope > 0.0, excess / np.where(slope > 0.0, slope, 1.0), 0.0)
    return np.asarray(root)
