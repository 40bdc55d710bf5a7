"""How much of a sacrificial anode a current eats, and how long the rest lasts."""

from dataclasses import dataclass

import numpy as np

from nightgauge.physics.numbers import Floats, Values, as_floats, plain

FARADAY_C_PER_MOL = 96485.33212
"""Charge of a mole of electrons. [C/mol] Source: SI 2019 (CODATA 2018)."""

HOURS_PER_YEAR = 8760.0
"""Year of 365 days, as the standards of cathodic protection count it. [h]"""

_SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True)
class AnodeMaterial:
    """What an anode is made of, and how much of it does useful work.

    Attributes
    ----------
    name : str
        Of the metal that most of the alloy is.
    molar_mass_g_per_mol : float
        [g/mol] Source: IUPAC standard atomic weights (2013), as all three below.
    valence : int
        Electrons given by an atom.
    practical_capacity_ah_per_kg : float
        Charge that really reaches the steel from a kilogram. [A h/kg]
    utilisation : float
        Share of the mass that is used before the anode no longer gives its current. [1]
    source : str
        Where the last two come from.

    """

    name: str
    molar_mass_g_per_mol: float
    valence: int
    practical_capacity_ah_per_kg: float
    utilisation: float
    source: str

    @property
    def theoretical_capacity_ah_per_kg(self) -> float:
        """Return the charge in a kilogram by Faraday's law, `z F / (3600 M)`. [A h/kg]"""
        return self.valence * FARADAY_C_PER_MOL / (_SECONDS_PER_HOUR * self.molar_mass_g_per_mol / 1000.0)

    @property
    def efficiency(self) -> float:
        """Return the practical over the theoretical capacity. [1]"""
        return self.practical_capacity_ah_per_kg / self.theoretical_capacity_ah_per_kg


_SLENDER_BAR = 0.85
_SLENDER_BAR_SOURCE = (
    "utilisation 0.85: a short slender bar in DNV-RP-B401, from memory; to be confirmed with your own copy"
)

ANODE_MATERIALS = {
    material.name: material
    for material in (
        AnodeMaterial(
            "magnesium", 24.305, 2, 1100.0, _SLENDER_BAR,
            "Roberge, Corrosion Engineering, p. 554: about 50 % at 0.3 A/m2, less at less; " + _SLENDER_BAR_SOURCE,
        ),
        AnodeMaterial(
            "zinc", 65.38, 2, 738.0, _SLENDER_BAR,
            "90 %, as an abstract in Corrosion vol. 1 (1945) counts; DNV-RP-B401 has 780 in sea water (from memory); "
            + _SLENDER_BAR_SOURCE,
        ),
        AnodeMaterial(
            "aluminium", 26.9815385, 3, 2000.0, _SLENDER_BAR,
            "DNV-RP-B401, sea water at ambient temperature, from a design that cites it; warm water takes "
            "much off, see `aluminium_capacity_ah_per_kg`; " + _SLENDER_BAR_SOURCE,
        ),
    )
}  # fmt: skip
"""The three metals of the trade, by name. An anode's own data sheet is better than any of them.

Common practice, no source: zinc may turn round and stop protecting in hot fresh water above some 60 degC; magnesium
does not last in strong brine; hot brine usually has aluminium.
"""

_COOL_CAPACITY_AH_PER_KG = 2000.0
_COOL_C = 20.0
_CAPACITY_LOST_PER_C = 27.0


def aluminium_capacity_ah_per_kg(temperature_c: Values) -> Values:
    """Return the practical capacity of an aluminium anode in warm water.

    Parameters
    ----------
    temperature_c : float or array
        Of the anode; below 20 degC counts as 20 degC. [degC]

    Returns
    -------
    float or array
        Capacity; NaN from 94 degC up, where the line has come down to nothing. [A h/kg]

    Notes
    -----
    `2000 - 27 (T - 20 degC)`. Source: ABS Guidance Notes on Cathodic Protection (2017), from a secondary copy.

    Examples
    --------
    >>> aluminium_capacity_ah_per_kg(60.0)
    920.0

    """
    (temperature,) = as_floats(temperature_c)
    capacity = _COOL_CAPACITY_AH_PER_KG - _CAPACITY_LOST_PER_C * (np.maximum(temperature, _COOL_C) - _COOL_C)
    return plain(np.where(capacity > 0.0, capacity, np.nan), temperature_c)


def mass_consumed_kg(charge_ah: Values, capacity_ah_per_kg: float | Floats) -> Values:
    """Return the mass that a charge takes off an anode, `m = Q / capacity`.

    Parameters
    ----------
    charge_ah : float or array
        Current times time. [A h]
    capacity_ah_per_kg : float or array
        Practical capacity of the material, > 0. [A h/kg]

    Returns
    -------
    float or array
        Mass. [kg]

    Examples
    --------
    Magnesium, half an ampere through a year:

    >>> round(mass_consumed_kg(0.5 * 8760.0, 1100.0), 4)
    3.9818

    """
    charge, capacity = as_floats(charge_ah, capacity_ah_per_kg)
    return plain(charge / capacity, charge_ah)


def usable_mass_kg(mass_left_kg: Values, mass_new_kg: float | Floats, utilisation: float | Floats) -> Values:
    """Return the mass of an anode that may still be used.

    Parameters
    ----------
    mass_left_kg : float or array
        Of anode metal, without its core. [kg]
    mass_new_kg : float or array
        The same when it was new. [kg]
    utilisation : float or array
        Share of the new mass that may be used. [1]

    Returns
    -------
    float or array
        Mass, never below 0. [kg]

    Notes
    -----
    `m_left - (1 - u) m_new`: what may not be used is a share of the new anode, not of what is left.
    Source: definition of the utilisation factor.

    Examples
    --------
    A new bar of 10 kg has 8.5 kg; worn to 6 kg it has 4.5 kg:

    >>> round(usable_mass_kg(10.0, 10.0, 0.85), 9), round(usable_mass_kg(6.0, 10.0, 0.85), 9)
    (8.5, 4.5)

    """
    left, new, share = as_floats(mass_left_kg, mass_new_kg, utilisation)
    return plain(np.maximum(left - (1.0 - share) * new, 0.0), mass_left_kg)


def life_left_years(usable_mass_kg: Values, capacity_ah_per_kg: float | Floats, current_a: float | Floats) -> Values:
    """Return how long a usable mass lasts at a current.

    Parameters
    ----------
    usable_mass_kg : float or array
        Mass that may still be used: a new anode's mass times its utilisation. [kg]
    capacity_ah_per_kg : float or array
        Practical capacity of the material. [A h/kg]
    current_a : float or array
        Mean current to come. [A]

    Returns
    -------
    float or array
        Time; NaN where the current is not above 0, for a dead lead is no endless life. [year]

    Notes
    -----
    `L = m u e / (8760 I)`. Source: Faraday's law, in the form of DNV-RP-B401.

    Examples
    --------
    32 lb of magnesium at 0.20 A:

    >>> round(life_left_years(32 * 0.45359237 * 0.85, 1100.0, 0.20), 4)
    7.7463

    """
    mass, capacity, current = as_floats(usable_mass_kg, capacity_ah_per_kg, current_a)
    drawn = np.where(current > 0.0, current, np.nan)
    return plain(mass * capacity / (HOURS_PER_YEAR * drawn), usable_mass_kg)


def mass_needed_kg(
    current_a: Values, years: float | Floats, capacity_ah_per_kg: float | Floats, utilisation: float | Floats
) -> Values:
    """Return the mass of anodes that gives a current for a time, `m = 8760 I t / (u e)`.

    Parameters
    ----------
    current_a : float or array
        Mean current. [A]
    years : float or array
        [year]
    capacity_ah_per_kg : float or array
        Practical capacity of the material, > 0. [A h/kg]
    utilisation : float or array
        Share of the mass that may be used, > 0. [1]

    Returns
    -------
    float or array
        Mass of new anodes. [kg]

    Notes
    -----
    Source: Faraday's law, in the form of DNV-RP-B401.

    Examples
    --------
    >>> mass_needed_kg(10.0, 20.0, 2000.0, 0.8)
    1095.0

    """
    current, time, capacity, share = as_floats(current_a, years, capacity_ah_per_kg, utilisation)
    return plain(current * time * HOURS_PER_YEAR / (share * capacity), current_a)
