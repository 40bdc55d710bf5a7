"""The row of VESSEL_DAYS of one day, made of its hours and its dumps."""

from collections import Counter
from collections.abc import Mapping
from typing import cast

import numpy as np

from nightgauge.derive.cuts import Cuts
from nightgauge.derive.hours import Hours, daily_means
from nightgauge.derive.known import pieces
from nightgauge.derive.plant import Plant
from nightgauge.derive.quantiles import quantiles
from nightgauge.derive.retention import retention_columns
from nightgauge.derive.spans import Floats
from nightgauge.vocabulary.signals import SIGNALS

_SUMS = (
    "dumps", "open_s", "water_m3", "oil_m3", "gas_m3", "scrubber_dumps", "spill_s", "leak_m3", "shut_s",
    "above_opening_s", "below_closing_s",
)  # fmt: skip
_MEANS = ("water_load_m3_per_day", "oil_load_m3_per_day", "gas_load_fraction", "oil_in_water_mg_l")
_COVERAGES = ("coverage", *(f"coverage_{name}" for name in SIGNALS))
_NUMBERS = (
    *_SUMS, *_MEANS, *_COVERAGES, "water_in_oil_fraction", "water_retention_min", "water_required_min",
    "oil_retention_min", "oil_required_min",
)  # fmt: skip
_NO_INFLOW = 0.01
"""Vessel volumes a day below which no water counts as coming in. [1/day] House choice: at that rate the vessel turns
over in three months; it keeps the noise of a level reading from making hours with inflow."""


def day_row(plant: Plant, hours: Hours, cycles: Mapping[str, object]) -> dict[str, object]:
    """Return the columns of the day's row of VESSEL_DAYS, without the pressures held.

    Parameters
    ----------
    plant : Plant
        The vessel on this day.
    hours : Hours
        The day's hours.
    cycles : columns of DUMP_CYCLES
        The dumps that opened on it.

    """
    column = {name: hours.number(name) for name in _NUMBERS}
    length_s = hours.cuts.length_s
    row: dict[str, object] = {"vessel": plant.vessel.id, "day": plant.day.date}
    row |= {name: _sum(column[name]) for name in _SUMS}
    row |= {name: _mean(column[name], length_s) for name in _MEANS}
    row |= {name: float(np.average(column[name], weights=length_s)) for name in _COVERAGES}
    weights = column["oil_m3"] if np.nansum(column["oil_m3"]) > 0.0 else length_s
    row["water_in_oil_fraction"] = _mean(column["water_in_oil_fraction"], weights)
    row |= _per_gas(row)
    row |= _retention(plant, hours, row)
    row |= _short(plant, column, length_s)
    row |= _levels(plant, hours.cuts, cycles)
    row["pressure_sag_kpa"] = _sag(plant)
    row["well_on_test"] = _most(cast("list[str | None]", hours.columns["well_on_test"]))
    return row


def _sum(values: Floats) -> float | None:
    return None if np.all(np.isnan(values)) else float(np.nansum(values))


def _mean(values: Floats, weights: Floats) -> float | None:
    some = ~np.isnan(values) & ~np.isnan(weights) & (weights > 0.0)
    return float(np.average(values[some], weights=weights[some])) if np.any(some) else None


def _per_gas(row: dict[str, object]) -> dict[str, object]:
    dumps, gas = row["scrubber_dumps"], row["gas_m3"]
    if not isinstance(dumps, float) or not isinstance(gas, float) or gas <= 0.0:
        return {}
    return {"scrubber_dumps_per_1000m3_gas": dumps / gas * 1000.0}


def _retention(plant: Plant, hours: Hours, row: dict[str, object]) -> dict[str, object]:
    loads = [np.array([np.nan if row[name] is None else row[name]], dtype=np.float64) for name in _MEANS[:2]]
    columns = retention_columns(plant, daily_means(hours.cuts), loads[0], loads[1])
    columns.pop("gas_load_fraction", None)
    return {name: float(values[0]) for name, values in columns.items()}


def _short(plant: Plant, column: dict[str, Floats], length_s: Floats) -> dict[str, object]:
    """Return hours with inflow, and how many of them were short of retention."""
    load, hours = column["water_load_m3_per_day"], length_s / 3600.0
    if np.all(np.isnan(load)):
        return {}
    least = _NO_INFLOW * plant.shell.total_volume_m3 if plant.shell is not None else 0.0
    inflow = load > least
    row: dict[str, object] = {"inflow_h": float(np.sum(hours[inflow]))}
    for liquid in ("water", "oil"):
        held, required = column[f"{liquid}_retention_min"], column[f"{liquid}_required_min"]
        judged = inflow & ~np.isnan(held) & ~np.isnan(required)
        if np.any(judged):
            row[f"{liquid}_short_h"] = float(np.sum(hours[judged & (held < required)]))
    return row


def _levels(plant: Plant, cuts: Cuts, cycles: Mapping[str, object]) -> dict[str, object]:
    row: dict[str, object] = {}
    for name in ("opening_level_m", "closing_level_m", "cv_effective"):
        known = np.asarray(cycles[name])
        known = known[~np.isnan(known)]
        row[name] = float(np.median(known)) if known.size else None
    if plant.interface is not None:
        row["held_interface_m"] = cuts.day_mean(plant.interface.signal)
    return row


def _sag(plant: Plant) -> float | None:
    pressure = plant.track("vessel_pressure")
    if pressure is None:
        return None
    cut = pieces(pressure, plant.day.edges_us[[0, -1]])
    if cut.bin.size == 0:
        return None
    return float(quantiles(cut, 1, (0.5,))[0][0] - min(cut.start_value.min(), cut.end_value.min()))


def _most(wells: list[str | None]) -> str | None:
    named = Counter(sorted(well for well in wells if well is not None))
    return named.most_common(1)[0][0] if named else None
