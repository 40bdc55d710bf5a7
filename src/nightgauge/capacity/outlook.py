"""Capacity against load, now and what if: the VESSEL_CAPACITY rows of one vessel."""

from dataclasses import dataclass, replace
from datetime import datetime

import polars as pl

from nightgauge.capacity.change import Change
from nightgauge.capacity.limits import Limit, Reckoner
from nightgauge.capacity.told import told
from nightgauge.capacity.work import PAST, Load, Loads, loads_of, point_of
from nightgauge.errors import SettingError
from nightgauge.field.settings import Field, Vessel
from nightgauge.vocabulary.frames import VESSEL_CAPACITY


@dataclass(frozen=True)
class Outlook:
    """A vessel before and after a change, both VESSEL_CAPACITY, and in sentences what it comes to."""

    before: pl.DataFrame
    after: pl.DataFrame
    sentences: tuple[str, ...]


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
    return _rows(reckoner_of(vessel, field, days, hours, until))


def reckoner_of(vessel: Vessel, field: Field, days: pl.DataFrame, hours: pl.DataFrame, until: datetime) -> Reckoner:
    """Return what reckons a vessel as it works now; parameters as `capacities`."""
    point = point_of(vessel, hours, days, until)
    return Reckoner(vessel, field, point, loads_of(vessel, field, days, until), until)


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
    now = reckoner_of(vessel, field, days, hours, until)
    _refuse_impossible(now, change)
    moved = now.at(interface_m=change.interface_m, pressure_kpag=change.pressure_kpag)
    then = replace(moved, loads=_changed(now.loads, change))
    return Outlook(_rows(now), _rows(then), told(now, then, change))


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


def _changed(loads: Loads, change: Change) -> Loads:
    asked = {"water": change.water_rate_m3_per_day, "oil": change.oil_rate_m3_per_day}
    found: dict[str, Load] = dict(loads)
    for phase, rate in asked.items():
        if rate is not None:
            found[phase] = Load(rate, rate, rate, None)
    for phase, load in found.items():
        more = sum(well.brings(phase) or 0.0 for well in change.added)
        found[phase] = Load(load.median + more, load.high + more, load.worst + more, load.worst_day)
    return found


def _rows(reckoner: Reckoner) -> pl.DataFrame:
    rows = [_row(reckoner, limit) for limit in sorted(reckoner.limits(), key=lambda limit: limit.name)]
    used = [row.get("used_fraction") for row in rows]
    most = max((share for share in used if isinstance(share, float)), default=None)
    columns = {name: [row.get(name) for row in rows] for name in VESSEL_CAPACITY.schema}
    columns["binds"] = [most is not None and share == most for share in used]
    return pl.DataFrame(columns, schema=VESSEL_CAPACITY.schema)


def _row(reckoner: Reckoner, limit: Limit) -> dict[str, object]:
    load = reckoner.loads.get(limit.phase)
    row: dict[str, object] = {
        "vessel": reckoner.vessel.id,
        "limit": limit.name,
        "phase": limit.phase,
        "from_utc": reckoner.until - PAST,
        "until_utc": reckoner.until,
        "capacity_m3_per_day": limit.rate_m3_per_day,
        "basis": limit.basis if load is not None else f"{limit.basis}; no load known",
    }
    if load is not None:
        row |= {
            "median_load_m3_per_day": load.median,
            "high_load_m3_per_day": load.high,
            "worst_load_m3_per_day": load.worst,
            "worst_day": load.worst_day,
            "used_fraction": reckoner.used(limit),
        }
    return row
