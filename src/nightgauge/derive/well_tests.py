"""Tests of single wells on a test vessel: WELL_TESTS.

A test is one run of a well on the vessel. After the well before it has been purged the rates are taken over the
steady part of the rest. Where the vessel has no oil meter and its emulsion goes to a tank, a hand gauge gives the oil.
"""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.gauged import Gauged, gauge_of, gauges_alone
from nightgauge.derive.grid import HOUR_US
from nightgauge.derive.hours import Hours
from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.totals import DAY_S
from nightgauge.derive.well_rates import (
    KNOWN,
    LEAST_SHARE,
    LEAST_STEADY_US,
    Rates,
    hourly,
    mean_between,
    net_oil,
    rates_between,
)
from nightgauge.derive.well_runs import Run, runs_of

_PURGE_VOLUMES = 3.0
"""Liquid volumes of the vessel that a new well has to bring before its rates are its own. Common practice: two to
three."""
_LEAST_PURGE_US = HOUR_US
"""Purge where the vessel's volume or the rate is not known, and at least. [us] Common practice, no source."""
_OUT_OF_BAND = 0.25
"""Share of the steady part in which the interface may stand more than a gap beyond where the dump should act. House
choice: a slug passes in less, a float that hangs does not."""

_COLUMNS = (
    "well", "vessel", "start_utc", "end_utc", "water_m3_per_day", "oil_m3_per_day", "water_cut_fraction", "state",
    "reason", "source", "steady_utc", "gas_m3_per_day", "net_oil_m3_per_day", "water_uncertainty_m3_per_day",
    "oil_uncertainty_m3_per_day", "net_oil_uncertainty_m3_per_day",
)  # fmt: skip


def well_tests(plant: Plant, hours: Hours) -> dict[str, object]:
    """Return the columns of WELL_TESTS of the tests that began on the plant's day."""
    runs = runs_of(plant)
    rows = [_row(plant, hours, run) for run in runs]
    rows += [_alone(plant, gauged) for gauged in gauges_alone(plant, runs)]
    return {name: [row[name] for row in rows] for name in _COLUMNS}


@dataclass(frozen=True)
class _Steady:
    """The part of a run that its rates are of, and why it is no good, None if it is."""

    start_us: int
    end_us: int
    reason: str | None


def _row(plant: Plant, hours: Hours, run: Run) -> dict[str, object]:
    purged_us = run.start_us + (_purge_us(plant, hours, run) if run.was_turned_in else 0)
    gauged = gauge_of(plant, run)
    steady = _steady(plant, hours, run, purged_us)
    rates = rates_between(plant, hours, steady.start_us, steady.end_us)
    if gauged is not None:
        rates = gauged.with_water(rates_between(plant, hours, gauged.start_us, gauged.end_us))
    reason = _outage(plant, run) or steady.reason or _fault(plant, steady, rates)
    cut = mean_between(plant, "oil_water_cut", steady.start_us, steady.end_us) if gauged is None else gauged.cut
    state = "running" if run.is_running else ("rejected" if reason else "accepted")
    return _told(plant, rates, cut, steady) | {
        "well": run.well, "start_utc": run.start_us, "end_utc": run.end_us, "state": state, "reason": reason,
        "source": run.source if gauged is None else f"{run.source}, gauges",
    }  # fmt: skip


def _alone(plant: Plant, gauged: Gauged) -> dict[str, object]:
    steady = _Steady(gauged.start_us, gauged.end_us, None)
    rates = Rates(np.nan, gauged.oil, np.nan, 0.0, np.nan, gauged.oil_error)
    return _told(plant, rates, gauged.cut, steady) | {
        "well": gauged.well, "start_utc": gauged.start_us, "end_utc": gauged.end_us,
        "state": "accepted", "reason": None, "source": "gauges",
    }  # fmt: skip


def _told(plant: Plant, rates: Rates, cut: float, steady: _Steady) -> dict[str, object]:
    """Return the columns that rates and cut give; water in the oil stream counts as water where its share is known."""
    temperature = mean_between(plant, "temperature", steady.start_us, steady.end_us)
    if np.isnan(temperature) and plant.vessel.temperature_c is not None:
        temperature = plant.vessel.temperature_c
    net = net_oil(plant, rates.oil, rates.oil_error, cut, temperature)
    liquid = rates.water + rates.oil
    carried = 0.0 if np.isnan(cut) else rates.oil * cut
    return {
        "vessel": plant.vessel.id,
        "steady_utc": steady.start_us,
        "water_m3_per_day": rates.water,
        "oil_m3_per_day": rates.oil,
        "gas_m3_per_day": rates.gas,
        "water_cut_fraction": (rates.water + carried) / liquid if liquid > 0.0 else np.nan,
        "net_oil_m3_per_day": net.rate,
        "water_uncertainty_m3_per_day": rates.water_error,
        "oil_uncertainty_m3_per_day": rates.oil_error,
        "net_oil_uncertainty_m3_per_day": net.error,
    }


def _purge_us(plant: Plant, hours: Hours, run: Run) -> int:
    """Return how long the liquid of the well before is still coming."""
    if plant.shell is None:
        return _LEAST_PURGE_US
    rates = rates_between(plant, hours, run.start_us, run.end_us)
    liquid = np.nansum([rates.water, rates.oil])
    top = plant.vessel.normal_oil_level_m or plant.vessel.normal_interface_m
    held = plant.shell.total_volume_m3 if top is None else plant.shell.volume_m3(top)
    if not liquid > 0.0:
        return _LEAST_PURGE_US
    return max(_LEAST_PURGE_US, int(_PURGE_VOLUMES * held / liquid * DAY_S * SECOND_US))


def _steady(plant: Plant, hours: Hours, run: Run, purged_us: int) -> _Steady:
    """Return the steady part of a run, all after the purge where there is none."""
    if run.end_us - purged_us < LEAST_STEADY_US:
        left_h = max(run.end_us - purged_us, 0) / HOUR_US
        return _Steady(
            purged_us, run.end_us, f"only {left_h:.1f} h after the purge, {LEAST_STEADY_US / HOUR_US:.0f} h needed"
        )
    parts = hourly(plant, hours, purged_us, run.end_us)
    first = parts.steady_from()
    if first is not None:
        start_us = int(parts.edges_us[first])
        if run.end_us - start_us >= LEAST_SHARE * (run.end_us - purged_us):
            return _Steady(start_us, run.end_us, None)
    return _Steady(purged_us, run.end_us, parts.unsteady(0) or "not steady for long enough")


def _outage(plant: Plant, run: Run) -> str | None:
    outages = (one for one in plant.field.outages if one.vessel == plant.vessel.id)
    if any(to_us(one.from_utc) < run.end_us and run.start_us < to_us(one.to_utc) for one in outages):
        return "the vessel was out of service during it"
    return None


def _fault(plant: Plant, steady: _Steady, rates: Rates) -> str | None:
    """Return what else makes a test no good, None if nothing does."""
    if np.isnan(rates.water) and np.isnan(rates.oil):
        return "no rate is known"
    if not np.isnan(rates.water) and rates.known < KNOWN:
        return f"water rate known for {rates.known:.0%} of the time, {KNOWN:.0%} needed"
    return _out_of_band(plant, steady)


def _out_of_band(plant: Plant, steady: _Steady) -> str | None:
    """Return whether the dump did not act where it should for much of the time: then the meter is not to be trusted."""
    level, dump = plant.interface, plant.dump
    if level is None or dump.opens_at_m is None or dump.closes_at_m is None:
        return None
    gap = dump.opens_at_m - dump.closes_at_m
    when = np.arange(steady.start_us, steady.end_us, HOUR_US // 60, dtype=np.int64)
    heights = level.at(when)
    known = ~np.isnan(heights)
    if not known.any():
        return None
    above = float(np.mean(heights[known] > dump.opens_at_m + gap))
    below = float(np.mean(heights[known] < dump.closes_at_m - gap))
    if above > _OUT_OF_BAND:
        return f"interface far above the opening level for {above:.0%} of it: the dump did not act"
    if below > _OUT_OF_BAND:
        return f"interface far below the closing level for {below:.0%} of it: gas may have gone through the meter"
    return None
