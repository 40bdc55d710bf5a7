"""Bursts of flow in a meter: where a valve was open, told from a leak, from pulses and from steady flow."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.spans import SECOND_US, Floats, Indices, Times
from nightgauge.derive.totals import Counted

_BETWEEN = 0.4
"""Share of the way from the meter's low level to its high one at which a flow counts as a dump's. House choice: below
half, since a dump at lower pressure or through a partly blocked valve still has to be seen."""
_TWO_LEVELS = 2.0
"""High over low level below which the flow is one continuous flow. House choice: a throttled flow varies by less."""
_OF_DUMPS = 0.9
"""Share of the volume that passes no faster than a dump runs. House choice: so a tenth of the water in dumps is enough
to see them by, where a leaking valve passes the rest."""
_MOST_OF_ONE = 10.0
"""Usual steps that one step of the register counts for at most. House choice: an order of magnitude."""
_PULSES_OF_A_SCAN = 3.0
"""Pulses within one scan from which that scan's own rate means something: counting error below a third."""
_SAME = 1e-3
"""Share of the usual step within which two steps are one: units converted back and forth, not metering."""


@dataclass(frozen=True)
class Bursts:
    """Start and end of each burst; the last one's end is open if flow still runs."""

    start_us: Times
    end_us: Times
    running: bool


NO_BURSTS = Bursts(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), running=False)


def bursts(counted: Counted) -> Bursts | None:
    """Return the bursts of flow of a meter, or None if its flow does not come in bursts.

    Each step of the register is a pulse of some size. Two pulses belong together if the second came as fast
    as a dump runs: so a coarse meter, a fine one and one that is read once a minute are all one case.
    """
    pulse = np.flatnonzero(counted.volume_m3 > 0.0)
    if pulse.size < 3:
        return NO_BURSTS
    volume, at = counted.volume_m3[pulse], counted.to_us[pulse]
    # A meter that reports exceptions was silent before: what it then reports came within its last scan.
    scanned_from = counted.from_us[pulse]
    if counted.in_steps:
        scanned_from = np.maximum(scanned_from, at - counted.scan_us)
    scanned_s = (at - scanned_from) / SECOND_US
    apart_s = np.diff(at, prepend=counted.from_us[pulse[0]]) / SECOND_US
    is_rate = volume >= _PULSES_OF_A_SCAN * pulse_m3(volume)
    rate = np.where(is_rate, volume / scanned_s, volume / apart_s)
    # A silence that hides many dumps must not be taken for the fastest flow of all.
    high = weighted_quantile(rate, np.minimum(volume, _MOST_OF_ONE * float(np.median(volume))), _OF_DUMPS)
    low = weighted_quantile(volume / apart_s, apart_s, 0.02)
    if high < _TWO_LEVELS * low:
        return None
    dividing = low + _BETWEEN * (high - low)
    linked = volume / apart_s >= dividing
    alone = is_rate & (volume / scanned_s >= dividing)
    # A scan without a pulse says that nothing flowed only where pulses are fine.
    earliest = np.where(is_rate, scanned_from, np.append(counted.from_us[pulse[0]], at[:-1]))
    head = np.flatnonzero(~linked | (np.arange(pulse.size) == 0))
    tail = np.append(head[1:], pulse.size) - 1
    # The scan in which a valve shuts sees part of its flow only.
    lone = np.append(head[1:] == tail[1:], False) & ~np.append(alone[head[1:]], False)
    cut_short = lone & (at[np.minimum(tail + 1, at.size - 1)] - at[tail] <= counted.scan_us)
    real = (tail > head) | alone[head]
    tail = np.where(real & cut_short, tail + 1, tail)
    pulses = _Pulses(volume, at, scanned_from, earliest, int(counted.to_us[-1]))
    return _timed(pulses, head[real], tail[real], high)


def pulse_m3(volume: Floats) -> float:
    """Return the step of a register that counts in steps, 0 for one that does not. [m3]

    Steps that are few and come again are multiples of one pulse; volumes that are nearly all different are not.
    """
    grain = _SAME * float(np.median(volume))
    steps, often = np.unique(np.rint(volume / grain), return_counts=True)
    # Rounding puts one step on either side of a grain's edge.
    steps, often = steps[np.append(True, np.diff(steps) > 2)], often[np.append(True, np.diff(steps) > 2)]
    if steps.size > 0.5 * volume.size:
        return 0.0
    usual = steps[often > 1] if np.any(often > 1) else steps
    return float(np.min(np.diff(usual), initial=usual[0])) * grain


@dataclass(frozen=True)
class _Pulses:
    volume: Floats
    at_us: Times
    scanned_from_us: Times
    earliest_us: Times
    """Before this a pulse's flow cannot have begun."""
    last_seen_us: int


def _timed(pulses: _Pulses, head: Indices, tail: Indices, high: float) -> Bursts:
    if head.size == 0:
        return NO_BURSTS
    volume, at = pulses.volume, pulses.at_us
    running = np.concatenate([[0.0], np.cumsum(volume)])
    # Whole intervals only: the first and the last pulse of a burst came from part of one.
    long = tail - head >= 3
    inner_s = np.where(long, at[tail - 1] - at[head], SECOND_US) / SECOND_US
    rate = np.where(long, (running[tail] - running[head + 1]) / inner_s, high)
    rate = np.maximum(rate, 0.25 * high)
    start = np.maximum(at[head] - (volume[head] / rate * SECOND_US).astype(np.int64), pulses.earliest_us[head])
    end = pulses.scanned_from_us[tail] + (volume[tail] / rate * SECOND_US).astype(np.int64)
    end = np.maximum(np.minimum(end, at[tail]), start + 1)
    return Bursts(start, end, running=bool(at[tail[-1]] == pulses.last_seen_us))


def weighted_quantile(values: Floats, weights: Floats, share: float) -> float:
    """Return the lowest value that is not exceeded for a share of the weight."""
    if np.all(weights == weights[0]):
        place = _reached(np.cumsum(weights), share)
        return float(np.partition(values, place)[place])
    order = np.argsort(values, kind="stable")
    return float(values[order[_reached(np.cumsum(weights[order]), share)]])


def _reached(running: Floats, share: float) -> int:
    return int(np.searchsorted(running, share * running[-1], side="left").clip(0, running.size - 1))
