"""The price of carryover: water that is heated because it left with the oil, oil that left with the water."""

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from nightgauge.field.settings import Field, Heating, Prices, Vessel
from nightgauge.losses.hours import Days, hours_of, numbers, on_days, rows_of
from nightgauge.physics.heating import fuel_kw, heat_kw
from nightgauge.physics.liquids import oil_density_kg_m3, water_density_kg_m3
from nightgauge.vocabulary.frames import CARRYOVER, SIGNAL_HOURS

_MJ_PER_KWDAY = 86.4
_KG_M3_PER_MG_L = 1e-3
_STANDARD_C = (60.0 - 32.0) / 1.8
"""60 degF, at which an oil's gravity is stated and oil is sold. [degC]"""
_FRESH = 1.0
_DAY_COLUMNS = ("oil_m3", "water_in_oil_fraction", "water_m3", "oil_in_water_mg_l")

_Numbers = NDArray[np.float64]


def carryover(
    vessel: Vessel, field: Field, days: pl.DataFrame, signal_hours: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Return what carryover of one vessel took, day by day.

    Parameters
    ----------
    vessel : Vessel
        With `heating`, where its oil stream is heated next.
    field : Field
        With `prices`.
    days : VESSEL_DAYS
        Rows of other vessels are passed over.
    signal_hours : SIGNAL_HOURS, optional
        For the temperature of each day; without them it is the vessel's setting.

    Returns
    -------
    CARRYOVER
        One row a day. What needs a signal or a key that is missing is null, and so is its money without a price.

    Notes
    -----
    Water: stream of the oil outlet times its water cut. Heat: `V rho c (T_to - T)`, with `c` of fresh water, an upper
    bound for brine (see `physics.heating`); 0 where the vessel is as warm as the heater; the water counts as fresh
    where its specific gravity is not set. Fuel: heat over the stated efficiency. Oil: water that left times the
    mass of oil in it over the oil's density at 60 degF.

    """
    rows, day = rows_of(days, vessel.id)
    known = {name: numbers(days, name)[rows] for name in _DAY_COLUMNS}
    temperature = _temperature_c(vessel, field, day, SIGNAL_HOURS.empty() if signal_hours is None else signal_hours)
    water = known["oil_m3"] * known["water_in_oil_fraction"]
    oil = _oil_m3(vessel, known)
    heat, fuel = _heat_and_fuel_mj(water, temperature, vessel, vessel.heating)
    prices = field.prices or Prices("")
    columns = {
        "water_with_oil_m3": water,
        "temperature_c": temperature,
        "oil_with_water_m3": oil,
        "heat_mj": heat,
        "fuel_mj": fuel,
        "fuel_money": fuel * _price(prices.fuel_per_mj),
        "oil_money": oil * _price(prices.oil_per_m3),
    }
    told = {name: pl.Series(name, values, pl.Float64, nan_to_null=True) for name, values in columns.items()}
    whose = {"vessel": [vessel.id] * len(day), "day": days["day"][rows]}
    return pl.DataFrame(whose | told, schema=CARRYOVER.schema)


def _price(price: float | None) -> float:
    return float("nan") if price is None else price


def _temperature_c(vessel: Vessel, field: Field, day: Days, signal_hours: pl.DataFrame) -> _Numbers:
    """Return the mean temperature of each day by its known hours, else the setting, else NaN. [degC]"""
    measured = hours_of(signal_hours, vessel.id, "temperature")
    days, place = np.unique(measured.days(field.zone), return_inverse=True)
    # Summed hour after hour: Polars sums a group now in one order, now in another, and the last digit differs.
    means = np.bincount(place, measured.mean) / np.bincount(place)
    mean = on_days(day, days, means)
    return np.where(np.isnan(mean), _price(vessel.temperature_c), mean)


def _oil_m3(vessel: Vessel, known: Mapping[str, _Numbers]) -> _Numbers:
    """Return the oil that left with the water, at 60 degF; NaN without the oil's gravity. [m3]"""
    water, oil_in_water = known["water_m3"], known["oil_in_water_mg_l"]
    if vessel.oil_gravity_degapi is None:
        return np.full(len(water), np.nan)
    density = float(oil_density_kg_m3(vessel.oil_gravity_degapi, _STANDARD_C))
    return water * oil_in_water * _KG_M3_PER_MG_L / density


def _heat_and_fuel_mj(
    water_m3: _Numbers, temperature_c: _Numbers, vessel: Vessel, heating: Heating | None
) -> tuple[_Numbers, _Numbers]:
    """Return the heat of each day's water and the fuel for it; NaN where no heating is set. [MJ]"""
    if heating is None:
        nothing = np.full(water_m3.shape, np.nan)
        return nothing, nothing
    density = water_density_kg_m3(temperature_c, vessel.water_specific_gravity or _FRESH)
    rise = np.maximum(heating.to_c - temperature_c, 0.0)
    heat = np.asarray(heat_kw(water_m3, rise, density))  # of a day's volume taken as the rate of that day
    return heat * _MJ_PER_KWDAY, np.asarray(fuel_kw(heat, heating.efficiency)) * _MJ_PER_KWDAY
