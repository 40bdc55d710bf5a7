"""The rates of a well over the steady part of its run, with their uncertainty.

Rates are taken hour by hour after the purge; the steady part is the longest stretch up to the end whose two halves
agree. The standard uncertainty of a mean is that of its hours, which are like their neighbours, joined with what one
count of the register at either end is worth.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import t

from nightgauge.derive.grid import HOUR_US
from nightgauge.derive.hours import Hours
from nightgauge.derive.known import integral, pieces
from nightgauge.derive.plant import Plant
from nightgauge.derive.spans import SECOND_US, Floats, Times
from nightgauge.derive.totals import DAY_S
from nightgauge.physics.liquids import volume_correction
from nightgauge.physics.wells import combined_uncertainty, net_oil_m3
from nightgauge.statistics.robust import mad_sigma
from nightgauge.statistics.serial import lag1_correlation, mean_inflation

LEAST_STEADY_US = 2 * HOUR_US
"""Steady time that makes a test. [us] House choice: several dumps of an ordinary vessel."""
AGREE = 0.15
"""Share by which the two halves of the steady part may differ. Common practice, no source: wells on pumps wander by
a tenth."""
KNOWN = 0.8
"""Share of the steady part in which a rate must be known. House choice."""
LEAST_SHARE = 2.0 / 3.0
"""Share of the run after its purge that has to be steady: a well that was steady for less has changed during its test.
House choice."""
_FEW = 3
"""Hours of which a scatter or a mean's uncertainty can be told at all."""
_FAR = 3.0
"""Deviations at which an hour is unlike the others. Common practice."""
_COUNT_ERROR = 1.0 / np.sqrt(6.0)
"""Standard deviation of the difference of two readings of a register of steps of one: each is uniform over a step."""


@dataclass(frozen=True)
class Rates:
    """Mean rates over one stretch [m3/day], their standard uncertainties, and what is known of the stretch [1]."""

    water: float
    oil: float
    gas: float
    known: float
    water_error: float
    oil_error: float


@dataclass(frozen=True)
class Hourly:
    """Rates between edges an hour apart, the last hour as long as it is. [m3/day] NaN where not known."""

    edges_us: Times
    water: Floats
    water_known: Floats
    oil: Floats

    def steady_from(self) -> int | None:
        """Return the first edge from which on both liquids are steady to the end, None where there is none."""
        for first in range(len(self.water)):
            if self.edges_us[-1] - self.edges_us[first] < LEAST_STEADY_US:
                return None
            if self.unsteady(first) is None and not self._stands_out(first):
                return first
        return None

    def _stands_out(self, hour: int) -> bool:
        """Return whether an hour is unlike those after it: then the steady part has not begun yet."""
        for rates in (self.water, self.oil):
            after = rates[hour + 1 :][~np.isnan(rates[hour + 1 :])]
            if after.size >= _FEW and not np.isnan(rates[hour]):
                usual = max(AGREE * abs(float(np.median(after))), _FAR * float(mad_sigma(after)))
                if abs(rates[hour] - np.median(after)) > usual:
                    return True
        return False

    def unsteady(self, first: int) -> str | None:
        """Return which liquid differs between the halves of the stretch from an edge on, and how; None where none."""
        middle = first + (len(self.water) - first + 1) // 2
        for liquid, rates in (("water", self.water), ("oil", self.oil)):
            early, late = _mean(rates[first:middle]), _mean(rates[middle:])
            if abs(late - early) > AGREE * max(early, late, 1e-9):
                return f"{liquid} not steady: {early:.0f} m3/day in the first half, {late:.0f} in the second"
        return None


def hourly(plant: Plant, hours: Hours, start_us: int, end_us: int) -> Hourly:
    """Return the rates of a stretch hour by hour."""
    whole = np.arange(start_us, end_us, HOUR_US, dtype=np.int64)
    if whole.size > 1 and end_us - whole[-1] < HOUR_US // 2:
        whole = whole[:-1]  # a last scrap of an hour goes with the hour before it
    edges = np.append(whole, end_us)
    water, known = hours.inflow.mean_per_hour(edges), hours.inflow.known_share(edges)
    oil = np.full(water.shape, np.nan)
    if plant.oil is not None:
        oil = plant.oil.after_to_after(edges[:-1], edges[1:]) / (np.diff(edges) / SECOND_US) * DAY_S
    return Hourly(edges, water, known, oil)


def rates_between(plant: Plant, hours: Hours, start_us: int, end_us: int) -> Rates:
    """Return the mean rates of a stretch."""
    if end_us <= start_us:
        return Rates(np.nan, np.nan, np.nan, 0.0, np.nan, np.nan)
    edges, parts = np.array([start_us, end_us]), hourly(plant, hours, start_us, end_us)
    days = (end_us - start_us) / SECOND_US / DAY_S
    oil = np.nan if plant.oil is None else float(plant.oil.after_to_after(edges[:1], edges[1:])[0]) / days
    water_step, oil_step = (_step_m3(plant, liquid) for liquid in ("water", "oil"))
    return Rates(
        water=float(hours.inflow.mean_per_hour(edges)[0]),
        oil=oil,
        gas=mean_between(plant, "gas_rate", start_us, end_us),
        known=float(hours.inflow.known_share(edges)[0]),
        water_error=_error(parts.water, water_step / days),
        oil_error=_error(parts.oil, oil_step / days),
    )


def _step_m3(plant: Plant, liquid: str) -> float:
    """Return what one count of a totaliser is worth; nothing for a rate meter."""
    track = plant.track(f"{liquid}_total")
    return 0.0 if track is None or not track.start_us.size else plant.raw_unit(f"{liquid}_total")


def _error(rates: Floats, count_m3_per_day: float) -> float:
    """Return the standard uncertainty of the mean of hourly rates, NaN of fewer than three."""
    known = rates[~np.isnan(rates)]
    if known.size < _FEW:
        return np.nan
    residuals = known - known.mean()
    independent = known.size / mean_inflation(lag1_correlation(residuals), known.size)
    # Of few independent hours the scatter itself is a guess: twice this is to hold 95 % as for many.
    allowance = float(t.ppf(0.975, max(independent - 1.0, 1.0)) / t.ppf(0.975, np.inf))
    scatter = allowance * float(np.std(known, ddof=1)) / np.sqrt(independent)
    return float(combined_uncertainty(scatter, _COUNT_ERROR * count_m3_per_day))


def mean_between(plant: Plant, signal: str, start_us: int, end_us: int) -> float:
    """Return a signal's time-weighted mean over a stretch, NaN where too little of it is known."""
    track = plant.track(signal)
    if track is None or end_us <= start_us:
        return np.nan
    edges = np.array([start_us, end_us])
    known_s = float(track.known_us(edges[:1], edges[1:])[0]) / SECOND_US
    if known_s < KNOWN * (end_us - start_us) / SECOND_US:
        return np.nan
    return float(integral(pieces(track, edges), 1)[0]) / known_s


@dataclass(frozen=True)
class NetOil:
    """Oil without water at standard conditions, and its standard uncertainty. [m3/day] NaN without a cut."""

    rate: float
    error: float


def net_oil(plant: Plant, oil: float, oil_error: float, cut: float, temperature_c: float) -> NetOil:
    """Return the net oil of an emulsion stream.

    Parameters
    ----------
    oil, oil_error : float
        The stream and its standard uncertainty. [m3/day]
    cut : float
        Water in it. [1]
    temperature_c : float
        At which it was metered; NaN gives NaN. [degC]

    """
    vessel = plant.vessel
    if vessel.oil_gravity_degapi is None or np.isnan([oil, cut, temperature_c]).any():
        return NetOil(np.nan, np.nan)
    correction = float(volume_correction(vessel.oil_gravity_degapi, temperature_c))
    rate = float(net_oil_m3(oil, cut, vessel.oil_meter_factor, correction, vessel.oil_shrinkage))
    return NetOil(rate, rate * oil_error / oil if oil > 0.0 else np.nan)


def _mean(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else np.nan
