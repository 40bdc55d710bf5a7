"""Tests of single wells on a test vessel: WELL_TESTS.

A test is one run of a well on the vessel. After the well before it has been purged the rates are taken over the
steady part of the rest. Where the vessel has no oil meter and its emulsion goes to a tank, a hand gauge gives the oil,
and the gauge's own stretch is what water and oil are rates of.
"""

from dataclasses import dataclass, replace

import numpy as np

from nightgauge.derive.gauged import Gauged, gauge_of, gauges_alone
from nightgauge.derive.grid import HOUR_US
from nightgauge.derive.hours import Hours
from nightgauge.derive.plant import Plant
from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.totals import DAY_S
from nightgauge.derive.well_faults import fault_between, out_of_service
from nightgauge.derive.well_rates import (
    KNOWN,
    LEAST_SHARE,
    LEAST_STEADY_US,
    Rates,
    hourly,
    liquids,
    mean_between,
    net_oil,
    rates_between,
)
from nightgauge.derive.well_runs import Run, runs_of
from nightgauge.physics.wells import water_cut

_PURGE_VOLUMES = 3.0
"""Liquid volumes of the vessel that a new well has to bring before its rates are its own. Common practice: two to
three."""
_LEAST_PURGE_US = HOUR_US
"""Purge where the vessel's volume or the rate is not known, and at least. [us] Common practice, no source."""

_COLUMNS = (
    "well", "vessel", "start_utc", "end_utc", "water_m3_per_day", "oil_m3_per_day", "water_cut_fraction", "state",
    "reason", "source", "steady_utc", "gas_m3_per_day", "net_oil_m3_per_day", "water_uncertainty_m3_per_day",
    "oil_uncertainty_m3_per_day", "net_oil_uncertainty_m3_per_day",
)  # fmt: skip


def well_tests(plant: Plant, hours: Hours) -> dict[str, object]:
    """Return the columns of WELL_TESTS of the tests that began on the plant's day."""
    rows = [_row(plant, hours, run) for run in runs_of(plant)]
    rows += [_alone(plant, gauged) for gauged in gauges_alone(plant)]
    return {name: [row[name] for row in rows] for name in _COLUMNS}


@dataclass(frozen=True)
class _Steady:
    """The part of a run that its rates are of, and why it is no good, None if it is."""

    start_us: int
    end_us: int
    reason: str | None = None


def _row(plant: Plant, hours: Hours, run: Run) -> dict[str, object]:
    gauged = gauge_of(plant, run)
    if gauged is None:
        steady = _steady(plant, hours, run)
        rates = rates_between(plant, hours, steady.start_us, steady.end_us)
    else:
        steady = _of_gauge(plant, hours, gauged)
        metered = rates_between(plant, hours, steady.start_us, steady.end_us)
        rates = replace(metered, oil=gauged.oil, cut=gauged.cut, is_metered=False)
    reason = None if run.is_running else _reason(plant, hours, run, steady, rates)
    state = "running" if run.is_running else ("rejected" if reason else "accepted")
    return _told(plant, rates, steady) | {
        "well": run.well, "start_utc": run.start_us, "end_utc": run.end_us, "state": state,
        "reason": "; ".join(part for part in (reason, _disagreement(run)) if part) or None, "source": run.source,
    }  # fmt: skip


def _alone(plant: Plant, gauged: Gauged) -> dict[str, object]:
    """Return the test that a gauge makes where no run is known: its oil, and the water in it."""
    rates = Rates(oil=gauged.oil, cut=gauged.cut, is_metered=False)
    return _told(plant, rates, _Steady(gauged.start_us, gauged.end_us)) | {
        "well": gauged.well, "start_utc": gauged.start_us, "end_utc": gauged.end_us,
        "state": "rejected" if gauged.fault else "accepted", "reason": gauged.fault, "source": "gauges",
    }  # fmt: skip


def _told(plant: Plant, rates: Rates, steady: _Steady) -> dict[str, object]:
    """Return the columns that rates give."""
    temperature = mean_between(plant, "temperature", steady.start_us, steady.end_us)
    if np.isnan(temperature) and plant.vessel.temperature_c is not None:
        temperature = plant.vessel.temperature_c
    net = net_oil(plant, rates, temperature)
    water, oil = liquids(rates)
    return {
        "vessel": plant.vessel.id,
        "steady_utc": steady.start_us,
        "water_m3_per_day": water.value,
        "oil_m3_per_day": oil.value,
        "gas_m3_per_day": rates.gas,
        "water_cut_fraction": float(water_cut(water.value, oil.value)),
        "net_oil_m3_per_day": net.value,
        "water_uncertainty_m3_per_day": water.error,
        "oil_uncertainty_m3_per_day": oil.error,
        "net_oil_uncertainty_m3_per_day": net.error,
    }


def _purge_us(plant: Plant, hours: Hours, run: Run) -> int:
    """Return how long the liquid of the well before is still coming."""
    if plant.shell is None:
        return _LEAST_PURGE_US
    rates = rates_between(plant, hours, run.start_us, run.end_us)
    liquid = np.nansum([rates.water.value, rates.oil.value])
    top = plant.vessel.normal_oil_level_m or plant.vessel.normal_interface_m
    held = plant.shell.total_volume_m3 if top is None else plant.shell.volume_m3(top)
    if not liquid > 0.0:
        return _LEAST_PURGE_US
    return max(_LEAST_PURGE_US, int(_PURGE_VOLUMES * held / liquid * DAY_S * SECOND_US))


def _steady(plant: Plant, hours: Hours, run: Run) -> _Steady:
    """Return the steady part of a run, all after the purge where there is none."""
    purged_us = run.start_us + (_purge_us(plant, hours, run) if run.was_turned_in else 0)
    if run.end_us - purged_us < LEAST_STEADY_US:
        return _Steady(purged_us, run.end_us, _too_short(run.end_us - purged_us, "after the purge"))
    parts = hourly(plant, hours, purged_us, run.end_us)
    part = parts.steady_part()
    if part is not None and part[1] - part[0] >= LEAST_SHARE * (run.end_us - purged_us):
        return _Steady(*part)
    return _Steady(purged_us, run.end_us, parts.unsteady() or "not steady for long enough")


def _of_gauge(plant: Plant, hours: Hours, gauged: Gauged) -> _Steady:
    """Return the stretch of a gauge, over which the water must be steady as well."""
    start_us, end_us = gauged.start_us, min(gauged.end_us, plant.seen.end_us)
    if end_us - start_us < LEAST_STEADY_US:
        return _Steady(start_us, end_us, _too_short(end_us - start_us, "between the gauges"))
    return _Steady(start_us, end_us, gauged.fault or hourly(plant, hours, start_us, end_us).unsteady())


def _too_short(lasted_us: int, where: str) -> str:
    return f"only {max(lasted_us, 0) / HOUR_US:.1f} h {where}, {LEAST_STEADY_US / HOUR_US:.0f} h needed"


def _reason(plant: Plant, hours: Hours, run: Run, steady: _Steady, rates: Rates) -> str | None:
    """Return why a test is no good, None if it is good."""
    if run.beside is not None:
        return f"the list has well {run.beside} on the vessel at the same time"
    away = out_of_service(plant, run.start_us, run.end_us)
    return away or steady.reason or _unknown(rates) or fault_between(plant, hours, steady.start_us, steady.end_us)


def _disagreement(run: Run) -> str | None:
    """Return that the schedule says another well than the signal, which is believed; no reason to reject a test."""
    return None if run.against is None else f"the schedule has well {run.against} on the vessel, the signal {run.well}"


def _unknown(rates: Rates) -> str | None:
    water, oil = rates.water.value, rates.oil.value
    if np.isnan(water) and np.isnan(oil):
        return "no rate is known"
    if not np.isnan(water) and rates.known < KNOWN:
        return f"water rate known for {rates.known:.0%} of the time, {KNOWN:.0%} needed"
    return None
