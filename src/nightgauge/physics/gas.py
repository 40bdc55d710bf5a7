"""How much gas may pass through a vessel before it carries liquid along."""

import math
from dataclasses import dataclass
from typing import Generic

import numpy as np

from nightgauge.physics.geometry import Orientation, Shell, circle_segment_area
from nightgauge.physics.numbers import Floats, Values, as_floats, plain
from nightgauge.physics.retention import Band

_FOOT_M = 0.3048
_SECONDS_PER_DAY = 86400.0
_KELVIN = 273.15
_STANDARD_KPAA = 14.696 * 6.894757293168361
_STANDARD_K = (60.0 - 32.0) / 1.8 + _KELVIN

AIR_KG_PER_KMOL = 28.96546
"""Molar mass of dry air. [kg/kmol] Source: Picard et al., Metrologia 45 (2008) 149 (CIPM-2007)."""

GAS_CONSTANT_KJ_PER_KMOL_K = 8.314462618
"""Molar gas constant. [kJ/(kmol K)] Source: SI 2019 (CODATA 2018)."""

VERTICAL_BANDS_FT_PER_S = ((5.0, 0.12, 0.24), (10.0, 0.18, 0.35))
"""Seam-to-seam height [ft], lower and upper capacity factor [ft/s] with a wire-mesh mist extractor.

Source: API Spec 12J annex C, from secondary copies. Between the two heights a line is drawn; lower than 5 ft
takes the 5 ft row, higher than 10 ft the 10 ft row ("10 ft or taller").
"""

HORIZONTAL_BAND_FT_PER_S = (0.40, 0.50)
"""Lower and upper capacity factor [ft/s] of a horizontal 10 ft long. Source: as above."""

_LENGTH_EXPONENT = 0.56  # horizontals: factor times (length / 10 ft)^0.56; API Spec 12J annex C
_WITHOUT_MIST_EXTRACTOR = 0.5  # house choice: half of the lower end where nothing catches fine drops


@dataclass(frozen=True)
class Gas(Generic[Values]):
    """A gas as it is in the vessel.

    Attributes
    ----------
    specific_gravity : float
        Molar mass over that of air. [1]
    pressure_kpaa : float or array
        Absolute. [kPa]
    temperature_c : float or array
        [degC]
    compressibility : float
        1 is within 2 % for lean gas below some 5 bar. [1]

    """

    specific_gravity: float
    pressure_kpaa: Values
    temperature_c: Values
    compressibility: float = 1.0

    @property
    def density_kg_m3(self) -> Values:
        """Return the density in the vessel. [kg/m3]"""
        return gas_density_kg_m3(self.specific_gravity, self.pressure_kpaa, self.temperature_c, self.compressibility)

    @property
    def standard_volumes_per_volume(self) -> Values:
        """Return the volume at 14.696 psia and 60 degF of one volume in the vessel. [1]"""
        pressure, temperature = as_floats(self.pressure_kpaa, self.temperature_c)
        shrunk = _STANDARD_K / ((temperature + _KELVIN) * self.compressibility)
        return plain(pressure / _STANDARD_KPAA * shrunk, self.pressure_kpaa)


def gas_density_kg_m3(
    specific_gravity: float, pressure_kpaa: Values, temperature_c: float | Floats, compressibility: float = 1.0
) -> Values:
    """Return the density of a gas, `rho = SG M_air P / (Z R T)`.

    Parameters
    ----------
    specific_gravity : float
        Molar mass over that of air. [1]
    pressure_kpaa : float or array
        Absolute. [kPa]
    temperature_c : float or array
        [degC]
    compressibility : float
        [1]

    Returns
    -------
    float or array
        Density. [kg/m3]

    Examples
    --------
    Gas of 0.70 at 64.696 psia, 100 degF, Z 0.99 weighs 0.2206 lb/ft3:

    >>> round(gas_density_kg_m3(0.70, 446.063, 37.7777777778, 0.99) / 16.01846337, 4)
    0.2206

    """
    pressure, temperature = as_floats(pressure_kpaa, temperature_c)
    molar_mass = specific_gravity * AIR_KG_PER_KMOL
    density = molar_mass * pressure / (compressibility * GAS_CONSTANT_KJ_PER_KMOL_K * (temperature + _KELVIN))
    return plain(density, pressure_kpaa)


def published_capacity_factor_m_per_s(orientation: Orientation, length_m: float) -> Band[float]:
    """Return the published band of capacity factors with a wire-mesh mist extractor.

    Parameters
    ----------
    orientation : str
        "horizontal" or "vertical".
    length_m : float
        Seam to seam: the length of a horizontal, the height of a vertical. [m]

    Returns
    -------
    Band
        Lower and upper end. [m/s]

    Examples
    --------
    >>> band = published_capacity_factor_m_per_s("horizontal", 20 * 0.3048)
    >>> round(band.lower / 0.3048, 6), round(band.upper / 0.3048, 6)
    (0.589708, 0.737135)

    """
    length_ft = length_m / _FOOT_M
    if orientation == "horizontal":
        longer = (length_ft / 10.0) ** _LENGTH_EXPONENT
        lower, upper = (end * longer for end in HORIZONTAL_BAND_FT_PER_S)
    else:
        heights, lowers, uppers = zip(*VERTICAL_BANDS_FT_PER_S, strict=True)
        lower, upper = float(np.interp(length_ft, heights, lowers)), float(np.interp(length_ft, heights, uppers))
    return Band(lower * _FOOT_M, upper * _FOOT_M)


def capacity_factor_m_per_s(orientation: Orientation, length_m: float, *, mist_extractor: bool) -> float:
    """Return the capacity factor to judge a vessel by: the band's lower end, half of it without a mist extractor.

    Parameters
    ----------
    orientation : str
        "horizontal" or "vertical".
    length_m : float
        Seam to seam: the length of a horizontal, the height of a vertical. [m]
    mist_extractor : bool
        Whether the gas leaves through one.

    Returns
    -------
    float
        Capacity factor K. [m/s]

    Examples
    --------
    >>> round(capacity_factor_m_per_s("vertical", 3.048, mist_extractor=False) / 0.3048, 3)
    0.09

    """
    lower = published_capacity_factor_m_per_s(orientation, length_m).lower
    return lower if mist_extractor else lower * _WITHOUT_MIST_EXTRACTOR


def allowed_velocity_m_per_s(
    capacity_factor_m_per_s: float, liquid_density_kg_m3: float | Floats, gas_density_kg_m3: Values
) -> Values:
    """Return the gas velocity up to which liquid falls out of it.

    Parameters
    ----------
    capacity_factor_m_per_s : float
        K. [m/s]
    liquid_density_kg_m3 : float or array
        Of the liquid carried, the oil as a rule. [kg/m3]
    gas_density_kg_m3 : float or array
        In the vessel. [kg/m3]

    Returns
    -------
    float or array
        Velocity; NaN where the gas is not lighter than the liquid or weighs nothing. [m/s]

    Notes
    -----
    `v = K sqrt((rho_l - rho_g) / rho_g)`. Source: Souders and Brown, Ind. Eng. Chem. 26 (1934) 98.

    Examples
    --------
    >>> round(allowed_velocity_m_per_s(0.08, 985.4, 1.3), 7)
    2.2010906

    """
    liquid, gas = as_floats(liquid_density_kg_m3, gas_density_kg_m3)
    lighter = np.where((gas > 0.0) & (gas < liquid), gas, np.nan)
    return plain(capacity_factor_m_per_s * np.sqrt((liquid - lighter) / lighter), gas_density_kg_m3)


def gas_area_m2(shell: Shell, oil_level_m: Values) -> Values:
    """Return the area through which the gas flows.

    Parameters
    ----------
    shell : Shell
        The vessel.
    oil_level_m : float or array
        Gas-oil surface, clipped to the vessel. [m]

    Returns
    -------
    float or array
        Lying: of the end view above the oil level. Standing: of the whole bore, at any level. [m2]

    Examples
    --------
    >>> half = gas_area_m2(Shell(2.0, 6.0, "flat", "horizontal"), 1.0)
    >>> round(half / math.pi, 6)
    0.5

    """
    (level,) = as_floats(oil_level_m)
    full = math.pi / 4.0
    if shell.orientation == "horizontal":
        ratio = full - circle_segment_area(np.clip(level / shell.inside_diameter_m, 0.0, 1.0))
    else:
        ratio = full + level * 0.0
    return plain(ratio * shell.inside_diameter_m**2, oil_level_m)


def gas_capacity_m3_per_day(
    shell: Shell,
    oil_level_m: Values,
    gas: Gas[float] | Gas[Floats],
    liquid_density_kg_m3: float | Floats,
    *,
    mist_extractor: bool,
) -> Values:
    """Return the gas rate up to which the vessel keeps liquid out of its gas.

    Parameters
    ----------
    shell : Shell
        The vessel.
    oil_level_m : float or array
        Gas-oil surface. [m]
    gas : Gas
        As it is in the vessel.
    liquid_density_kg_m3 : float or array
        Of the liquid carried. [kg/m3]
    mist_extractor : bool
        Whether the gas leaves through one.

    Returns
    -------
    float or array
        Rate at standard conditions, 14.696 psia and 60 degF. [m3/day]

    Notes
    -----
    Allowed velocity times the area above the oil, at standard conditions.

    Examples
    --------
    >>> vessel = Shell(2.4384, 6.096, "2:1 ellipsoidal", "horizontal")
    >>> round(gas_capacity_m3_per_day(vessel, 1.6764, Gas(0.75, 400.0, 35.0), 870.0, mist_extractor=False))
    572360

    """
    factor = capacity_factor_m_per_s(shell.orientation, shell.length_m, mist_extractor=mist_extractor)
    density, expansion = as_floats(gas.density_kg_m3, gas.standard_volumes_per_volume)
    velocity = np.asarray(allowed_velocity_m_per_s(factor, liquid_density_kg_m3, density))
    area = np.asarray(gas_area_m2(shell, oil_level_m))
    return plain(velocity * area * expansion * _SECONDS_PER_DAY, oil_level_m)
