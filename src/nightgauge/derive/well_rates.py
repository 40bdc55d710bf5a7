"""The rates of a well over the steady part of its run, with their uncertainty.

Rates are taken hour by hour after the purge; the steady part is the longest stretch up to the last hour of flow whose
two halves agree. The standard uncertainty of a mean is that of its hours, which are like their neighbours, joined
with what one count at either end is worth.
"""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.bursts import bursts, pulse_m3
from nightgauge.derive.grid import HOUR_US
from nightgauge.derive.hours import Hours
from nightgauge.derive.known import Track, integral, pieces
from nightgauge.derive.plant import Plant
from nightgauge.derive.spans import SECOND_US, Floats, Times
from nightgauge.derive.totals import DAY_S, Counted
from nightgauge.physics.liquids import volume_correction
from nightgauge.physics.wells import combined_uncertainty, net_oil_error_fraction, net_oil_m3
from nightgauge.statistics.robust import mad_sigma
from nightgauge.statistics.serial import mean_error

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
class Estimate:
    """A value and its standard uncertainty, NaN where not known. [m3/day] or [1]"""

    value: float = np.nan
    error: float = np.nan


@dataclass(frozen=True)
class Rates:
    """What left by each outlet over one stretch [m3/day], and the water in the oil stream [1]."""

    water: Estimate = Estimate()
    oil: Estimate = Estimate()
    """The whole oil stream: an emulsion."""
    gas: float = np.nan
    cut: Estimate = Estimate()
    known: float = 0.0
    """Share of the stretch for which the water rate is known."""
    is_metered: bool = True
    """Whether a meter read the oil stream, and not a tank after it."""


@dataclass(frozen=True)
class Hourly:
    """Rates between edges an hour apart, the last hour as long as it is. [m3/day] NaN where not known."""

    edges_us: Times
    water: Floats
    oil: Floats

    def steady_part(self) -> tuple[int, int] | None:
        """Return the times between which both liquids are steady, None where there are none. [us]

        Hours at the end that are unlike those before them are left out: a well is often turned out before its name
        is taken off.
        """
        last = len(self.water)
        while last > 1 and self._stands_out(last - 1, slice(0, last - 1)):
            last -= 1
        kept = Hourly(self.edges_us[: last + 1], self.water[:last], self.oil[:last])
        for first in range(last):
            if kept.edges_us[-1] - kept.edges_us[first] < LEAST_STEADY_US:
                return None
            if kept.unsteady(first) is None and not kept._stands_out(first, slice(first + 1, None)):
                return int(kept.edges_us[first]), int(kept.edges_us[-1])
        return None

    def _stands_out(self, hour: int, others: slice) -> bool:
        """Return whether an hour is unlike others."""
        for rates in (self.water, self.oil):
            beside = rates[others][~np.isnan(rates[others])]
            if beside.size >= _FEW and not np.isnan(rates[hour]):
                usual = max(AGREE * abs(float(np.median(beside))), _FAR * float(mad_sigma(beside)))
                if abs(rates[hour] - np.median(beside)) > usual:
                    return True
        return False

    def unsteady(self, first: int = 0) -> str | None:
        """Return which liquid differs between the halves of the stretch from an edge on, and how; None where none."""
        middle = first + (len(self.water) - first + 1) // 2
        for liquid, rates in (("water", self.water), ("oil", self.oil)):
            early, late = _mean(rates[first:middle]), _mean(rates[middle:])
            if abs(late - early) > AGREE * max(early, late, 1e-9):
                less = abs(late - early) / max(early, late)
                return f"{liquid} not steady: {less:.0%} less in the {'first' if early < late else 'second'} half"
        return None


def hourly(plant: Plant, hours: Hours, start_us: int, end_us: int) -> Hourly:
    """Return the rates of a stretch hour by hour."""
    edges = _edges(start_us, end_us)
    oil = np.full(edges.size - 1, np.nan)
    if plant.oil is not None:
        oil = plant.oil.after_to_after(edges[:-1], edges[1:]) / (np.diff(edges) / SECOND_US) * DAY_S
    return Hourly(edges, hours.inflow.mean_per_hour(edges), oil)


def _edges(start_us: int, end_us: int) -> Times:
    """Return edges an hour apart; a last scrap of an hour goes with the hour before it."""
    whole = np.arange(start_us, end_us, HOUR_US, dtype=np.int64)
    if whole.size > 1 and end_us - whole[-1] < HOUR_US // 2:
        whole = whole[:-1]
    return np.append(whole, end_us)


def rates_between(plant: Plant, hours: Hours, start_us: int, end_us: int) -> Rates:
    """Return the mean rates of a stretch."""
    if end_us <= start_us:
        return Rates()
    edges, parts = np.array([start_us, end_us]), hourly(plant, hours, start_us, end_us)
    days = (end_us - start_us) / SECOND_US / DAY_S
    water = float(hours.inflow.mean_per_hour(edges)[0])
    return Rates(
        Estimate(water, _error(parts.water, _step_m3(plant.water) / days)),
        Estimate(_oil(plant, parts, days), _error(parts.oil, max(_step_m3(plant.oil), _oil_dump_m3(plant)) / days)),
        mean_between(plant, "gas_rate", start_us, end_us),
        _cut(plant, start_us, end_us),
        float(hours.inflow.known_share(edges)[0]),
    )


def _oil(plant: Plant, parts: Hourly, days: float) -> float:
    """Return the oil stream over a stretch, over the hours in which it is known where those are enough."""
    if plant.oil is None:
        return np.nan
    whole = float(plant.oil.after_to_after(parts.edges_us[:1], parts.edges_us[-1:])[0]) / days
    known, lengths = ~np.isnan(parts.oil), np.diff(parts.edges_us)
    if not np.isnan(whole) or lengths[known].sum() < KNOWN * lengths.sum():
        return whole
    return float(np.average(parts.oil[known], weights=lengths[known]))


def _step_m3(meter: Counted | None) -> float:
    """Return what one step of a totaliser's register is worth, as its readings show it; nothing for a rate meter."""
    if meter is None or not meter.in_steps:
        return 0.0
    steps = meter.volume_m3[meter.volume_m3 > 0.0]
    return pulse_m3(steps) if steps.size else 0.0


def _oil_dump_m3(plant: Plant) -> float:
    """Return the usual dump of an oil outlet that flows in bursts, nothing where it flows all along.

    Water needs none of this: its rate is that of whole cycles, each spread over its own time.
    """
    found = None if plant.oil is None else bursts(plant.oil)
    if plant.oil is None or found is None:
        return 0.0
    volumes = plant.oil.through(found.start_us, found.end_us)
    volumes = volumes[~np.isnan(volumes)]
    return float(np.median(volumes)) if volumes.size else 0.0


def _cut(plant: Plant, start_us: int, end_us: int) -> Estimate:
    """Return the share of water in the oil stream."""
    track = plant.track("oil_water_cut")
    value = mean_between(plant, "oil_water_cut", start_us, end_us)
    if track is None or np.isnan(value):
        return Estimate()
    edges = _edges(start_us, end_us)
    means = [_mean_of(track, *part) for part in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)]
    return Estimate(value, _error(np.array(means), 0.0))


def _error(rates: Floats, count_m3_per_day: float) -> float:
    """Return the standard uncertainty of the mean of hourly values, NaN of fewer than three."""
    known = rates[~np.isnan(rates)]
    if known.size < _FEW:
        return np.nan
    return float(combined_uncertainty(mean_error(known), _COUNT_ERROR * count_m3_per_day))


def mean_between(plant: Plant, signal: str, start_us: int, end_us: int) -> float:
    """Return a signal's time-weighted mean over a stretch, NaN where too little of it is known."""
    track = plant.track(signal)
    return np.nan if track is None else _mean_of(track, start_us, end_us)


def _mean_of(track: Track, start_us: int, end_us: int) -> float:
    if end_us <= start_us:
        return np.nan
    edges = np.array([start_us, end_us])
    known_s = float(track.known_us(edges[:1], edges[1:])[0]) / SECOND_US
    if known_s < KNOWN * (end_us - start_us) / SECOND_US:
        return np.nan
    return float(integral(pieces(track, edges), 1)[0]) / known_s


def liquids(rates: Rates) -> tuple[Estimate, Estimate]:
    """Return a well's water and its oil: water in the oil stream counts as water where its share is known."""
    water, oil, cut = rates.water, rates.oil, rates.cut
    if np.isnan([oil.value, cut.value]).any():
        return water, oil
    moved = oil.value * cut.error
    return (
        Estimate(water.value + oil.value * cut.value, _rss(water.error, cut.value * oil.error, moved)),
        Estimate(oil.value * (1.0 - cut.value), _rss((1.0 - cut.value) * oil.error, moved)),
    )


def net_oil(plant: Plant, rates: Rates, temperature_c: float) -> Estimate:
    """Return the oil without water at standard conditions; not known without a cut, a gravity or a temperature.

    A tank's oil has lost its gas, and no meter has read it: neither shrinkage nor meter factor is its own.
    """
    vessel, oil, cut = plant.vessel, rates.oil, rates.cut
    if vessel.oil_gravity_degapi is None or np.isnan([oil.value, cut.value, temperature_c]).any():
        return Estimate()
    factor, shrinkage = (vessel.oil_meter_factor, vessel.oil_shrinkage) if rates.is_metered else (1.0, 1.0)
    correction = float(volume_correction(vessel.oil_gravity_degapi, temperature_c))
    value = float(net_oil_m3(oil.value, cut.value, factor, correction, shrinkage))
    if not oil.value > 0.0:
        return Estimate(value, np.nan)
    return Estimate(value, value * _rss(oil.error / oil.value, float(net_oil_error_fraction(cut.value, cut.error))))


def _rss(first: float, *others: float) -> float:
    return float(combined_uncertainty(first, *others))


def _mean(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if known.size else np.nan
