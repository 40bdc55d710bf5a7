"""Vessel pressure with the load taken out: a busier day is not a drifting spring.

A spring valve lets pressure rise with flow, and more steeply as it nears full open. The slopes of pressure
against each load, below and above the load's usual value, are learned from how both change over half a day: such
changes know nothing of a slow drift, so all of the past may teach them, loads that came late included. What is
left when the load's part is taken out moves only when a valve, the system after it or the transmitter does.
"""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import nnls

from nightgauge.detect.history import Floats, History, Mask
from nightgauge.detect.inflow import flow_hours
from nightgauge.detect.past import median
from nightgauge.detect.working import working

LOADS = ("oil_total", "oil_rate", "gas_rate")
_LEAST_HOURS = 48
"""Reference hours before a slope is learned: two days hold a day's swing twice. House choice."""


def without_load(history: History, values: Floats, reference: Mask, loads: Sequence[Floats]) -> Floats:
    """Return hourly values less the part explained by the loads, as at the reference's median load.

    A slope below zero is no droop and is left out.
    """
    usable = np.isfinite(values) & working(history)
    columns: list[Floats] = []
    for load in loads:
        usual = median(load[reference & usable])
        if np.isfinite(usual):
            columns += [np.minimum(load - usual, 0.0), np.maximum(load - usual, 0.0)]
            usable &= np.isfinite(load)
    if not columns or usable.sum() < _LEAST_HOURS:
        return values
    deltas_p, deltas_x = _differences(values, columns, usable)
    if len(deltas_p) < _LEAST_HOURS:
        return values
    slopes, _ = nnls(deltas_x, deltas_p)
    part = np.column_stack(columns) @ slopes
    return np.asarray(values - np.nan_to_num(part))


def all_loads(history: History) -> list[Floats]:
    """Return every stream that moves the pressure: oil, gas and water, those that are known and ever change."""
    return history.shared("all loads", lambda: _all_loads(history))


def _all_loads(history: History) -> list[Floats]:
    found: list[Floats] = []
    oil = next((name for name in LOADS[:2] if name in history.signals), None)
    for signal in (oil, "gas_rate" if "gas_rate" in history.signals else None):
        if signal is not None:
            load = flow_hours(history, signal)
            if np.nanstd(load) > 0 if np.isfinite(load).any() else False:
                found.append(load)
    return [*found, *water_loads(history)]


def water_loads(history: History) -> list[Floats]:
    """Return the water load, or the travel of a throttling dump, which goes with the water that it passes."""
    for water in (history.hour("water_load_m3_per_day"), history.mean("water_dump_position")):
        if np.isfinite(water).any() and np.nanstd(water) > 0:
            return [water]
    return []


def _differences(values: Floats, columns: list[Floats], usable: Mask) -> tuple[Floats, Floats]:
    """Return differences over half a day of six-hour means, with outliers of pressure left out.

    A meter's count in an hour is uncertain by a pulse, which flattens a slope; means of six hours are not.
    """
    lag = 12
    values = _means(values, usable)
    columns = [_means(x, usable) for x in columns]
    both = np.isfinite(values[lag:]) & np.isfinite(values[:-lag])
    deltas_p = (values[lag:] - values[:-lag])[both]
    deltas_x = np.column_stack([(x[lag:] - x[:-lag])[both] for x in columns])
    limit = 5.0 * 1.4826 * np.median(np.abs(deltas_p)) if len(deltas_p) else 0.0
    keep = np.abs(deltas_p) <= max(limit, 1e-9)
    return deltas_p[keep], deltas_x[keep]


def _means(values: Floats, usable: Mask) -> Floats:
    """Return means over six hours about each, NaN where fewer than four are usable."""
    ones = np.ones(6)
    count = np.convolve(usable.astype(np.float64), ones, mode="same")
    total = np.convolve(np.where(usable, values, 0.0), ones, mode="same")
    return np.where(count >= 4, total / np.maximum(count, 1.0), np.nan)
