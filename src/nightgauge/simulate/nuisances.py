"""What is no fault and happens all the same: wells off, shut-ins, hands on valves, resets, bad hours."""

from dataclasses import replace

import numpy as np

from nightgauge.simulate.plan import DAY_S, HOUR_S, Instrument, Interval, VesselPlan, WellPlan

Rng = np.random.Generator

# How often, all house choices: common enough to meet every one in a fleet of six weeks, rare enough to be nuisances.
_WELL_OFF_EVERY_DAYS = 14.0
_SHUT_IN_SHARE, _TREND_SHARE, _HAND_SHARE, _RESET_SHARE, _BACK_SHARE = 0.25, 0.3, 0.3, 0.2, 0.3
_BAD_EVERY_DAYS = 20.0


def annoy(vessel: VesselPlan, days: int, rng: Rng) -> VesselPlan:
    """Return the vessel with its share of nuisances over a plan of some days."""
    trend = float(rng.uniform(-0.008, 0.008)) if rng.random() < _TREND_SHARE else 0.0
    shut_in = _stretches(1, days, (0.8, 1.2), DAY_S, rng) if rng.random() < _SHUT_IN_SHARE else ()
    shut_in = _clear_of(vessel, shut_in)
    hands = int(rng.integers(1, 5)) if rng.random() < _HAND_SHARE else 0
    return replace(
        vessel,
        wells=tuple(_well(w, vessel, days, trend, rng) for w in vessel.wells),
        shut_in=shut_in,
        hand_dumps=_stretches(hands, days, (1.0, 4.0), 60.0, rng),
        instruments=tuple(_instrument(i, days, rng) for i in vessel.instruments),
    )


def _clear_of(vessel: VesselPlan, stretches: tuple[Interval, ...]) -> tuple[Interval, ...]:
    """Leave out stretches without inflow over a fault that passes: it would have come and gone with nothing to see."""
    passing = [f for f in vessel.faults if f.end_s is not None]
    return tuple(s for s in stretches if not any(s.start_s < (f.end_s or 0.0) and s.end_s > f.start_s for f in passing))


def _well(well: WellPlan, vessel: VesselPlan, days: int, trend: float, rng: Rng) -> WellPlan:
    times = int(rng.poisson(days / _WELL_OFF_EVERY_DAYS))
    more = _clear_of(vessel, _stretches(times, days, (1.0, 30.0), HOUR_S, rng))
    return replace(well, off=(*well.off, *more), trend_per_day=trend)


def _instrument(instrument: Instrument, days: int, rng: Rng) -> Instrument:
    bad = _stretches(int(rng.poisson(days / _BAD_EVERY_DAYS)), days, (0.3, 6.0), HOUR_S, rng)
    if not instrument.signal.endswith("total"):
        return replace(instrument, bad=bad)
    resets = _times(1 if rng.random() < _RESET_SHARE else 0, days, rng)
    back = _times(int(rng.integers(1, 6)) if rng.random() < _BACK_SHARE else 0, days, rng)
    roll = instrument.pulse * float(rng.choice((1e5, 1e6, 1e7)))
    first = float(np.floor(rng.uniform(0.2, 0.9) * roll))
    return replace(
        instrument,
        bad=bad,
        resets_s=resets,
        back_pulses_s=back,
        roll_over=roll,
        first_count=first,
        meter_factor=float(rng.normal(1.0, 0.01)),
    )


def _times(count: int, days: int, rng: Rng) -> tuple[float, ...]:
    return tuple(sorted(float(t) for t in rng.uniform(0.1, 0.95, count) * days * DAY_S))


def _stretches(count: int, days: int, lengths: tuple[float, float], unit_s: float, rng: Rng) -> tuple[Interval, ...]:
    starts = rng.uniform(0.05, 0.95, count) * days * DAY_S
    return tuple(
        Interval(float(s), float(s + length * unit_s))
        for s, length in zip(starts, rng.uniform(*lengths, count), strict=True)
    )
