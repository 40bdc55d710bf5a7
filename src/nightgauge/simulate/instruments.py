"""Transmitters, switches and meters with their faults, and what the historian keeps of them.

A value is scanned, gets its bias, noise and resolution, and is kept when it has moved by more than
the dead band since the value kept last, or when the longest interval has passed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.simulate.curves import grown
from nightgauge.simulate.plan import Instrument, Interval, VesselPlan
from nightgauge.simulate.readings import View, reading
from nightgauge.units import STANDARD_ATMOSPHERE_KPA, Conversion, conversion
from nightgauge.vocabulary.signals import SIGNALS

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

KEPT = {"tag": pl.Int32, "second": pl.Float64, "value": pl.Float64, "is_bad": pl.Boolean}
"""Samples as kept: place of the instrument, seconds since the plan's start, value as shown, quality."""


@dataclass
class Memory:
    """What one instrument and its historian tag remember."""

    shown: float = np.nan
    """Last value scanned; a frozen transmitter stays at it."""
    zeroed: float = 0.0
    """Volume at which the totaliser was last reset, in its unit."""
    lost: float = 0.0
    """Counted backwards since the reset."""
    kept: float = np.inf
    kept_at_s: float = -np.inf


@dataclass
class Historian:
    """All instruments of a plan in order, each with its memory."""

    instruments: tuple[tuple[VesselPlan, Instrument], ...]
    memory: list[Memory] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Start every memory empty."""
        self.memory = [Memory() for _ in self.instruments]

    def keep(self, views: Sequence[View], rng: np.random.Generator) -> pl.DataFrame:
        """Return the samples kept over the stretch of the views' trace (KEPT, by scan group, time and tag)."""
        by_vessel = {view.vessel.id: view for view in views}
        groups: dict[float, list[int]] = {}
        for place, (_, instrument) in enumerate(self.instruments):
            groups.setdefault(instrument.scan_s, []).append(place)
        frames = [pl.DataFrame(schema=KEPT)]
        for scan_s, places in sorted(groups.items()):
            columns = [self._scan(place, by_vessel[self.instruments[place][0].id], rng) for place in places]
            seconds = _ticks(views[0], scan_s)
            frames.append(self._group(places, seconds, np.stack(columns, axis=1)))
        return pl.concat(frames)

    def _scan(self, place: int, view: View, rng: np.random.Generator) -> Array:
        """Return what one instrument shows at its scans."""
        vessel, instrument = self.instruments[place]
        memory = self.memory[place]
        seconds = _ticks(view, instrument.scan_s)
        every = round(instrument.scan_s / view.trace.step_s)
        true = reading(view, instrument.signal)[every - 1 :: every]
        kind = SIGNALS[instrument.signal].kind
        if kind in ("state", "text"):
            shown = true
        elif kind == "total":
            shown = _count(true, seconds, instrument, memory)
        else:
            to_si = to_shown(instrument, vessel.physics.atmosphere_kpa)
            shown = _transmit(true + _drift(vessel, instrument, seconds), instrument, to_si, rng)
        shown = _freeze(shown, seconds, vessel, instrument, memory)
        memory.shown = float(shown[-1])
        return shown

    def _group(self, places: list[int], seconds: Array, values: Array) -> pl.DataFrame:
        """Return the samples kept of one scan group."""
        instruments = [self.instruments[p][1] for p in places]
        memories = [self.memory[p] for p in places]
        due = exceptions(seconds, values, instruments, memories)
        row, column = np.nonzero(due)
        tags = np.array(places, dtype=np.int32)[column]
        second, value = seconds[row], values[row, column]
        silent, bad = np.zeros(row.size, dtype=bool), np.zeros(row.size, dtype=bool)
        for number, place in enumerate(places):
            mine = column == number
            vessel, instrument = self.instruments[place]
            silent |= mine & _within(second, (*instrument.silent, *_gaps(vessel, instrument)))
            bad |= mine & _within(second, instrument.bad)
        value = np.where(bad, 0.0, value)
        kept = pl.DataFrame({"tag": tags, "second": second, "value": value, "is_bad": bad}, schema=KEPT)
        return kept.filter(~pl.Series(silent))


def to_shown(instrument: Instrument, atmosphere_kpa: float) -> Conversion:
    """Return the conversion between the unit an instrument shows and SI."""
    dimension = SIGNALS[instrument.signal].dimension
    if dimension in ("state", "text"):
        return Conversion(1.0, 0.0)
    return conversion(instrument.unit, dimension, atmosphere_kpa)


def _ticks(view: View, scan_s: float) -> Array:
    steps = view.trace.values.shape[1]
    every = round(scan_s / view.trace.step_s)
    return view.trace.first_second + view.trace.step_s * np.arange(every, steps + 1, every)


def _drift(vessel: VesselPlan, instrument: Instrument, seconds: Array) -> Array:
    """Return the error of a drifting transmitter in SI."""
    error = np.zeros_like(seconds)
    for fault in vessel.faults:
        if fault.kind == "instrument_drift" and fault.signal == instrument.signal:
            error += fault.size * grown(fault, seconds)
    return error


def _transmit(si: Array, instrument: Instrument, to_si: Conversion, rng: np.random.Generator) -> Array:
    """Return an analogue reading in its unit, with bias, noise and resolution; a rate meter does not read below 0."""
    shown = (si - to_si.constant) / to_si.factor + instrument.bias
    shown = shown * instrument.meter_factor + instrument.noise * rng.standard_normal(si.size)
    if instrument.signal.endswith("rate"):
        shown = np.maximum(shown, 0.0)
    return np.asarray(np.round(np.round(shown / instrument.resolution) * instrument.resolution, 6))


def _count(si: Array, seconds: Array, instrument: Instrument, memory: Memory) -> Array:
    """Return a totaliser's count: whole pulses, rolling over, reset, and stepping back now and then."""
    volume = (
        si / to_shown(instrument, STANDARD_ATMOSPHERE_KPA).factor * instrument.meter_factor + instrument.first_count
    )
    zeroed, lost = np.full(si.size, memory.zeroed), np.full(si.size, memory.lost)
    for reset in (r for r in instrument.resets_s if seconds[0] <= r <= seconds[-1]):
        after = seconds >= reset
        zeroed[after], lost[after] = volume[after][0], 0.0
    for back in (b for b in instrument.back_pulses_s if seconds[0] <= b <= seconds[-1]):
        lost[seconds >= back] += instrument.pulse
    memory.zeroed, memory.lost = float(zeroed[-1]), float(lost[-1])
    counted = np.floor((volume - zeroed) / instrument.pulse + 1e-9) * instrument.pulse - lost
    return np.asarray(np.round(counted % instrument.roll_over, 6))


def _freeze(shown: Array, seconds: Array, vessel: VesselPlan, instrument: Instrument, memory: Memory) -> Array:
    for fault in vessel.faults:
        if fault.kind == "instrument_frozen" and fault.signal == instrument.signal:
            frozen = grown(fault, seconds) > 0.0
            if frozen.any():
                first = int(np.argmax(frozen))
                held = shown[first] if first > 0 or np.isnan(memory.shown) else memory.shown
                shown = np.where(frozen, held, shown)
    return shown


def _gaps(vessel: VesselPlan, instrument: Instrument) -> tuple[Interval, ...]:
    return tuple(
        Interval(f.start_s, np.inf if f.end_s is None else f.end_s)
        for f in vessel.faults
        if f.kind == "data_gap" and f.signal in (None, instrument.signal)
    )


def _within(seconds: Array, intervals: Sequence[Interval]) -> Bools:
    found = np.zeros(seconds.size, dtype=bool)
    for interval in intervals:
        found |= (seconds >= interval.start_s) & (seconds < interval.end_s)
    return found


def exceptions(seconds: Array, values: Array, instruments: Sequence[Instrument], memories: Sequence[Memory]) -> Bools:
    """Return which values are kept, (scans, tags). Each depends on the one kept before, so time is a loop."""
    band = np.array([i.dead_band for i in instruments])
    longest = np.array([i.max_interval_s for i in instruments])
    kept = np.array([m.kept for m in memories])
    kept_at = np.array([m.kept_at_s for m in memories])
    due = np.empty(values.shape, dtype=bool)
    for row, (second, value) in enumerate(zip(seconds, values, strict=True)):
        keep = (np.abs(value - kept) > band) | (second - kept_at >= longest)
        due[row] = keep
        kept = np.where(keep, value, kept)
        kept_at = np.where(keep, second, kept_at)
    for memory, last, at in zip(memories, kept, kept_at, strict=True):
        memory.kept, memory.kept_at_s = float(last), float(at)
    return due
