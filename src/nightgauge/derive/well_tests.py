"""Tests of single wells on a test vessel: WELL_TESTS.

A test is one run of a well on the vessel. After the well before it has been purged the rates are taken
over the rest, if they are steady there. A run of more than a day counts once per day of the field.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from nightgauge.derive.grid import DAY_US, HOUR_US
from nightgauge.derive.hours import Hours
from nightgauge.derive.known import Track
from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import SECOND_US, joined
from nightgauge.derive.totals import DAY_S
from nightgauge.field.calendar import day_bounds

_PURGE_VOLUMES = 3.0
"""Liquid volumes of the vessel that a new well has to bring before its rates are its own. Common practice: two to
three."""
_LEAST_PURGE_US = HOUR_US
"""Purge where the vessel's volume or the rate is not known, and at least. [us] Common practice, no source."""
_LEAST_STEADY_US = 2 * HOUR_US
"""Steady time that makes a test. [us] House choice: several dumps of an ordinary vessel."""
_AGREE = 0.15
"""Share by which the two halves of the steady part may differ. Common practice, no source: wells on pumps wander by
a tenth."""
_KNOWN = 0.8
"""Share of the steady part in which a rate must be known. House choice."""


@dataclass(frozen=True)
class _Run:
    start_us: int
    end_us: int
    well: str
    was_turned_in: bool
    """Whether the run began here; false where it goes on from the day before."""
    is_running: bool


@dataclass(frozen=True)
class _Rates:
    """Rates [m3/day] and how much of the time they are known [1], over one stretch."""

    water: float
    oil: float
    known: float


def well_tests(plant: Plant, hours: Hours) -> dict[str, object]:
    """Return the columns of WELL_TESTS of the tests that began on the plant's day."""
    track = plant.track("well_on_test")
    runs = [] if track is None else _runs(plant, track)
    rows = [_row(plant, hours, run) for run in runs]
    names = (
        "well", "vessel", "start_utc", "end_utc", "water_m3_per_day", "oil_m3_per_day", "water_cut_fraction", "state",
        "reason",
    )  # fmt: skip
    return {name: [row[name] for row in rows] for name in names}


def _runs(plant: Plant, track: Track) -> list[_Run]:
    """Return the runs that begin on the day, and the day's part of those that have lasted for a day already."""
    day, end_seen = plant.day, plant.seen.end_us
    midnight_after_next = to_us(day_bounds(plant.field.zone, day.date + timedelta(days=1))[1])
    found = []
    for code, label in enumerate(track.labels):
        mine = track.start_value == code
        starts, ends = joined(track.start_us[mine], track.end_us[mine])
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            if day.start_us <= start < day.end_us:
                until = min(end, midnight_after_next)
                found.append(
                    _Run(start, until, label, was_turned_in=True, is_running=until == end_seen < midnight_after_next)
                )
            elif start <= day.start_us - DAY_US and end > day.start_us:
                until = min(end, day.end_us)
                found.append(_Run(day.start_us, until, label, was_turned_in=False, is_running=until == day.until_us))
    return sorted(found, key=lambda run: run.start_us)


def _row(plant: Plant, hours: Hours, run: _Run) -> dict[str, object]:
    steady_us = run.start_us + (_purge_us(plant, hours, run) if run.was_turned_in else 0)
    rates = _rates(plant, hours, steady_us, run.end_us)
    reason = _reason(plant, hours, run, steady_us, rates)
    liquid = rates.water + rates.oil
    return {
        "well": run.well,
        "vessel": plant.vessel.id,
        "start_utc": run.start_us,
        "end_utc": run.end_us,
        "water_m3_per_day": rates.water,
        "oil_m3_per_day": rates.oil,
        "water_cut_fraction": rates.water / liquid if liquid > 0.0 else np.nan,
        "state": "running" if run.is_running else ("rejected" if reason else "accepted"),
        "reason": reason,
    }


def _purge_us(plant: Plant, hours: Hours, run: _Run) -> int:
    """Return how long the liquid of the well before is still coming."""
    if plant.shell is None:
        return _LEAST_PURGE_US
    rates = _rates(plant, hours, run.start_us, run.end_us)
    liquid = np.nansum([rates.water, rates.oil])
    top = plant.vessel.normal_oil_level_m or plant.vessel.normal_interface_m
    held = plant.shell.total_volume_m3 if top is None else plant.shell.volume_m3(top)
    if not liquid > 0.0:
        return _LEAST_PURGE_US
    return max(_LEAST_PURGE_US, int(_PURGE_VOLUMES * held / liquid * DAY_S * SECOND_US))


def _rates(plant: Plant, hours: Hours, start_us: int, end_us: int) -> _Rates:
    if end_us <= start_us:
        return _Rates(np.nan, np.nan, 0.0)
    edges = np.array([start_us, end_us])
    water, known = hours.inflow.mean_per_hour(edges)[0], hours.inflow.known_share(edges)[0]
    oil = np.nan
    if plant.oil is not None:
        oil = plant.oil.after_to_after(edges[:1], edges[1:])[0] / ((end_us - start_us) / SECOND_US) * DAY_S
    return _Rates(float(water), float(oil), float(known))


def _reason(plant: Plant, hours: Hours, run: _Run, steady_us: int, rates: _Rates) -> str | None:
    """Return why a test is no good, None if it is."""
    if run.end_us - steady_us < _LEAST_STEADY_US:
        steady_h = max(run.end_us - steady_us, 0) / HOUR_US
        return f"only {steady_h:.1f} h after the purge, {_LEAST_STEADY_US / HOUR_US:.0f} h needed"
    if np.isnan(rates.water) and np.isnan(rates.oil):
        return "no rate is known"
    if not np.isnan(rates.water) and rates.known < _KNOWN:
        return f"water rate known for {rates.known:.0%} of the time, {_KNOWN:.0%} needed"
    middle = (steady_us + run.end_us) // 2
    first, second = (_rates(plant, hours, a, b) for a, b in ((steady_us, middle), (middle, run.end_us)))
    for liquid, early, late in (("water", first.water, second.water), ("oil", first.oil, second.oil)):
        if abs(late - early) > _AGREE * max(early, late, 1e-9):
            return f"{liquid} not steady: {early:.0f} m3/day in the first half, {late:.0f} in the second"
    return None
