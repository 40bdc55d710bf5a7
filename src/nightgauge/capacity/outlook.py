"""Capacity against load, now and what if: the VESSEL_CAPACITY rows of one vessel."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import polars as pl

from nightgauge.capacity.limits import Limit, Reckoner
from nightgauge.capacity.work import PAST, Load, Loads, Point, loads_of, point_of
from nightgauge.errors import SettingError
from nightgauge.field.settings import Field, Vessel
from nightgauge.vocabulary.frames import VESSEL_CAPACITY


@dataclass(frozen=True)
class Added:
    """One well more: what it brings. [m3/day]"""

    name: str
    water_m3_per_day: float
    oil_m3_per_day: float


@dataclass(frozen=True)
class Change:
    """What is asked: other levels, pressure or loads; None leaves as it is."""

    water_rate_m3_per_day: float | None = None
    oil_rate_m3_per_day: float | None = None
    interface_m: float | None = None
    pressure_kpag: float | None = None
    added: tuple[Added, ...] = ()


@dataclass(frozen=True)
class Outlook:
    """A vessel before and after a change; both VESSEL_CAPACITY."""

    before: pl.DataFrame
    after: pl.DataFrame


def capacities(vessel: Vessel, field: Field, days: pl.DataFrame, hours: pl.DataFrame, until: datetime) -> pl.DataFrame:
    """Return what a vessel can take against what it sees, as of a night.

    Parameters
    ----------
    vessel, field : Vessel, Field
        Dimensions, settings, display units.
    days : VESSEL_DAYS
        The last four weeks at least.
    hours : SIGNAL_HOURS
        Of `work.LEVELS_AND_PRESSURES`, the same weeks; without them the settings are used.
    until : datetime
        End of the days that count.

    Returns
    -------
    VESSEL_CAPACITY
        One row per limit; its capacity is null where something is missing, which `basis` names.

    """
    point = point_of(vessel, hours, days, until)
    limits = Reckoner(vessel, field, point, until).limits()
    return _rows(vessel, limits, loads_of(vessel, field, days, until), until)


def what_if(
    vessel: Vessel, field: Field, days: pl.DataFrame, hours: pl.DataFrame, until: datetime, change: Change
) -> Outlook:
    """Return a vessel's limits and loads before and after a change.

    A rate asked for takes the place of all figures of that load; a well added adds to each of them.

    Raises
    ------
    SettingError
        If the interface asked for lies outside the vessel or above its oil, or the pressure above its working pressure.

    """
    point, loads = point_of(vessel, hours, days, until), loads_of(vessel, field, days, until)
    reckoner = Reckoner(vessel, field, point, until)
    _refuse_impossible(reckoner, change)
    moved = replace(reckoner, point=_moved(point, change))
    before = _rows(vessel, reckoner.limits(), loads, until)
    return Outlook(before, _rows(vessel, moved.limits(), _changed(loads, change), until))


def _refuse_impossible(reckoner: Reckoner, change: Change) -> None:
    vessel, said = reckoner.vessel, reckoner.said
    most = vessel.max_working_pressure_kpag
    if change.pressure_kpag is not None and most is not None and change.pressure_kpag > most:
        raise SettingError(
            f"{vessel.id}: a pressure of {said(change.pressure_kpag, 'pressure')} is above its working pressure of "
            f"{said(most, 'pressure')}; ask for less: working pressure and relief valve are never changed to suit"
        )
    tops = [height for height in (reckoner.point.oil_level_m, reckoner.shell and reckoner.shell.height_m) if height]
    if change.interface_m is not None and (change.interface_m <= 0.0 or any(change.interface_m >= top for top in tops)):
        below = f" and {said(min(tops), 'length')}" if tops else ""
        raise SettingError(
            f"{vessel.id}: an interface at {said(change.interface_m, 'length')} does not lie between the bottom"
            f"{below}; ask for one that does"
        )


def _moved(point: Point, change: Change) -> Point:
    return replace(
        point,
        interface_m=point.interface_m if change.interface_m is None else change.interface_m,
        pressure_kpag=point.pressure_kpag if change.pressure_kpag is None else change.pressure_kpag,
    )


def _changed(loads: Loads, change: Change) -> Loads:
    asked = {"water": change.water_rate_m3_per_day, "oil": change.oil_rate_m3_per_day}
    brought = {
        "water": sum(well.water_m3_per_day for well in change.added),
        "oil": sum(well.oil_m3_per_day for well in change.added),
    }
    found: dict[str, Load] = dict(loads)
    for phase, rate in asked.items():
        if rate is not None:
            found[phase] = Load(rate, rate, rate, None)
        more = brought[phase]
        if change.added and phase in found:
            load = found[phase]
            found[phase] = Load(load.median + more, load.high + more, load.worst + more, load.worst_day)
    return found


def _rows(vessel: Vessel, limits: Sequence[Limit], loads: Mapping[str, Load], until: datetime) -> pl.DataFrame:
    rows = [_row(vessel, limit, loads.get(limit.phase), until) for limit in limits]
    frame = VESSEL_CAPACITY.build(pl.DataFrame(rows, schema=VESSEL_CAPACITY.schema))
    used = pl.col("used_fraction")
    return frame.with_columns(binds=(used == used.max()).fill_null(value=False))


def _row(vessel: Vessel, limit: Limit, load: Load | None, until: datetime) -> dict[str, object]:
    row: dict[str, object] = {
        "vessel": vessel.id,
        "limit": limit.name,
        "phase": limit.phase,
        "from_utc": until - PAST,
        "until_utc": until,
        "capacity_m3_per_day": limit.rate_m3_per_day,
        "basis": limit.basis if load is not None else f"{limit.basis}; no load known",
    }
    if load is not None:
        used = load.high / limit.rate_m3_per_day if limit.rate_m3_per_day else None
        row |= {
            "median_load_m3_per_day": load.median,
            "high_load_m3_per_day": load.high,
            "worst_load_m3_per_day": load.worst,
            "worst_day": load.worst_day,
            "used_fraction": used,
        }
    return row
