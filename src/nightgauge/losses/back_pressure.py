"""What the pressure held above what is needed costs in production, at most."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from nightgauge.field.settings import Field, Vessel, Well
from nightgauge.losses.flows import Shares, WaterCuts, shares_by_well
from nightgauge.losses.hours import Days, bounds_of, hours_of, numbers, on_days, rows_of
from nightgauge.physics.wells import rate_lost_m3_per_day
from nightgauge.statistics.medians import run_medians
from nightgauge.vocabulary.frames import BACK_PRESSURE

Flags = NDArray[np.bool_]


def back_pressure(
    vessel: Vessel, field: Field, days: pl.DataFrame, signal_hours: pl.DataFrame, cuts: WaterCuts
) -> pl.DataFrame:
    """Return what a vessel's oil valve holds above what is needed, day by day, and what it costs at most.

    Parameters
    ----------
    vessel : Vessel
        With `needs` or `holds` of its oil valve; that in force at the day's start counts.
    field : Field
        With wells, their productivity indices, routings and prices.
    days : VESSEL_DAYS
        Rows of other vessels are passed over.
    signal_hours : SIGNAL_HOURS
        For header pressure and line loss.
    cuts : WaterCuts
        Of all wells.

    Returns
    -------
    BACK_PRESSURE
        One row a day. Null where a signal or a key is missing; the loss is 0 where nothing is held above.

    Notes
    -----
    Each well's part is `physics.wells.rate_lost_m3_per_day` times the share of the day in which it flows to the
    vessel, summed over the wells whose productivity index is known. It is linear in the excess, so what each kPa
    costs stands in a column of its own. The droop is that of the vessel's day.

    """
    rows, numbered = rows_of(days, vessel.id)
    day = days["day"][rows]
    starts = [start for start, _ in bounds_of(day.to_list(), field.zone)]
    held = numbers(days, "oil_hold_kpag")[rows]
    needed, needed_by = _needed(vessel, starts)
    excess = np.maximum(held - needed, 0.0)
    wells = _wells(vessel, field, day.to_list(), starts, cuts)
    price = np.nan if field.prices is None or field.prices.oil_per_m3 is None else field.prices.oil_per_m3
    oil_loss = excess * wells["oil_m3_per_day_per_kpa"]
    columns = {
        "held_kpag": held,
        "needed_kpag": needed,
        "needed_by": needed_by,
        "excess_kpa": excess,
        **_header(vessel, field, signal_hours, numbered),
        "droop_kpa_per_m3_per_day": numbers(days, "oil_droop_kpa_per_m3_per_day")[rows],
        **wells,
        "liquid_loss_m3_per_day": excess * wells["liquid_m3_per_day_per_kpa"],
        "oil_loss_m3_per_day": oil_loss,
        "oil_loss_money": oil_loss * price,
    }
    schema = BACK_PRESSURE.schema
    told = {name: pl.Series(name, values, schema[name], nan_to_null=True) for name, values in columns.items()}
    return pl.DataFrame({"vessel": [vessel.id] * len(day), "day": day} | told, schema=schema)


def _needed(vessel: Vessel, starts: Sequence[datetime]) -> tuple[Shares, list[str | None]]:
    """Return the pressure needed on each day and the key that gives it."""
    in_force = [vessel.oil_valve_at(start) for start in starts]
    told = [
        ("needs", valve.needs_kpag) if valve.needs_kpag is not None else ("holds", valve.holds_kpag)
        for valve in in_force
    ]
    needed = np.array([value for _, value in told], dtype=np.float64)  # NaN for None
    return needed, [None if value is None else key for key, value in told]


def _header(vessel: Vessel, field: Field, signal_hours: pl.DataFrame, days: Days) -> dict[str, Shares]:
    """Return the header's pressure and the loss from there to the vessel, as medians of the day's hours."""
    header = hours_of(signal_hours, vessel.id, "inlet_pressure")
    loss = header.less(hours_of(signal_hours, vessel.id, "vessel_pressure"))
    found = {}
    for name, hours in (("header_kpag", header), ("line_loss_kpa", loss)):
        day = hours.days(field.zone)
        sizes, medians = run_medians(hours.mean, day)
        found[name] = on_days(days, day[np.cumsum(sizes) - 1], medians)
    return found


@dataclass(frozen=True)
class _Part:
    """What one well gives less for each kPa on each day, NaN where not known or not there. [m3/day/kPa]"""

    flows: Flags
    liquid: Shares
    oil: Shares


def _wells(
    vessel: Vessel, field: Field, days: Sequence[date], starts: Sequence[datetime], cuts: WaterCuts
) -> dict[str, Any]:
    """Return the columns that tell of the wells."""
    shares = shares_by_well(vessel.id, field, days)
    parts = {well.id: _part(well, share, cuts.at(well, starts)) for well, share in shares.items()}
    no_index = {name: part.flows & np.isnan(part.liquid) for name, part in parts.items()}
    no_cut = {name: np.isnan(part.oil) & ~np.isnan(part.liquid) for name, part in parts.items()}
    flowing = np.sum([part.flows for part in parts.values()], axis=0, dtype=np.int64, initial=0)
    return {
        "wells": np.broadcast_to(flowing, len(days)),
        "wells_without_index": _named(no_index, len(days)),
        "wells_without_water_cut": _named(no_cut, len(days)),
        "liquid_m3_per_day_per_kpa": _summed([part.liquid for part in parts.values()], len(days)),
        "oil_m3_per_day_per_kpa": _summed([part.oil for part in parts.values()], len(days)),
    }


def _part(well: Well, share: Shares, water_cut: Shares) -> _Part:
    index = well.productivity_index_m3_per_day_per_kpa
    each = np.nan if index is None else rate_lost_m3_per_day(1.0, index, well.pump_curve_slope_kpa_day_per_m3)
    flows = share > 0.0
    liquid = np.where(flows, each * share, np.nan)
    return _Part(flows, liquid, liquid * (1.0 - water_cut))


def _named(lacking: Mapping[str, Flags], days: int) -> list[str]:
    """Return for each day the JSON list of the wells that lack something."""
    some = {well: lacks for well, lacks in lacking.items() if lacks.any()}
    if not some:
        return [json.dumps([])] * days
    return [json.dumps([well for well, lacks in some.items() if lacks[day]]) for day in range(days)]


def _summed(parts: list[Shares], days: int) -> Shares:
    """Return the sum of the known parts of each day; NaN where none is known."""
    table = np.array(parts, dtype=np.float64).reshape(len(parts), days)
    some = np.any(~np.isnan(table), axis=0)
    return np.where(some, np.nansum(table, axis=0), np.nan)
