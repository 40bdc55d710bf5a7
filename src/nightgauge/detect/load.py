"""Vessel pressure with the load taken out: a busier day is not a drifting spring.

A spring valve lets pressure rise with flow. The slope of pressure against each load is learned from the
reference weeks and its part taken out of every later hour; what is left moves only when a valve, the system
after it or the transmitter does.
"""

import numpy as np

from nightgauge.detect.history import Floats, History, Mask
from nightgauge.detect.inflow import flow_hours
from nightgauge.detect.past import median

LOADS = ("oil_total", "oil_rate", "gas_rate")
_LEAST_HOURS = 48
"""Reference hours before a slope is learned: two days hold a day's swing twice. House choice."""


def without_load(history: History, pressure: Floats, reference: Mask) -> Floats:
    """Return hourly pressure less the part explained by the loads, at the reference's median load. [kPag]

    Slopes come from the differences between hours a few hours apart, so that a drift inside the reference is not
    taken for a slope; a slope below zero is no droop and is left out.
    """
    columns = _loads(history)
    usable = reference & np.isfinite(pressure)
    for load in columns:
        usable &= np.isfinite(load)
    if not columns or usable.sum() < _LEAST_HOURS:
        return pressure
    adjusted = pressure.copy()
    deltas_p, deltas_x = _differences(pressure, columns, usable)
    if len(deltas_p) < _LEAST_HOURS:
        return pressure
    slopes, *_ = np.linalg.lstsq(deltas_x, deltas_p, rcond=None)
    for slope, load in zip(slopes, columns, strict=True):
        if slope > 0:
            part = slope * (load - median(load[usable]))
            adjusted = adjusted - np.where(np.isfinite(part), part, 0.0)
    return adjusted


def _loads(history: History) -> list[Floats]:
    found: list[Floats] = []
    oil = next((name for name in LOADS[:2] if name in history.signals), None)
    for signal in (oil, "gas_rate" if "gas_rate" in history.signals else None):
        if signal is not None:
            load = flow_hours(history, signal)
            if np.nanstd(load) > 0 if np.isfinite(load).any() else False:
                found.append(load)
    water = history.hour("water_load_m3_per_day")
    if not np.isfinite(water).any():
        # A throttling valve's travel goes with the water that it passes.
        water = history.mean("water_dump_position")
    if np.isfinite(water).any() and np.nanstd(water) > 0:
        found.append(water)
    return found


def _differences(pressure: Floats, columns: list[Floats], usable: Mask) -> tuple[Floats, Floats]:
    """Return differences over six hours, where both hours are usable, with outliers of pressure left out."""
    lag = 6
    both = usable[lag:] & usable[:-lag]
    deltas_p = (pressure[lag:] - pressure[:-lag])[both]
    deltas_x = np.column_stack([(x[lag:] - x[:-lag])[both] for x in columns])
    limit = 5.0 * 1.4826 * np.median(np.abs(deltas_p)) if len(deltas_p) else 0.0
    keep = np.abs(deltas_p) <= max(limit, 1e-9)
    return deltas_p[keep], deltas_x[keep]
