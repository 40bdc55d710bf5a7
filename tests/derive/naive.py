"""Slow twins of what derive does at once: plain loops, written from the definitions alone."""

import math


def known_integral(samples, start, end, hold, max_gap, until):
    """Integral and known time over [start, end) of samples (time, value or None), by walking pairs in small steps."""
    area = known = 0.0
    for k, (time, value) in enumerate(samples):
        if value is None:
            continue
        following = samples[k + 1] if k + 1 < len(samples) else None
        if hold == "line":
            if following is None or following[1] is None or following[0] - time > max_gap:
                continue
            stop, at_stop = following
        else:
            stop = following[0] if following is not None else until
            if stop - time > max_gap:
                continue
            at_stop = value
        a, b = max(time, start), min(stop, end)
        if b <= a:
            continue
        slope = (at_stop - value) / (stop - time)
        area += (b - a) * (value + slope * (0.5 * (a + b) - time))
        known += b - a
    return area, known


def falls(level, least):
    """Every fall of at least `least` as (peak, trough), by walking sample by sample with a running extreme."""
    found = []
    rising, extreme, at = True, level[0], 0
    lowest, highest = level[0], level[0]
    peak = None
    for k, value in enumerate(level):
        lowest, highest = min(lowest, value), max(highest, value)
        if rising:
            if value > extreme:
                extreme, at = value, k
            elif extreme - value >= least:
                peak, rising, extreme, at = at, False, value, k
        elif value < extreme:
            extreme, at = value, k
        elif value - extreme >= least:
            found.append((peak, at))
            peak, rising, extreme, at = None, True, value, k
    if peak is not None:
        found.append((peak, -1))
    return found


def switch_dumps(samples):
    """Openings and shuttings of a switch without gaps, by comparing each sample with the one before."""
    found, before, opened = [], None, None
    for time, value in samples:
        if before == 0.0 and value == 1.0:
            opened = time
        if before == 1.0 and value == 0.0:
            found.append((opened, time))
            opened = None
        before = value
    if opened is not None:
        found.append((opened, None))
    return found


def quantile_of_steps(pieces, share):
    """The lowest value that is not exceeded for a share of the time, of (length, value) pieces."""
    total = sum(length for length, _ in pieces)
    wanted = math.ceil(share * total)
    running = 0
    for length, value in sorted(pieces, key=lambda piece: piece[1]):
        running += length
        if running >= wanted:
            return value
    raise AssertionError("shares lie between 0 and 1")
