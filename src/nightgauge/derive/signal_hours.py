"""What each signal did in each hour: SIGNAL_HOURS."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.grid import DAY_US
from nightgauge.derive.known import Pieces, Readings, Track, integral, per_bin
from nightgauge.derive.plant import Plant
from nightgauge.derive.quantiles import quantiles
from nightgauge.derive.spans import SECOND_US, Floats, Indices, Times, bin_of_each
from nightgauge.statistics.oscillation import swings
from nightgauge.vocabulary.signals import signal_of

STILL_AT_MOST_US = 2 * DAY_US
"""Stillness is looked for no further back than this. [us] It bounds what an hour's row depends on."""


def signal_hours(plant: Plant, track: Track, cut: Pieces, known_s: Floats) -> dict[str, object]:
    """Return the columns of SIGNAL_HOURS of one signal on the plant's day.

    Parameters
    ----------
    plant : Plant
        The vessel on this day.
    track : Track
        The signal.
    cut : Pieces
        Its known intervals, cut at the day's hours.
    known_s : (hours,) array
        How long it is known in each hour. [s]

    """
    edges, count = plant.day.edges_us, plant.day.hours_us.size
    readings = plant.seen.readings[track.signal]
    good = _Usable.of(readings)
    columns: dict[str, object] = {
        "vessel": [plant.vessel.id] * count,
        "signal": [track.signal] * count,
        "hour_utc": plant.day.hours_us,
        "coverage": known_s / (plant.day.lengths_us / SECOND_US),
        "still_s": _still_s(good, edges[1:]),
        **_counts(readings, good, edges),
    }
    kind = signal_of(track.signal).kind
    if kind != "text":
        columns |= _values(cut, count, known_s)
    if kind == "total":
        volume = plant.counted(track).per_hour(edges)
        columns["net_change"] = np.where(known_s > 0, volume, np.nan)
    if kind == "analogue":
        columns |= _swings(track, edges)
    return columns


def _swings(track: Track, edges: Times) -> dict[str, Floats]:
    """Return height, period and regularity of the swings in each hour."""
    low, high = np.searchsorted(track.time_us, edges[[0, -1]])
    time, value = track.time_us[low:high], track.value[low:high]
    told = swings(value, time / SECOND_US, bin_of_each(time, edges))
    columns = {name: np.full(edges.size - 1, np.nan) for name in ("swing", "swing_period_s", "swing_regularity")}
    for name, values in zip(columns, (told.height, told.period, told.regularity), strict=True):
        columns[name][told.group] = values
    return columns


@dataclass(frozen=True)
class _Usable:
    """The usable samples of a signal, outages included, and where its value changes."""

    time_us: Times
    value: Floats
    changes: Indices
    """Positions of samples that differ from the one before."""

    @staticmethod
    def of(readings: Readings) -> "_Usable":
        time, value = readings.time_us, readings.value
        if not np.all(readings.usable):
            time, value = time[readings.usable], value[readings.usable]
        return _Usable(time, value, np.flatnonzero(value[1:] != value[:-1]) + 1)


def _counts(readings: Readings, good: _Usable, edges: Times) -> dict[str, Floats]:
    near = good.time_us[good.changes] - good.time_us[good.changes - 1] <= STILL_AT_MOST_US
    bad = readings.time_us[~readings.usable]

    def tally(times: Times) -> Floats:
        return np.diff(np.searchsorted(times, edges)).astype(np.float64)

    return {
        "samples": tally(good.time_us),
        "bad_samples": tally(bad),
        "changes": tally(good.time_us[good.changes[near]]),
    }


def _still_s(good: _Usable, ends: Times) -> Floats:
    """Return how long the value had been the same at the last sample before each hour's end."""
    time = good.time_us
    if time.size == 0:
        return np.full(ends.shape, np.nan)
    last = np.searchsorted(time, ends, side="left") - 1
    oldest = np.searchsorted(time, ends - STILL_AT_MOST_US, side="left")
    run = np.append(0, good.changes)
    began = run[np.searchsorted(run, np.maximum(last, 0), side="right") - 1]
    since = np.maximum(began, np.minimum(oldest, time.size - 1))
    still = (time[np.maximum(last, 0)] - time[since]) / SECOND_US
    return np.where(last >= oldest, still, np.nan)


def _values(cut: Pieces, count: int, known_s: Floats) -> dict[str, Floats]:
    if cut.bin.size == 0:
        return {}
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = integral(cut, count) / known_s
    first = np.searchsorted(cut.bin, np.arange(count), side="left")
    last = np.searchsorted(cut.bin, np.arange(count), side="right") - 1
    held = last >= first
    first, last = np.minimum(first, cut.bin.size - 1), np.maximum(last, 0)
    start, end = np.where(held, cut.start_value[first], np.nan), np.where(held, cut.end_value[last], np.nan)
    p10, p90 = quantiles(cut, count, (0.1, 0.9))
    return {
        "first": start,
        "last": end,
        "mean": mean,
        "minimum": per_bin(np.minimum, np.minimum(cut.start_value, cut.end_value), cut.bin, count, np.nan),
        "maximum": per_bin(np.maximum, np.maximum(cut.start_value, cut.end_value), cut.bin, count, np.nan),
        "p10": p10,
        "p90": p90,
        "deviation": _deviation(cut, count, mean, known_s),
        "net_change": end - start,
    }


def _deviation(cut: Pieces, count: int, mean: Floats, known_s: Floats) -> Floats:
    """Return the time-weighted standard deviation; a line from a to b has the mean square (a2 + ab + b2) / 3."""
    a, b = cut.start_value - mean[cut.bin], cut.end_value - mean[cut.bin]
    square = per_bin(np.add, (a * a + a * b + b * b) / 3.0 * cut.length_s, cut.bin, count, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.sqrt(square / known_s)
