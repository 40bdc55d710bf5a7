"""Dumps from the level alone: the fast falls of a sawtooth."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.dumps import NO_DUMPS, NO_TIMES, UNSEEN, Dumps, Evidence
from nightgauge.derive.known import Track
from nightgauge.derive.spans import SECOND_US, Flags, Floats, Span, Times, joined
from nightgauge.derive.turning import Shape, Timed, least_fall, noise, timed, turns, without_spikes
from nightgauge.field.settings import WaterDump

_LEAST_GAP = 0.01
"""Share of the vessel's height below which a sawtooth is none. House choice: floats do not trip within a finger's
breadth; it keeps the noise of a still level from reading as dumps where no gap is set."""
_FAR_BELOW = 0.5
"""Share of the gap below the closing level at which a level stands because the valve is open. House choice: a float
that drags closes a little late; the outlet lies far lower."""
_ENOUGH = 3
"""Falls that tell where the dump closes, where that is not set."""
_BRIDGE_US = 120 * SECOND_US
"""The level is followed over so short an unknown stretch. [us] House choice: two slow scans."""


def from_level(track: Track, dump: WaterDump, height_m: float | None = None) -> Evidence:
    """Return the dumps that the level shows: its fast falls.

    Parameters
    ----------
    track : Track
        The level that the dump's float rides on. [m]
    dump : WaterDump
        Its settings, for the size of the sawtooth; without them it is measured.
    height_m : float, optional
        Inside height of the vessel. [m]

    """
    known = joined(track.start_us, track.end_us)
    saw = _sawtooth_m(track, dump, height_m)
    shape = Shape.of(track.value)
    swing = noise(shape, saw)
    least = least_fall(swing, saw)
    if least > saw and (dump.opens_at_m is not None or swing > _least_gap_m(height_m)):
        # The noise hides the sawtooth, or it has fewer than three samples a tooth.
        return Evidence("level", NO_DUMPS, (NO_TIMES, NO_TIMES))
    time_us, kept = track.time_us, without_spikes(track.value, track.time_us, saw)
    if not kept.all():
        time_us, shape = time_us[kept], Shape.of(track.value[kept])
    gap = saw if dump.opens_at_m is not None else np.inf
    stretches = _stretches(known, time_us, shape)
    falls = [_NO_FALLS, *(_falls(*one, least, gap) for one in stretches)]
    together = _Falls(*(np.concatenate([getattr(f, name) for f in falls]) for name in _Falls.__dataclass_fields__))
    opened = together.start_us
    return Evidence("level", Dumps(opened, _shut_us(together, dump, saw), np.zeros_like(opened)), known)


def _stretches(known: Span, time_us: Times, shape: Shape) -> list[tuple[Times, Shape]]:
    """Return the samples of each stretch that is known but for short holes."""
    starts, ends = joined(known[0], known[1] + _BRIDGE_US)
    lows, highs = np.searchsorted(time_us, starts), np.searchsorted(time_us, ends - _BRIDGE_US + 1)
    parts = [slice(low, high) for low, high in zip(lows.tolist(), highs.tolist(), strict=True)]
    if parts == [slice(0, time_us.size)]:
        return [(time_us, shape)]
    return [(time_us[part], Shape.of(shape.level[part])) for part in parts]


@dataclass(frozen=True)
class _Falls:
    """What is seen of each fall of a level."""

    start_us: Times
    end_us: Times
    leaves_us: Times
    last_seen_us: Times
    is_over: Flags
    """Whether the level has clearly risen again."""
    bottom_m: Floats


_NO_FALLS = _Falls(NO_TIMES, NO_TIMES, NO_TIMES, NO_TIMES, np.zeros(0, dtype=bool), np.zeros(0))


def _falls(time_us: Times, shape: Shape, least: float, gap_m: float) -> _Falls:
    found, level = turns(shape, least, gap_m), shape.level
    when = timed(time_us, level, found) if found.peak.size else Timed(NO_TIMES, NO_TIMES, NO_TIMES)
    bottom = level[found.trough]
    if found.peak.size and found.trough[-1] < 0:
        bottom[-1] = level[found.peak[-1] :].min()
    last = np.full(found.peak.size, time_us[-1] if time_us.size else 0)
    # A fall from the very first sample on had begun before.
    start = np.where(found.peak > 0, when.start_us, UNSEEN)
    return _Falls(start, when.end_us, when.leaves_us, last, found.trough >= 0, bottom)


def _shut_us(falls: _Falls, dump: WaterDump, saw_m: float) -> Times:
    """Return when the valve shut: when the level reached its bottom, if that is about where the dump closes.

    A level that then stands for as long as it fell says so too: nothing comes in. One that stands far below the
    closing level says the contrary: the valve is open, and was until the level rises again.
    """
    began = np.where(falls.start_us == UNSEEN, falls.end_us, falls.start_us)
    stood = falls.last_seen_us - falls.end_us > falls.end_us - began
    closing = dump.closes_at_m if dump.closes_at_m is not None else _usual(falls.bottom_m)
    too_low = falls.bottom_m < closing - _FAR_BELOW * saw_m
    shut = np.where(falls.is_over | (stood & ~too_low), falls.end_us, UNSEEN)
    return np.where(too_low & falls.is_over, falls.leaves_us, shut).astype(np.int64)


def _usual(bottoms_m: Floats) -> float:
    return float(np.median(bottoms_m)) if bottoms_m.size >= _ENOUGH else float("-inf")


def _sawtooth_m(track: Track, dump: WaterDump, height_m: float | None) -> float:
    """Return the height of the sawtooth: the gap as set, else the range of the level, if that is one at all. [m]"""
    if dump.opens_at_m is not None and dump.closes_at_m is not None:
        return dump.opens_at_m - dump.closes_at_m
    if track.value.size == 0:
        return _least_gap_m(height_m)
    low, high = np.quantile(track.value, [0.01, 0.99])
    return max(float(high - low), _least_gap_m(height_m))


def _least_gap_m(height_m: float | None) -> float:
    return _LEAST_GAP * (height_m if height_m is not None else 1.0)
