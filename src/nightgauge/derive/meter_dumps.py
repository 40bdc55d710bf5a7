"""Dumps from an outlet meter alone: bursts of flow."""

from dataclasses import replace

import numpy as np

from nightgauge.derive.bursts import Bursts, bursts
from nightgauge.derive.dumps import ENOUGH, MOSTLY, NO_DUMPS, NO_TIMES, UNSEEN, Dumps, Evidence
from nightgauge.derive.known import Track
from nightgauge.derive.spans import SECOND_US, Flags, Times, complement, is_even, joined, overlap
from nightgauge.derive.totals import Counted, counted, summed

_EVEN = 0.8
"""Share of spacings within 5 % of the median from which a signal is scanned evenly. House choice."""
_SLOW_SCAN_US, _FAST_SCAN_US = 60 * SECOND_US, 10 * SECOND_US
"""A totaliser that reports exceptions is read at least this often, a rate at most so slowly that its flow rises and
falls within it. House choice: a slow and a usual scan."""
_SILENT_SCANS = 10
"""Scans without a reading that are a silence of the totaliser. House choice: an order of magnitude."""
_MORE_THAN_ONE = 1.5
"""Usual dumps that a silence may bring and still be one dump. House choice: half-way to two."""


def meter_of(track: Track, raw_unit: float = 0.0) -> Counted:
    """Return what an outlet meter counted, from a totaliser or from a rate."""
    if track.hold == "step":
        return counted(track, raw_unit, _scan_us(track.time_us, _SLOW_SCAN_US))
    return summed(track, _scan_us(track.time_us, _FAST_SCAN_US))


def _scan_us(time_us: Times, at_most_us: int) -> int:
    """Return how often a meter is read: the spacing of its samples where it is even, else about the shortest. [us]

    A meter that reports exceptions keeps quiet between them, so the spacing of its samples says nothing but that it
    is read at least so often.
    """
    if time_us.size < 3:
        return at_most_us
    spacing = np.diff(time_us)
    if is_even(spacing):
        return int(spacing[0])
    usual = float(np.median(spacing))
    if np.mean(np.abs(spacing - usual) <= 0.05 * usual) >= _EVEN:
        return int(usual)
    return int(np.clip(np.quantile(spacing, 0.05), SECOND_US, at_most_us))


def from_meter(track: Track, metered: Counted) -> Evidence:
    """Return the dumps that an outlet meter shows: bursts of flow between its own high and low level.

    Parameters
    ----------
    track : Track
        A totaliser or a rate.
    metered : Counted
        What it counted.

    """
    found, known = bursts(metered), joined(track.start_us, track.end_us)
    if found is None:
        return Evidence("meter", NO_DUMPS, (NO_TIMES, NO_TIMES))
    unseen = _several_dumps(metered, found)
    if np.any(unseen):
        holes = joined(metered.from_us[unseen], metered.to_us[unseen])
        known = overlap(known, complement(holes, int(known[0][0]), int(known[1][-1])))
        found = bursts(replace(metered, volume_m3=np.where(unseen, 0.0, metered.volume_m3))) or found
    shut = found.end_us.copy()
    if found.running and shut.size:
        shut[-1] = UNSEEN
    dumps = Dumps(found.start_us, shut, np.zeros_like(shut))
    return Evidence("meter", dumps, known, misses=track.hold == "line" and _seen_once(track, found))


def _several_dumps(metered: Counted, found: Bursts) -> Flags:
    """Return which silences of a totaliser hide more than one dump: it went on by more than one is worth.

    A totaliser stands by its last reading for a day, but what it did meanwhile nobody saw.
    """
    nothing = np.zeros(metered.to_us.shape, dtype=bool)
    if not metered.in_steps or not found.start_us.size:
        return nothing
    silent = metered.to_us - metered.from_us > _SILENT_SCANS * metered.scan_us
    if not np.any(silent):
        return nothing
    volumes = metered.through(found.start_us, found.end_us)
    volumes = volumes[~np.isnan(volumes)]
    return silent & (metered.volume_m3 > _MORE_THAN_ONE * np.median(volumes)) if volumes.size else nothing


def _seen_once(track: Track, found: Bursts) -> bool:
    """Return whether a rate that is read now and then mostly shows a dump in one reading: then it missed others."""
    if found.start_us.size < ENOUGH:
        return False
    first = np.searchsorted(track.time_us, found.start_us, side="left")
    last = np.searchsorted(track.time_us, found.end_us, side="right")
    return bool(np.mean(last - first < 2) > MOSTLY)
