"""Hand gauges of a tank that a well's emulsion ran into, where the test vessel meters only its water."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.totals import DAY_S
from nightgauge.derive.well_rates import Rates
from nightgauge.derive.well_runs import Run, overlapping
from nightgauge.field.settings import Gauge, Tank
from nightgauge.physics.wells import combined_uncertainty

_READING_M = 0.125 * 0.0254
"""Standard uncertainty of one reading of a gauge tape: an eighth of an inch. Common practice, no source."""


@dataclass(frozen=True)
class Gauged:
    """What a tank gained over a stretch. [m3/day, 1] The cut is NaN where the line has none."""

    well: str
    start_us: int
    end_us: int
    oil: float
    oil_error: float
    cut: float

    def with_water(self, rates: Rates) -> Rates:
        """Return the rates of the same stretch with the tank's oil in the place of a meter's."""
        return replace(rates, oil=self.oil, oil_error=self.oil_error)


def gauge_of(plant: Plant, run: Run) -> Gauged | None:
    """Return the gauge of a run's well that shares most time with it; None with an oil meter, or without a gauge."""
    if plant.oil is not None:
        return None
    shared = [
        (min(run.end_us, one.end_us) - max(run.start_us, one.start_us), one)
        for one in _all(plant)
        if overlapping([run], one.well, one.start_us, one.end_us) and one.end_us <= plant.seen.end_us
    ]
    return max(shared, key=lambda pair: pair[0])[1] if shared else None


def gauges_alone(plant: Plant, runs: Sequence[Run]) -> list[Gauged]:
    """Return the gauges that began on the day, of wells that normally flow to this vessel, and belong to no run.

    A gauge over more than the day after the one it began on is not told: a day's rows look no further.
    """
    own = {well.id for well in plant.field.wells if well.vessel == plant.vessel.id}
    day = plant.day
    return [
        one
        for one in _all(plant)
        if one.well in own
        and day.start_us <= one.start_us < day.end_us
        and one.end_us <= plant.seen.end_us
        and not overlapping(runs, one.well, one.start_us, one.end_us)
    ]


def _all(plant: Plant) -> list[Gauged]:
    tanks = {tank.id: tank for tank in plant.field.tanks}
    return [_gauged(gauge, tanks[gauge.tank]) for gauge in plant.field.gauges if gauge.tank in tanks]


def _gauged(gauge: Gauge, tank: Tank) -> Gauged:
    start, end = to_us(gauge.start_utc), to_us(gauge.end_utc)
    days = (end - start) / SECOND_US / DAY_S
    gained = volume_m3(tank, gauge.closing_m) - volume_m3(tank, gauge.opening_m)
    error = combined_uncertainty(_volume_error_m3(tank, gauge.opening_m), _volume_error_m3(tank, gauge.closing_m))
    cut = np.nan if gauge.water_cut_fraction is None else gauge.water_cut_fraction
    return Gauged(gauge.well, start, end, gained / days, float(error) / days, cut)


def volume_m3(tank: Tank, gauge_m: float) -> float:
    """Return the volume at a gauge, by a line between the two lines of the strapping around it; NaN beyond them."""
    return float(np.interp(gauge_m, tank.gauge_m, tank.volume_m3, left=np.nan, right=np.nan))


def _volume_error_m3(tank: Tank, gauge_m: float) -> float:
    gauges, volumes = np.asarray(tank.gauge_m), np.asarray(tank.volume_m3)
    at = int(np.clip(np.searchsorted(gauges, gauge_m) - 1, 0, gauges.size - 2))
    return float((volumes[at + 1] - volumes[at]) / (gauges[at + 1] - gauges[at])) * _READING_M
