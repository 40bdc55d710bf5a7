"""How a vessel works now: where its levels stand, what pressure it holds, what loads it sees."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import Field, Vessel

PAST = timedelta(days=28)
"""Days whose loads count. House choice: four weeks hold the field's routine, and the vessel is still as it is now."""
KNOWN_SHARE = 0.5
"""Share of a day in which a gas rate has to be known for the day to speak. House choice: the greater half."""
HIGH = 0.9
"""Quantile of the days' loads that a vessel is judged by: it has to take nine days of ten. Fixed by the format of
`vessel_undersized`, which tells of more than a tenth of the time."""

LEVELS_AND_PRESSURES = frozenset(
    {
        "interface_level", "oil_level", "vessel_pressure", "temperature", "water_downstream_pressure",
        "oil_downstream_pressure",
    }
)  # fmt: skip
"""Signals whose hours say how the vessel works."""


@dataclass(frozen=True)
class Point:
    """Levels and pressures at which the limits are reckoned; None where not known.

    In a vessel of one liquid the interface is that liquid's surface, and there is no oil level apart.
    """

    interface_m: float | None
    oil_level_m: float | None
    pressure_kpag: float | None
    temperature_c: float | None
    water_downstream_kpag: float | None
    oil_downstream_kpag: float | None


@dataclass(frozen=True)
class Load:
    """What came in of one phase. [m3/day]"""

    median: float
    high: float
    worst: float
    worst_day: date | None


Loads = Mapping[str, Load]
"""By phase: water, oil, gas; a phase whose load is not known is not there."""


def point_of(vessel: Vessel, hours: pl.DataFrame, days: pl.DataFrame, until: datetime) -> Point:
    """Return how a vessel works: medians of the last four weeks, else its settings.

    Parameters
    ----------
    vessel : Vessel
        For its settings.
    hours : SIGNAL_HOURS
        Of `LEVELS_AND_PRESSURES`; rows of other vessels are passed over.
    days : VESSEL_DAYS
        For the pressure that the oil valve holds, where no pressure is read.
    until : datetime
        End of the four weeks.

    """
    recent = hours.filter(
        (pl.col("vessel") == vessel.id) & (pl.col("hour_utc") >= until - PAST) & (pl.col("hour_utc") < until)
    )
    seen = dict(recent.group_by("signal").agg(pl.col("mean").median()).iter_rows())
    dump, valve = vessel.water_dump_at(until), vessel.oil_valve_at(until)
    held = days.filter((pl.col("vessel") == vessel.id) & (pl.col("day") >= (until - PAST).date()))["oil_hold_kpag"]
    surface = _first(seen.get("oil_level"), vessel.normal_oil_level_m)
    interface = _first(seen.get("interface_level"), vessel.normal_interface_m)
    if vessel.is_two_phase:
        interface, surface = _first(seen.get("interface_level"), surface), None
    return Point(
        interface,
        surface,
        _first(seen.get("vessel_pressure"), _number(held.median()), valve.holds_kpag),
        _first(seen.get("temperature"), vessel.temperature_c),
        _first(seen.get("water_downstream_pressure"), dump.downstream_pressure_kpag),
        _first(seen.get("oil_downstream_pressure"), valve.downstream_pressure_kpag),
    )


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def loads_of(vessel: Vessel, field: Field, days: pl.DataFrame, until: datetime) -> Loads:
    """Return the loads of the days of the last four weeks.

    Parameters
    ----------
    days : VESSEL_DAYS
        Rows of other vessels are passed over.

    """
    end = until.astimezone(field.zone).date()
    mine = days.filter((pl.col("vessel") == vessel.id) & pl.col("day").is_between(end - PAST, end, closed="left"))
    known = pl.col("coverage_gas_rate")
    rates = mine.select(
        "day",
        water="water_load_m3_per_day",
        oil="oil_load_m3_per_day",
        gas=pl.when(known >= KNOWN_SHARE).then(pl.col("gas_m3") / known),
    )
    found = {phase: _load(rates["day"], rates[phase]) for phase in ("water", "oil", "gas")}
    return {phase: load for phase, load in found.items() if load is not None}


def _load(days: pl.Series, rates: pl.Series) -> Load | None:
    known = rates.drop_nulls()
    if known.is_empty():
        return None
    median, high, worst = known.median(), known.quantile(HIGH, "linear"), known.max()
    if not (isinstance(median, float) and isinstance(high, float) and isinstance(worst, float)):
        raise ProgrammerError(f"loads of type {rates.dtype}: expected numbers")
    last = max(place for place, rate in enumerate(rates.to_list()) if rate == worst)
    return Load(median, high, worst, days[last])
