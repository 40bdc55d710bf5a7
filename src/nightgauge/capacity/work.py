"""How a vessel works now: where its levels stand, what pressure it holds, what loads it sees."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import Field, Vessel
from nightgauge.statistics.medians import run_medians

Numbers = npt.NDArray[np.float64]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
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
    seen = _medians_by_signal(vessel, hours, until)
    dump, valve = vessel.water_dump_at(until), vessel.oil_valve_at(until)
    its = (days["vessel"] == vessel.id).to_numpy() & (_ordinals(days["day"]) >= _ordinal((until - PAST).date()))
    held = _series(_numbers(days, "oil_hold_kpag")[its])
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


def _medians_by_signal(vessel: Vessel, hours: pl.DataFrame, until: datetime) -> dict[str, float]:
    """Return the median of the hours of the last four weeks by signal."""
    begins = hours["hour_utc"].cast(pl.Int64).to_numpy()
    mean = _numbers(hours, "mean")
    recent = (begins >= _microseconds(until - PAST)) & (begins < _microseconds(until)) & ~np.isnan(mean)
    recent &= (hours["vessel"] == vessel.id).to_numpy()
    found = {}
    for signal in LEVELS_AND_PRESSURES:
        values = mean[recent & (hours["signal"] == signal).to_numpy()]
        if len(values):
            found[signal] = float(run_medians(values, np.zeros(len(values), dtype=np.int64))[1][0])
    return found


def _microseconds(when: datetime) -> int:
    return (when - _EPOCH) // timedelta(microseconds=1)


def _ordinals(days: pl.Series) -> npt.NDArray[np.int64]:
    """Return days since 1970."""
    return days.cast(pl.Int64).to_numpy()


def _ordinal(day: date) -> int:
    return (day - _EPOCH.date()).days


def _numbers(frame: pl.DataFrame, column: str) -> Numbers:
    """Return a column as numbers, NaN where null."""
    return frame[column].cast(pl.Float64).to_numpy().astype(np.float64, copy=False)


def _series(values: Numbers) -> pl.Series:
    """Return what is known of some values."""
    return pl.Series(values[~np.isnan(values)])


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
    number = _ordinals(days["day"])
    mine = (days["vessel"] == vessel.id).to_numpy()
    rows = np.flatnonzero(mine & (number >= _ordinal(end - PAST)) & (number < _ordinal(end)))
    known, gas = (_numbers(days, name)[rows] for name in ("coverage_gas_rate", "gas_m3"))
    enough = known >= KNOWN_SHARE
    rates = {
        "water": _numbers(days, "water_load_m3_per_day")[rows],
        "oil": _numbers(days, "oil_load_m3_per_day")[rows],
        "gas": np.where(enough, gas, np.nan) / np.where(enough, known, 1.0),
    }
    found = {phase: _load(days["day"], rows, rate) for phase, rate in rates.items()}
    return {phase: load for phase, load in found.items() if load is not None}


def _load(days: pl.Series, rows: npt.NDArray[np.int64], rates: Numbers) -> Load | None:
    known = _series(rates)
    if known.is_empty():
        return None
    median, high, worst = known.median(), known.quantile(HIGH, "linear"), known.max()
    if not (isinstance(median, float) and isinstance(high, float) and isinstance(worst, float)):
        raise ProgrammerError(f"loads of type {rates.dtype}: expected numbers")
    last = np.flatnonzero(rates == worst)[-1]
    return Load(median, high, worst, days[int(rows[last])])
