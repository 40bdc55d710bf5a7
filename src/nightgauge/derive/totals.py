"""What an outlet meter counted: totalisers freed of roll-over, resets and backward pulses; rates summed up."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.known import SECOND_US, Flags, Floats, Times, Track

DAY_S = 86400.0


@dataclass(frozen=True)
class Counted:
    """Volume counted from one usable sample of a meter to the next, sorted by time."""

    from_us: Times
    to_us: Times
    volume_m3: Floats

    def per_hour(self, edges_us: Times) -> Floats:
        """Return the volume of each bin between edges; a step belongs to the time at which it was seen. [m3]"""
        bins = np.searchsorted(edges_us, self.to_us, side="left") - 1
        inside = (bins >= 0) & (bins < edges_us.size - 1)
        volume = np.bincount(bins[inside], weights=self.volume_m3[inside], minlength=edges_us.size - 1)
        return volume.astype(np.float64)

    def from_to(self, start_us: Times, end_us: Times) -> Floats:
        """Return the volume that passed from each start to each end, NaN where that is not known. [m3]

        Taken from the last sample at or before the start to the first at or after the end, so that flow seen
        one scan late is not lost.
        """
        if self.from_us.size == 0:
            return np.full(start_us.shape, np.nan)
        first = np.searchsorted(self.from_us, start_us, side="right") - 1
        last = np.searchsorted(self.to_us, end_us, side="left")
        known = (first >= 0) & (last < self.to_us.size)
        first, last = np.maximum(first, 0), np.minimum(last, self.to_us.size - 1)
        running = np.concatenate([[0.0], np.cumsum(self.volume_m3)])
        # Where samples lie too far apart, increments do not touch: something between is not known.
        broken = np.concatenate([[0], np.cumsum(self.from_us[1:] != self.to_us[:-1])])
        known &= (broken[first] == broken[last]) & (start_us >= self.from_us[first]) & (end_us <= self.to_us[last])
        return np.where(known, np.maximum(running[last + 1] - running[first], 0.0), np.nan)

    def wholly_within(self, start_us: Times, end_us: Times) -> tuple[Floats, Times]:
        """Return volume [m3] and time [us] of the increments that lie wholly in each [start, end]."""
        first = np.searchsorted(self.from_us, start_us, side="left")
        last = np.searchsorted(self.to_us, end_us, side="right")
        last = np.maximum(last, first)
        running = np.concatenate([[0.0], np.cumsum(self.volume_m3)])
        length = np.concatenate([[0], np.cumsum(self.to_us - self.from_us)])
        return running[last] - running[first], length[last] - length[first]


NOTHING = Counted(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0))


def counted(track: Track, raw_unit: float = 0.0) -> Counted:
    """Return what a totaliser counted.

    Parameters
    ----------
    track : Track
        Of a totaliser. [m3]
    raw_unit : float
        One unit of the register, which rolls over at a power of ten of it; 0 where not known. [m3]

    Notes
    -----
    A fall to less than half is a reset or a roll-over; a smaller fall is a pulse counted backwards if it is no
    larger than two of the increments usual here, and then what follows makes it good, else a register set by hand.

    """
    if track.time_us.size < 2 or track.start_us.size == 0:
        return NOTHING
    joined = _joined(track)
    from_us, to_us = track.time_us[:-1][joined], track.time_us[1:][joined]
    before, after = track.value[:-1][joined], track.value[1:][joined]
    change = after - before
    usual = float(np.max(change, initial=0.0))
    fallen = change < 0.0
    restarted = fallen & (after < 0.5 * before)
    step = np.where(restarted, np.where(after <= 2.0 * usual, after, 0.0), change)
    if raw_unit > 0.0:
        to_the_top = _capacity(before, raw_unit) - before
        step = np.where(restarted & (to_the_top <= 2.0 * usual), to_the_top + after, step)
    step = np.where(fallen & ~restarted & (change < -2.0 * usual), 0.0, step)
    running = np.maximum.accumulate(np.concatenate([[0.0], np.cumsum(step)]))
    return Counted(from_us, to_us, np.diff(running))


def _capacity(value: Floats, raw_unit: float) -> Floats:
    """Return the power of ten of the raw unit at which a register of this reading rolls over."""
    return raw_unit * 10.0 ** np.ceil(np.log10(np.maximum(value / raw_unit, 1.0)))


def _joined(track: Track) -> Flags:
    """Return which usable samples follow the one before closely enough, bad ones between or not.

    The difference of two readings is right whatever happened between them; only a long gap, in which a
    register may have been reset unseen, is not counted over.
    """
    longest = np.max(track.end_us - track.start_us, initial=0)
    return np.asarray(np.diff(track.time_us) <= max(longest, 600 * SECOND_US))


def summed(track: Track, scan_us: int) -> Counted:
    """Return what a rate meter passed.

    A meter that reports exceptions stored nothing while the flow stood within its dead band, so a long interval
    was flat until the last scan before its end: the line to the next value is drawn over that scan only.
    """
    length_us = track.end_us - track.start_us
    ramp_s = np.minimum(length_us, scan_us) / SECOND_US
    flat_s = length_us / SECOND_US - ramp_s
    volume = (track.start_value * flat_s + 0.5 * (track.start_value + track.end_value) * ramp_s) / DAY_S
    return Counted(track.start_us, track.end_us, np.maximum(volume, 0.0))
