"""What flows into each vessel, minute by minute: wells on and off, slugs, seasons, slow change, tests."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.simulate.curves import grown
from nightgauge.simulate.plan import DAY_S, Fault, Interval, Plan, Slugs, VesselPlan, WellPlan

Array = npt.NDArray[np.float64]

WELL_PURPOSE = 1
_RAMP_S = 600.0  # a pump that starts fills its tubing first; minutes, common practice, no source
_GAS_DAY_SHARE = 0.04  # warm afternoons flash a little more gas; common practice, no source


@dataclass(frozen=True)
class Inflow:
    """Inflow of every vessel, arrays of (minutes, vessels)."""

    water_m3_per_s: Array
    oil_m3_per_s: Array
    gas_m3_per_s: Array
    """At standard conditions."""
    temperature_c: Array


def inflow(plan: Plan) -> Inflow:
    """Return what comes to each vessel, a well on test counted at the test vessel instead of its own."""
    shape = (plan.minutes, len(plan.vessels))
    water, oil, gas = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    seconds = 60.0 * np.arange(plan.minutes, dtype=np.float64)
    places = {vessel.id: place for place, vessel in enumerate(plan.vessels)}
    declines = {f.part: f for vessel in plan.vessels for f in vessel.faults if f.kind == "well_test_decline"}
    for place, vessel in enumerate(plan.vessels):
        open_share = 1.0 - covered(seconds, vessel.shut_in, _RAMP_S)
        for number, well in enumerate(vessel.wells):
            rng = plan.rng(WELL_PURPOSE, place * 100 + number)
            liquid, vapour = _shares(well, seconds, plan, rng)
            if well.settings.id in declines:
                left = _left(declines[well.settings.id], seconds)
                liquid, vapour = liquid * left, vapour * left
            on_test = covered(seconds, well.on_test, 0.0)
            routes = [(place, (1.0 - on_test) * open_share)]
            if well.test_vessel is not None:
                test_place = places[well.test_vessel]
                tested = 1.0 - covered(seconds, plan.vessels[test_place].shut_in, _RAMP_S)
                routes.append((test_place, on_test * tested))
            for where, share in routes:
                water[:, where] += well.water_m3_per_day / DAY_S * liquid * share
                oil[:, where] += well.oil_m3_per_day / DAY_S * liquid * share
                gas[:, where] += well.gas_m3_per_day / DAY_S * vapour * share
    return Inflow(water, oil, gas, _temperatures(plan, seconds))


def _left(decline: Fault, seconds: Array) -> Array:
    """Return what is left of a well's flow: less of everything, as with a worn pump."""
    return 1.0 - decline.size * grown(decline, seconds)


def covered(seconds: Array, intervals: Sequence[Interval], ramp_s: float) -> Array:
    """Return 1 inside the intervals and 0 outside, coming back over the ramp after each."""
    inside = np.zeros_like(seconds)
    for interval in intervals:
        after = (interval.end_s - seconds) / ramp_s + 1.0 if ramp_s > 0.0 else (seconds < interval.end_s).astype(float)
        inside = np.maximum(inside, np.where(seconds >= interval.start_s, np.clip(after, 0.0, 1.0), 0.0))
    return inside


def _shares(well: WellPlan, seconds: Array, plan: Plan, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return liquid and gas of a well as shares of its rates."""
    running = np.clip((seconds - well.starts_s) / _RAMP_S, 0.0, 1.0) if well.starts_s > 0.0 else np.ones_like(seconds)
    running = running * (1.0 - covered(seconds, well.off, _RAMP_S))
    slow = wander(well.wander, seconds, plan.days, rng) * np.maximum(1.0 + well.trend_per_day * seconds / DAY_S, 0.1)
    liquid, vapour = _slug_shares(well.slugs, seconds, rng)
    by_day = 1.0 + _GAS_DAY_SHARE * np.sin(2.0 * np.pi * (seconds / DAY_S - 0.4))
    return running * slow * liquid, running * slow * vapour * by_day


def wander(deviation: float, seconds: Array, days: int, rng: np.random.Generator) -> Array:
    """Return a slow random factor about 1: an autoregressive draw every 12 h, straight lines between."""
    knots = np.empty(days * 2 + 2)
    knots[0] = 0.0
    draws = rng.normal(0.0, 1.0, knots.size)
    keep = 0.85  # correlation over 12 h; gives changes over a few days
    for i in range(1, knots.size):
        knots[i] = keep * knots[i - 1] + np.sqrt(1.0 - keep**2) * draws[i]
    return np.maximum(1.0 + deviation * np.interp(seconds, np.arange(knots.size) * DAY_S / 2.0, knots), 0.05)


def _slug_shares(slugs: Slugs, seconds: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return liquid and gas factors of mean 1 over a slug: the last part of each period brings the liquid."""
    if slugs.height <= 0.0:
        return np.ones_like(seconds), np.ones_like(seconds)
    count = int(seconds[-1] / slugs.period_s * 1.5) + 20
    periods = slugs.period_s * np.exp(rng.normal(0.0, slugs.irregularity, count))
    heights = slugs.height * np.exp(rng.normal(0.0, slugs.irregularity, count))
    starts = np.concatenate(([0.0], np.cumsum(periods)))
    which = np.clip(np.searchsorted(starts, seconds, side="right") - 1, 0, count - 1)
    phase = (seconds - starts[which]) / periods[which]
    burst = 0.3  # share of the period in which the liquid comes; severe slugging is shorter, hydrodynamic longer
    height = np.minimum(heights[which], 0.8)
    liquid = np.where(phase < 1.0 - burst, 1.0 - height, 1.0 + height * (1.0 - burst) / burst)
    vapour = np.where(phase < 1.0 - burst, 1.0 + 0.5 * height, 1.0 - 0.5 * height * (1.0 - burst) / burst)
    return liquid, np.maximum(vapour, 0.0)


def _temperatures(plan: Plan, seconds: Array) -> Array:
    """Return vessel temperatures: the year's slope over the plan, and day and night."""
    return np.stack([temperature_c(plan, v, seconds) for v in plan.vessels], axis=1)


def temperature_c(plan: Plan, vessel: VesselPlan, seconds: Array) -> Array:
    """Return one vessel's temperature at some seconds of the plan."""
    year_day = plan.start.timetuple().tm_yday + seconds / DAY_S
    season = np.sin(2.0 * np.pi * (year_day - 105.0) / 365.25)
    day = np.sin(2.0 * np.pi * (seconds / DAY_S - 0.4))
    p = vessel.physics
    return np.asarray(p.temperature_c + p.temperature_season_c * season + p.temperature_day_c * day)
