"""What the pressure held above what is needed costs in production, at most."""

import json
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from nightgauge.field.calendar import day_bounds
from nightgauge.field.settings import Field, Vessel, Well
from nightgauge.losses.flows import Shares, shares_by_well, water_cuts
from nightgauge.losses.hours import daily
from nightgauge.physics.wells import rate_lost_m3_per_day
from nightgauge.vocabulary.frames import BACK_PRESSURE

Flags = NDArray[np.bool_]


def back_pressure(
    vessel: Vessel, field: Field, days: pl.DataFrame, signal_hours: pl.DataFrame, tests: pl.DataFrame
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
    tests : WELL_TESTS
        Of all wells, for their water cuts.

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
    rows = days.filter(pl.col("vessel") == vessel.id).sort("day")
    held = rows.select(
        "vessel",
        "day",
        held_kpag=pl.col("oil_hold_kpag"),
        droop_kpa_per_m3_per_day=pl.col("oil_droop_kpa_per_m3_per_day"),
    ).with_columns(_needed(vessel, field, rows))
    held = held.with_columns(excess_kpa=(pl.col("held_kpag") - pl.col("needed_kpag")).clip(lower_bound=0.0))
    costed = held.with_columns(_wells(vessel, field, rows, tests)).with_columns(
        liquid_loss_m3_per_day=pl.col("excess_kpa") * pl.col("liquid_m3_per_day_per_kpa"),
        oil_loss_m3_per_day=pl.col("excess_kpa") * pl.col("oil_m3_per_day_per_kpa"),
    )
    price = None if field.prices is None else field.prices.oil_per_m3
    priced = costed.with_columns(oil_loss_money=pl.col("oil_loss_m3_per_day") * pl.lit(price, dtype=pl.Float64))
    return BACK_PRESSURE.build(priced.join(_header(vessel, field, signal_hours), on="day", how="left"))


def _needed(vessel: Vessel, field: Field, rows: pl.DataFrame) -> list[pl.Series]:
    """Return the pressure needed on each day and the key that gives it."""
    in_force = [vessel.oil_valve_at(day_bounds(field.zone, day)[0]) for day in rows["day"]]
    told = [
        ("needs", valve.needs_kpag) if valve.needs_kpag is not None else ("holds", valve.holds_kpag)
        for valve in in_force
    ]
    return [
        pl.Series("needed_kpag", [value for _, value in told], dtype=pl.Float64),
        pl.Series("needed_by", [None if value is None else key for key, value in told], dtype=pl.String),
    ]


def _header(vessel: Vessel, field: Field, signal_hours: pl.DataFrame) -> pl.DataFrame:
    """Return the header's pressure and the loss from there to the vessel, as medians of the day's hours."""
    hours = daily(signal_hours, vessel.id, ("inlet_pressure", "vessel_pressure"), field.zone)
    loss = pl.col("inlet_pressure") - pl.col("vessel_pressure")
    return hours.group_by("day").agg(header_kpag=pl.col("inlet_pressure").median(), line_loss_kpa=loss.median())


@dataclass(frozen=True)
class _Part:
    """What one well gives less for each kPa on each day, NaN where not known or not there. [m3/day/kPa]"""

    flows: Flags
    liquid: Shares
    oil: Shares


def _wells(vessel: Vessel, field: Field, rows: pl.DataFrame, tests: pl.DataFrame) -> list[pl.Series]:
    """Return the columns that tell of the wells."""
    days = rows["day"].to_list()
    starts = [day_bounds(field.zone, day)[0] for day in days]
    shares = shares_by_well(vessel.id, field, days)
    parts = {well.id: _part(well, share, water_cuts(well, tests, starts)) for well, share in shares.items()}
    no_index = {name: part.flows & np.isnan(part.liquid) for name, part in parts.items()}
    no_cut = {name: np.isnan(part.oil) & ~np.isnan(part.liquid) for name, part in parts.items()}
    flowing = np.sum([part.flows for part in parts.values()], axis=0, dtype=np.int64, initial=0)
    return [
        pl.Series("wells", np.broadcast_to(flowing, len(days)), dtype=pl.Int64),
        _named("wells_without_index", no_index, len(days)),
        _named("wells_without_water_cut", no_cut, len(days)),
        _summed("liquid_m3_per_day_per_kpa", [part.liquid for part in parts.values()], len(days)),
        _summed("oil_m3_per_day_per_kpa", [part.oil for part in parts.values()], len(days)),
    ]


def _part(well: Well, share: Shares, water_cut: Shares) -> _Part:
    index = well.productivity_index_m3_per_day_per_kpa
    each = np.nan if index is None else rate_lost_m3_per_day(1.0, index, well.pump_curve_slope_kpa_day_per_m3)
    flows = share > 0.0
    liquid = np.where(flows, each * share, np.nan)
    return _Part(flows, liquid, liquid * (1.0 - water_cut))


def _named(name: str, lacking: Mapping[str, Flags], days: int) -> pl.Series:
    """Return for each day the JSON list of the wells that lack something."""
    lists = [json.dumps([well for well, lacks in lacking.items() if lacks[day]]) for day in range(days)]
    return pl.Series(name, lists, dtype=pl.String)


def _summed(name: str, parts: list[Shares], days: int) -> pl.Series:
    """Return the sum of the known parts of each day; null where none is known."""
    table = np.array(parts, dtype=np.float64).reshape(len(parts), days)
    some = np.any(~np.isnan(table), axis=0)
    return pl.Series(name, np.where(some, np.nansum(table, axis=0), np.nan), dtype=pl.Float64).fill_nan(None)
