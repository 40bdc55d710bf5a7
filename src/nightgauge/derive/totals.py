"""What an outlet meter counted: totalisers freed of roll-over, resets and backward pulses; rates summed up."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.known import Track
from nightgauge.derive.spans import SECOND_US, Flags, Floats, Indices, Times, bin_of_each

DAY_S = 86400.0
_CLOSE_US = 600 * SECOND_US
"""Samples no further apart than this follow one another. [us] House choice: ten minutes, ten slow scans."""


@dataclass(frozen=True)
class Counted:
    """Volume counted from one usable sample of a meter to the next, sorted by time."""

    from_us: Times
    to_us: Times
    volume_m3: Floats
    scan_us: int = SECOND_US
    """How often the meter is read."""
    in_steps: bool = True
    """Whether volume came at the ends (a totaliser), not evenly over each stretch (a rate)."""

    def per_hour(self, edges_us: Times) -> Floats:
        """Return the volume of each bin between edges; a step belongs to the time at which it was seen. [m3]"""
        bins = bin_of_each(self.to_us, edges_us, side="left")
        inside = (bins >= 0) & (bins < edges_us.size - 1)
        volume = np.bincount(bins[inside], weights=self.volume_m3[inside], minlength=edges_us.size - 1)
        return volume.astype(np.float64)

    def through(self, opened_us: Times, shut_us: Times) -> Floats:
        """Return the volume that passed while a valve was open, NaN where that is not known. [m3]

        From the last sample at or before the opening to the first at or after the shutting.
        """
        first = np.searchsorted(self.to_us, opened_us, side="right")
        return self._between(first, np.searchsorted(self.to_us, shut_us, side="left") + 1, opened_us, shut_us)

    def after_to_after(self, start_us: Times, end_us: Times) -> Floats:
        """Return the volume from the first sample at or after each start to that of each end; NaN if not known. [m3]

        Stretches that follow one another share no volume and lose none.
        """
        first = np.searchsorted(self.from_us, start_us, side="left")
        last = np.searchsorted(self.to_us, end_us, side="left") + 1
        return self._between(first, last, start_us, end_us)

    def _between(self, first: Indices, last: Indices, start_us: Times, end_us: Times) -> Floats:
        """Return the volume of increments first..last-1, NaN where the stretch is not wholly counted."""
        size = self.to_us.size
        if size == 0:
            return np.full(start_us.shape, np.nan)
        running = np.concatenate([[0.0], np.cumsum(self.volume_m3)])
        # Where samples lie too far apart, increments do not touch: something between is not known.
        broken = np.append(False, self.from_us[1:] != self.to_us[:-1])
        breaks = np.concatenate([[0], np.cumsum(broken)])
        begin, end = np.minimum(first, size - 1), np.clip(last - 1, 0, size - 1)
        known = (last <= size) & (start_us >= self.from_us[0]) & ~broken[begin] & (self.from_us[end] <= end_us)
        first, last = np.minimum(first, size), np.minimum(last, size)
        whole = breaks[last] == breaks[np.minimum(first + 1, size)]
        return np.where(known & (whole | (last <= first)), np.maximum(running[last] - running[first], 0.0), np.nan)

    def wholly_within(self, start_us: Times, end_us: Times) -> tuple[Floats, Times]:
        """Return volume [m3] and time [us] of the increments that lie wholly between each start and its end."""
        first = np.searchsorted(self.from_us, start_us, side="left")
        last = np.searchsorted(self.to_us, end_us, side="right")
        last = np.maximum(last, first)
        running = np.concatenate([[0.0], np.cumsum(self.volume_m3)])
        length = np.concatenate([[0], np.cumsum(self.to_us - self.from_us)])
        return running[last] - running[first], length[last] - length[first]


NOTHING = Counted(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0))


def counted(track: Track, raw_unit: float = 0.0, scan_us: int = SECOND_US) -> Counted:
    """Return what a totaliser counted.

    Parameters
    ----------
    track : Track
        Of a totaliser. [m3]
    raw_unit : float
        One unit of the register, which rolls over at a power of ten of it; 0 where not known. [m3]
    scan_us : int
        How often it is read. [us]

    Notes
    -----
    A fall to less than half is a reset or a roll-over; a smaller fall is a pulse counted backwards if it is no
    larger than two of the increments usual here, and then what follows makes it good, else a register set by hand.

    """
    if track.time_us.size < 2 or track.start_us.size == 0:
        return NOTHING
    from_us, to_us, before, after = track.time_us[:-1], track.time_us[1:], track.value[:-1], track.value[1:]
    joined = _joined(track)
    if not joined.all():
        from_us, to_us, before, after = from_us[joined], to_us[joined], before[joined], after[joined]
    running = np.concatenate([[0.0], np.cumsum(_steps(before, after, raw_unit))])
    return Counted(from_us, to_us, np.diff(np.maximum.accumulate(running)), scan_us)


def _steps(before: Floats, after: Floats, raw_unit: float) -> Floats:
    """Return what a register counted from one reading to the next; below zero where a pulse was counted backwards."""
    change = after - before
    if change.min(initial=0.0) >= 0.0:
        return np.asarray(change)
    usual = float(np.max(change, initial=0.0))
    fallen = change < 0.0
    restarted = fallen & (after < 0.5 * before)
    step = np.where(restarted, np.where(after <= 2.0 * usual, after, 0.0), change)
    if raw_unit > 0.0 and np.any(restarted):
        to_the_top = _capacity(before, raw_unit) - before
        step = np.where(restarted & (to_the_top <= 2.0 * usual), to_the_top + after, step)
    return np.where(fallen & ~restarted & (change < -2.0 * usual), 0.0, step)


def _capacity(value: Floats, raw_unit: float) -> Floats:
    """Return the power of ten of the raw unit at which a register of this reading rolls over."""
    return raw_unit * 10.0 ** np.ceil(np.log10(np.maximum(value / raw_unit, 1.0)))


def _joined(track: Track) -> Flags:
    """Return which usable samples follow the one before closely enough, bad ones between or not.

    The difference of two readings is right whatever happened between them; only a long gap, in which a
    register may have been reset unseen, is not counted over.
    """
    spacing_us = np.diff(track.time_us)
    close = spacing_us <= _CLOSE_US
    if close.all():
        return np.asarray(close)
    longest = np.max(track.end_us - track.start_us, initial=0)
    return np.asarray(spacing_us <= max(longest, _CLOSE_US))


def summed(track: Track, scan_us: int) -> Counted:
    """Return what a rate meter passed.

    A meter that reports exceptions stored nothing while the flow stood within its dead band, so a long interval
    was flat until the last scan before its end: the line to the next value is drawn over that scan only. Noise about
    zero counts both ways, so that it does not add up to a leak.
    """
    length_us = track.end_us - track.start_us
    ramp_s = np.minimum(length_us, scan_us) / SECOND_US
    flat_s = length_us / SECOND_US - ramp_s
    volume = (track.start_value * flat_s + 0.5 * (track.start_value + track.end_value) * ramp_s) / DAY_S
    return Counted(track.start_us, track.end_us, volume, scan_us, in_steps=False)
