"""What size of vessel would hold the liquids long enough and let the drops settle.

The rules of Arnold and Stewart, Surface Production Operations 1, 3rd ed., in exact SI. Their field coefficients are
rounded; against the exact ones 1.42 is 0.7 % low, 0.7 is 0.1 % high, 0.12 is 2.9 % high, 420 and 5040 are 0.4 % low,
0.00128 is 0.4 % low and 6690 is 0.3 % high.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nightgauge.physics.geometry import Orientation, Shell
from nightgauge.physics.numbers import Floats, Values, as_floats, plain

_INCH_M = 0.0254
_SECONDS_PER_DAY = 86400.0
_LYING_LENGTH = 4.0 / 3.0  # seam to seam over effective: the rest is inlet and outlet; where liquid governs
_ABOVE_THE_LIQUID_M = 76 * _INCH_M  # of a standing vessel up to 36 in; wider ones have one diameter and 40 in
_ABOVE_THE_LIQUID_OF_WIDE_M = 40 * _INCH_M

SHOP_DIAMETERS_M = tuple(inches * _INCH_M for inches in (24, 30, 36, 42, 48, 54, 60, 72, 84, 96, 108, 120, 144))
"""Diameters that shops roll, 24 in to 144 in. [m] Common practice, no source."""

SLENDERNESS = {"horizontal": (3.0, 5.0), "vertical": (1.5, 3.0)}
"""Seam to seam over diameter of vessels as they are commonly built. [1]

Source: Arnold and Stewart, three-phase separators, from secondary copies. More slender costs less steel and has more
waves and entrainment; less slender costs more steel.
"""


@dataclass(frozen=True)
class Size:
    """A vessel that would do.

    Attributes
    ----------
    inside_diameter_m : float
        [m]
    effective_length_m : float
        Of the shell that holds the liquid: lying along it, standing up it. [m]
    length_m : float
        Seam to seam. [m]
    orientation : str
        "horizontal" or "vertical".

    """

    inside_diameter_m: float
    effective_length_m: float
    length_m: float
    orientation: Orientation

    @property
    def slenderness(self) -> float:
        """Return the length seam to seam over the diameter. [1]"""
        return self.length_m / self.inside_diameter_m

    @property
    def is_common(self) -> bool:
        """Return whether vessels of this slenderness are commonly built."""
        lower, upper = SLENDERNESS[self.orientation]
        return lower <= self.slenderness <= upper


def held_volume_m3(rate_m3_per_day: Values, required_min: float | Floats) -> Values:
    """Return the volume that holds a flow for a time, `V = Q t / 1440`.

    Parameters
    ----------
    rate_m3_per_day : float or array
        Inflow of the liquid. [m3/day]
    required_min : float or array
        Required retention. [min]

    Returns
    -------
    float or array
        Volume. [m3]

    Examples
    --------
    >>> held_volume_m3(1440.0, 10.0)
    10.0

    """
    rate, required = as_floats(rate_m3_per_day, required_min)
    return plain(rate * required / 1440.0, rate_m3_per_day)


def sizes(
    liquid_m3: float,
    orientation: Orientation,
    liquid_fraction: float = 0.5,
    diameters_m: Sequence[float] = SHOP_DIAMETERS_M,
) -> tuple[Size, ...]:
    """Return the vessel of each diameter that holds a volume of liquid.

    Parameters
    ----------
    liquid_m3 : float
        Water and oil to be held, the sum of `held_volume_m3` of both. [m3]
    orientation : str
        "horizontal" or "vertical".
    liquid_fraction : float
        Share of the cross-section of a horizontal vessel below the liquid's surface; a vertical one does not
        use it. Half is the book's. [1]
    diameters_m : sequence of float
        To choose from. [m]

    Returns
    -------
    tuple of Size
        One for each diameter, common or not. Heads count for nothing, on the safe side.

    Notes
    -----
    Horizontal: `L_eff = V / (f pi/4 D^2)`, seam to seam 4/3 of it. Vertical: the height of liquid `V / (pi/4 D^2)`,
    seam to seam 76 in more, above 36 in of diameter a diameter and 40 in more. Gas and settling are looked at by
    themselves, with `gas`, `largest_diameter_m` and `least_diameter_m`.
    Source: Arnold and Stewart, two- and three-phase separators.

    Examples
    --------
    3000 bbl/day of water and 5000 bbl/day of oil, each held for 10 min, in 84 in:

    >>> bbl, inch = 0.158987294928, 0.0254
    >>> liquid = held_volume_m3(8000 * bbl, 10.0)
    >>> found = sizes(liquid, "horizontal", diameters_m=(84 * inch,))[0]
    >>> round(found.effective_length_m / 0.3048, 1), round(found.slenderness, 1), found.is_common
    (16.2, 3.1, True)

    """
    return tuple(_size(liquid_m3, orientation, liquid_fraction, diameter) for diameter in diameters_m)


def _size(liquid_m3: float, orientation: Orientation, liquid_fraction: float, diameter_m: float) -> Size:
    bore_m2 = math.pi / 4.0 * diameter_m**2
    if orientation == "horizontal":
        effective = liquid_m3 / (liquid_fraction * bore_m2)
        return Size(diameter_m, effective, effective * _LYING_LENGTH, orientation)
    height = liquid_m3 / bore_m2
    above = max(_ABOVE_THE_LIQUID_M, diameter_m + _ABOVE_THE_LIQUID_OF_WIDE_M)
    return Size(diameter_m, height, height + above, orientation)


def pad_share(water_m3: Values, oil_m3: float | Floats, liquid_fraction: float = 0.5) -> Values:
    """Return the depth of the oil over the diameter of a horizontal vessel that holds both liquids.

    Parameters
    ----------
    water_m3, oil_m3 : float or array
        Volumes to be held. [m3]
    liquid_fraction : float
        Share of the cross-section below the liquid's surface. [1]

    Returns
    -------
    float or array
        Depth of the oil pad over the diameter, the trade's beta; NaN without liquid. [1]

    Notes
    -----
    The water takes the share `f V_w / (V_w + V_o)` of the cross-section; the depths follow from the segments of the
    circle. Source: geometry; Arnold and Stewart read it off a chart for f = 0.5.

    Examples
    --------
    >>> round(pad_share(3.0, 5.0), 6)
    0.257292

    """
    water, oil = as_floats(water_m3, oil_m3)
    liquid = np.where(water + oil > 0.0, water + oil, np.nan)
    unit = Shell(1.0, 4.0 / math.pi, "flat", "horizontal")  # of volume 1: volumes are shares
    surface = unit.level_m(liquid_fraction)
    return plain(surface - unit.level_m(liquid_fraction * water / liquid), water_m3)


def largest_diameter_m(
    largest_pad_m: Values, water_m3: float | Floats, oil_m3: float | Floats, liquid_fraction: float = 0.5
) -> Values:
    """Return the diameter above which the oil pad of a horizontal vessel is too deep for its water drops.

    Parameters
    ----------
    largest_pad_m : float or array
        Depth that the drops cross in time, from `settling.largest_pad_m`. [m]
    water_m3, oil_m3 : float or array
        Volumes to be held. [m3]
    liquid_fraction : float
        Share of the cross-section below the liquid's surface. [1]

    Returns
    -------
    float or array
        Inside diameter. [m]

    Examples
    --------
    >>> round(largest_diameter_m(62.08 * 0.0254, 3.0, 5.0) / 0.0254, 1)
    241.3

    """
    pad, water, oil = as_floats(largest_pad_m, water_m3, oil_m3)
    return plain(pad / pad_share(water, oil, liquid_fraction), largest_pad_m)


def least_diameter_m(rate_m3_per_day: Values, velocity_m_per_s: float | Floats) -> Values:
    """Return the diameter below which a standing vessel's liquid moves faster than its drops.

    Parameters
    ----------
    rate_m3_per_day : float or array
        Of the oil for water drops, of the water for oil drops. [m3/day]
    velocity_m_per_s : float or array
        Of the drop, of either sign. [m/s]

    Returns
    -------
    float or array
        Inside diameter; NaN where the drop does not move. [m]

    Notes
    -----
    `pi/4 D^2 v = Q`.

    Examples
    --------
    5000 bbl/day of oil of 10 cP and water drops of 500 um, in inches; the book's rounded rule has 83.0:

    >>> round(least_diameter_m(5000 * 0.158987294928, 0.002639747) / 0.0254, 1)
    82.9

    """
    rate, velocity = as_floats(rate_m3_per_day, velocity_m_per_s)
    moving = np.where(velocity != 0.0, np.abs(velocity), np.nan)
    return plain(np.sqrt(rate / _SECONDS_PER_DAY / moving * 4.0 / math.pi), rate_m3_per_day)
