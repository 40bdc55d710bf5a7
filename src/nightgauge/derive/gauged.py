"""Hand gauges of a tank that a well's emulsion ran into, where the test vessel meters only its water."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import to_us
from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.totals import DAY_S
from nightgauge.derive.well_rates import Estimate
from nightgauge.derive.well_runs import Run, stretches_of
from nightgauge.field.settings import Field, Gauge, Tank
from nightgauge.field.turns import turns_of
from nightgauge.physics.wells import combined_uncertainty, rate_m3_per_day

_READING_M = 0.125 * 0.0254
"""Standard uncertainty of one reading of a gauge tape: an eighth of an inch. Common practice, no source."""


@dataclass(frozen=True)
class Gauged:
    """What a tank gained over a stretch, and the water in it."""

    line: Gauge
    start_us: int
    end_us: int
    oil: Estimate
    """[m3/day] NaN beyond the strapping."""
    cut: Estimate
    """[1] NaN where the line has none; a line says nothing of how sure its cut is, so that counts as sure."""

    @property
    def well(self) -> str:
        """Return whose run it is of."""
        return self.line.well

    @property
    def fault(self) -> str | None:
        """Return why the two gauges are no good, None if they are."""
        if np.isnan(self.oil.value):
            return f"gauge beyond the strapping of tank {self.line.tank}"
        if self.oil.value < 0.0:
            return f"tank {self.line.tank} fell between its gauges"
        return None


def gauge_of(plant: Plant, run: Run) -> Gauged | None:
    """Return the gauge of a run's well that shares most time with it; None with an oil meter, or without a gauge.

    Of a run that counts day by day a gauge belongs to the part that it ends in.
    """
    if plant.oil is not None:
        return None
    shared = [
        (min(run.end_us, one.end_us) - max(run.start_us, one.start_us), one)
        for one in _all(plant)
        if one.well == run.well and one.start_us < run.end_us and _ends_in(plant, one, run)
    ]
    return max(shared, key=lambda pair: (pair[0], -pair[1].start_us, pair[1].line.tank))[1] if shared else None


def _ends_in(plant: Plant, one: Gauged, run: Run) -> bool:
    if run.over_us == plant.seen.end_us < one.end_us:
        return False  # the run goes on beyond what is seen, and so does the gauge
    return run.start_us < min(one.end_us, run.over_us) <= run.end_us


def gauges_alone(plant: Plant) -> list[Gauged]:
    """Return the gauges that began on the day, are told on this vessel, and belong to no run of their well.

    A gauge that ends more than a day after the day it began on is not told: a day's rows look no further.
    """
    stretches = stretches_of(plant)
    return [
        one
        for one in _all(plant)
        if plant.day.start_us <= one.start_us < plant.day.end_us
        and one.end_us <= plant.seen.end_us
        and _home(plant.field, one.well) == plant.vessel.id
        and not turns_of(plant.field, one.well, one.line.start_utc, one.line.end_utc)
        and not any(of.well == one.well and of.start_us < one.end_us and one.start_us < of.end_us for of in stretches)
    ]


def _home(field: Field, well_id: str) -> str | None:
    """Return the vessel that a gauge without a run is told on: the well's own.

    Where a test vessel without an oil meter has the signal `well_on_test`, it alone knows that there was no run.
    """
    for vessel in field.vessels:
        signals = field.signals_of(vessel.id)
        if "well_on_test" in signals and not signals & {"oil_rate", "oil_total"}:
            return vessel.id
    return next((well.vessel for well in field.wells if well.id == well_id), None)


def _all(plant: Plant) -> list[Gauged]:
    tanks = {tank.id: tank for tank in plant.field.tanks}
    lines = dict.fromkeys(plant.field.gauges)
    return [_gauged(gauge, tanks[gauge.tank]) for gauge in lines if gauge.tank in tanks]


def _gauged(gauge: Gauge, tank: Tank) -> Gauged:
    start, end = to_us(gauge.start_utc), to_us(gauge.end_utc)
    lasted_s = (end - start) / SECOND_US
    gained = volume_m3(tank, gauge.closing_m) - volume_m3(tank, gauge.opening_m)
    error = combined_uncertainty(_volume_error_m3(tank, gauge.opening_m), _volume_error_m3(tank, gauge.closing_m))
    cut = Estimate() if gauge.water_cut_fraction is None else Estimate(gauge.water_cut_fraction, 0.0)
    oil = Estimate(float(rate_m3_per_day(gained, lasted_s)), float(error) / lasted_s * DAY_S)
    return Gauged(gauge, start, end, oil, cut)


def volume_m3(tank: Tank, gauge_m: float) -> float:
    """Return the volume at a gauge, by a line between the two lines of the strapping around it; NaN beyond them."""
    return float(np.interp(gauge_m, tank.gauge_m, tank.volume_m3, left=np.nan, right=np.nan))


def _volume_error_m3(tank: Tank, gauge_m: float) -> float:
    gauges, volumes = np.asarray(tank.gauge_m), np.asarray(tank.volume_m3)
    at = int(np.clip(np.searchsorted(gauges, gauge_m) - 1, 0, gauges.size - 2))
    return float((volumes[at + 1] - volumes[at]) / (gauges[at + 1] - gauges[at])) * _READING_M
