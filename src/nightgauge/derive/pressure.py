"""The pressure that the oil valve holds and the one at which the gas valve clips, with the load taken out.

A vessel's pressure has two levels of interest. While no gas goes through the gas valve it stands where
the oil valve holds it, and rises with the flow through it, by the droop of its spring. Once the gas valve
opens it stands there instead. So the gas meter says which of the two a moment belongs to; without one, or
where no gas is metered, all belong to the oil valve.
"""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.grid import DAY_US
from nightgauge.derive.hours import Hours
from nightgauge.derive.known import integral, per_bin, pieces
from nightgauge.derive.past import Past
from nightgauge.derive.plant import Plant
from nightgauge.derive.quantiles import quantiles
from nightgauge.derive.spans import SECOND_US, Flags, Floats, Indices, Times

_BIN_US = 600 * SECOND_US
"""Pressure is taken in medians over this. [us] House choice: longer than the dip of a dump, shorter than the swing
from one valve to the other."""
_FLOWS, _STILL = 0.15, 0.05
"""Shares of the usual gas flow above which the gas valve is open and below which it is shut; between them it is on its
way. House choice: well above the noise of a meter at zero."""
_SEEPING = 0.5
"""Vessel volumes of gas a day, at standard conditions, below which it only seeps past the gas valve. [1/day] House
choice: so little gas takes days to change the pressure."""
_VISITED = 0.05
"""Share of the time below which a state is not visited. House choice: an hour a day."""
_LEAST_BINS_DAY, _LEAST_BINS_HOUR = 6, 2
"""Bins that make a day's or an hour's value: an hour, and a third of one. House choice."""
_IDLE = 0.1
"""Share of the reference load below which an outlet valve has nothing to hold by, and pressure may lie anywhere
below it. House choice."""
_PAIR_HOURS = 6
"""Hours are compared with those at most so much later: a drift is no droop. House choice."""
_LEAST_PAIRS = 24
"""Pairs of hours with different loads that make a slope. House choice: a day's worth."""
_DIFFERENT = 0.1
"""Share of the reference load by which two hours must differ to tell a slope. House choice."""


@dataclass(frozen=True)
class Held:
    """Columns of the hours and of the day."""

    hours: dict[str, object]
    day: dict[str, object]


@dataclass(frozen=True)
class _Bins:
    """Ten minutes each, over the day before and the day."""

    start_us: Times
    pressure: Floats
    gas: Floats
    hour: Indices
    """Which of the hours of both days each lies in."""
    is_today: Flags


def held_pressures(plant: Plant, hours: Hours, past: Past) -> Held:
    """Return the pressures held on the plant's day, by hour and for the day, and the droop of each valve."""
    if plant.track("vessel_pressure") is None:
        return Held({}, {})
    edges = plant.day.edges_with_day_before_us
    bins = _bins(plant, edges)
    load, name = _oil_valve_load(plant, hours, edges)
    reference = past.reference(name, _median(load[-plant.day.hours_us.size :]))
    on_oil, on_gas = _states(plant, bins, past)
    with np.errstate(invalid="ignore"):
        idle = load[bins.hour] < _IDLE * reference
    oil = _level(bins, on_oil & ~idle, load[bins.hour], reference, past, "oil")
    usual_gas = past.reference("gas_m3", _day_gas(bins))
    gas = _level(bins, on_gas, bins.gas, usual_gas, past, "gas")
    first = edges.size - 1 - plant.day.hours_us.size
    return Held(
        {"oil_hold_kpag": _hourly(bins, oil.level, first), "gas_clip_kpag": _hourly(bins, gas.level, first)},
        {
            "oil_hold_kpag": _daily(bins, oil.level),
            "gas_clip_kpag": _daily(bins, gas.level),
            "oil_droop_kpa_per_m3_per_day": oil.droop_today,
            "gas_droop_kpa_per_m3_per_day": gas.droop_today,
        },
    )


def _bins(plant: Plant, edges: Times) -> _Bins:
    starts = np.arange(edges[0], edges[-1], _BIN_US)
    bounds = np.append(starts, edges[-1])
    gas = np.full(starts.size, np.nan)
    gas_rate, pressure = plant.track("gas_rate"), plant.track("vessel_pressure")
    if gas_rate is not None:
        cut = pieces(gas_rate, bounds)
        known_s = per_bin(np.add, cut.length_s, cut.bin, starts.size, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            gas = integral(cut, starts.size) / known_s
    level = np.full(starts.size, np.nan)
    if pressure is not None:
        cut = pieces(pressure, bounds)
        if cut.bin.size:
            level = quantiles(cut, starts.size, (0.5,))[0]
    hour = np.searchsorted(edges, starts, side="right") - 1
    return _Bins(starts, level, gas, hour, starts >= plant.day.start_us)


def _oil_valve_load(plant: Plant, hours: Hours, edges: Times) -> tuple[Floats, str]:
    """Return the load that goes with the oil valve's flow, by hour: its meter, else the water that comes with it."""
    if plant.oil is not None:
        length_days = np.diff(edges) / DAY_US
        return plant.oil.per_hour(edges) / length_days, "oil_load_m3_per_day"
    return hours.inflow.mean_per_hour(edges), "water_load_m3_per_day"


def _states(plant: Plant, bins: _Bins, past: Past) -> tuple[Flags, Flags]:
    """Return in which bins the oil valve and in which the gas valve holds the pressure."""
    known = ~np.isnan(bins.pressure)
    usual = _usual_gas(plant, bins)
    if usual <= 0.0 or not np.any(known):
        return known, np.zeros(known.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        flows, still = bins.gas > _FLOWS * usual, bins.gas < _STILL * usual
    if np.mean(still[known]) < _VISITED:
        return (known, ~known) if _always_on_oil_valve(plant, bins, past) else (~known, known & flows)
    return known & still & _below_the_middle(plant, bins), known & flows


def _usual_gas(plant: Plant, bins: _Bins) -> float:
    """Return the gas that flows when it flows, 0 where it is too little to matter. [m3/day]"""
    metered = bins.gas[~np.isnan(bins.gas)]
    usual = float(np.quantile(metered, 0.9)) if metered.size else 0.0
    least = _SEEPING * plant.shell.total_volume_m3 if plant.shell is not None else 0.0
    return usual if usual > least else 0.0


def _below_the_middle(plant: Plant, bins: _Bins) -> Flags:
    """Return in which bins pressure is nearer to what the oil valve is set to than to the gas valve's setting.

    After a dump the pressure stands below the gas valve for a while and shuts it, without coming down to the oil
    valve. Where the settings are not known, every moment without gas counts as the oil valve's.
    """
    oil = plant.vessel.oil_valve_at(plant.day.start).holds_kpag
    gas = plant.vessel.gas_valve_at(plant.day.start).holds_kpag
    if oil is None or gas is None or gas <= oil:
        return np.ones(bins.pressure.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        return np.asarray(bins.pressure < 0.5 * (oil + gas))


def _always_on_oil_valve(plant: Plant, bins: _Bins, past: Past) -> bool:
    """Return whether a vessel whose gas never stops stands at its oil valve, by what is set.

    Gas that always flows says that the gas valve is always open, unless the meter sees gas that goes another
    way: then the pressure stands nearer to what is set for the oil valve.
    """
    oil = plant.vessel.oil_valve_at(plant.day.start).holds_kpag
    gas = plant.vessel.gas_valve_at(plant.day.start).holds_kpag
    if oil is None or gas is None:
        return gas is None and oil is not None
    stood = np.array([past.reference("oil_hold_kpag"), past.reference("gas_clip_kpag")])
    stood = stood[~np.isnan(stood)]
    pressure = float(stood[0]) if stood.size else _median(bins.pressure)
    return pressure < 0.5 * (oil + gas)


@dataclass(frozen=True)
class _Level:
    """Pressure with the load taken out, NaN where another valve holds it."""

    level: Floats
    droop_today: float


def _level(bins: _Bins, which: Flags, load: Floats, reference: float, past: Past, valve: str) -> _Level:
    pressure = np.where(which, bins.pressure, np.nan)
    droop = _droop(bins, pressure, load, reference)
    usual = past.reference(f"{valve}_droop_kpa_per_m3_per_day", droop)
    if np.isnan(usual) or np.isnan(reference):
        return _Level(pressure, droop)
    taken_out = usual * (load - reference)
    return _Level(pressure - np.where(np.isnan(taken_out), 0.0, taken_out), droop)


def _droop(bins: _Bins, pressure: Floats, load: Floats, reference: float) -> float:
    """Return by how much pressure rises with load, NaN where loads do not differ enough; never below 0.

    The median of the slopes between hours a few hours apart, each weighted by how much the loads differ.
    """
    hours = bins.hour[-1] + 1
    p, x = _hour_medians(pressure, bins.hour, hours), _hour_medians(load, bins.hour, hours)
    first, second = np.triu_indices(hours, 1)
    near = second - first <= _PAIR_HOURS
    dp, dx = (p[second] - p[first])[near], (x[second] - x[first])[near]
    with np.errstate(invalid="ignore"):
        told = ~np.isnan(dp) & (np.abs(dx) >= _DIFFERENT * reference) & (np.abs(dx) > 0.0)
    if np.count_nonzero(told) < _LEAST_PAIRS:
        return float("nan")
    slope, weight = dp[told] / dx[told], np.abs(dx[told])
    order = np.argsort(slope, kind="stable")
    running = np.cumsum(weight[order])
    return max(float(slope[order][np.searchsorted(running, 0.5 * running[-1])]), 0.0)


def _hour_medians(values: Floats, hour: Indices, count: int) -> Floats:
    known = ~np.isnan(values)
    order = np.lexsort((values[known], hour[known]))
    ordered, hours = values[known][order], hour[known][order]
    first = np.searchsorted(hours, np.arange(count), side="left")
    last = np.searchsorted(hours, np.arange(count), side="right")
    result = np.full(count, np.nan)
    some = last > first
    result[some] = 0.5 * (
        ordered[(first + (last - first - 1) // 2)[some]] + ordered[(first + (last - first) // 2)[some]]
    )
    return result


def _hourly(bins: _Bins, level: Floats, first: int) -> Floats:
    hours = int(bins.hour[-1]) + 1
    enough = np.bincount(bins.hour[~np.isnan(level)], minlength=hours) >= _LEAST_BINS_HOUR
    return np.where(enough, _hour_medians(level, bins.hour, hours), np.nan)[first:]


def _daily(bins: _Bins, level: Floats) -> float | None:
    today = level[bins.is_today & ~np.isnan(level)]
    return float(np.median(today)) if today.size >= _LEAST_BINS_DAY else None


def _day_gas(bins: _Bins) -> float:
    today = bins.gas[bins.is_today & ~np.isnan(bins.gas)]
    return float(np.mean(today)) if today.size else float("nan")


def _median(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if known.size else float("nan")
