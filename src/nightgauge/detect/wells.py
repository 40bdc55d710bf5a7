"""Wells by their tests: accepted tests of a well on its test vessel that fall out of the scatter of its own record.

A test is held against the well's own tests before it, as a ratio (rates scatter by a share of themselves). Two tests
or three in a row that are out together confirm each other; one alone has to be far out. A slow fall over the whole
record is told as such. Where most wells of the vessel have moved by about the same share it is the vessel's meter: no
well is told, and the night says that it could not judge them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from nightgauge.detect.history import History
from nightgauge.detect.well_records import CONFIRM, KIND, Fall, Rate, Record, records
from nightgauge.detect.well_words import candidate
from nightgauge.statistics.few import Shift
from nightgauge.statistics.trend import mann_kendall, theil_sen
from nightgauge.vocabulary.findings import Candidate
from nightgauge.vocabulary.well_tests import RECORD, REPEATS

_EACH = 1.0
"""Deviations that every one of them has to be out by, so that one wild test does not carry the others. House choice."""
_SETTLED = 6
"""Tests that stay out before they are the well's record: half of a record. House choice."""
_LEAST_TREND = 8
"""Tests of a trend: of seven, even a fall without exception is only 3.0 deviations of the test of ranks."""
_BACK = 0.5
"""Part of a fall above which a test is nearer to the record than to the fall. House choice: the middle."""
_LEAST_BEFORE, _LEAST_OTHERS = 3, 2
"""Tests before that make another well's record, and other wells that make a meter: one may be chance. House choices."""
_ROUNDING = 1e-9
"""Of sums of logarithms; far below any fall."""
_ONE_SHARE = 0.5
"""How far others' share may lie from a well's own, as a part of it, to be one move of the meter. House choice."""


@dataclass(frozen=True)
class _Lines:
    """The limits of the kind."""

    fall: float
    """Largest logarithm of a fall worth telling, below 0."""
    deviations: float
    alone: float
    tests: int


def find(history: History) -> list[Candidate]:
    """Return wells whose latest tests fall out of their own record, and falls that are over."""
    return [
        candidate(history, record, fall, others)
        for record, fall, others in _falls(history)
        if not _is_the_meter(others)
    ]


def moved_together(history: History) -> list[str]:
    """Return the wells whose latest tests fell out of their record by about the share by which most others moved."""
    return [
        record.well
        for record, fall, others in _falls(history)
        if fall.ended_by is None and fall.is_confirmed and _is_the_meter(others)
    ]


def _falls(history: History) -> list[tuple[Record, Fall, list[bool]]]:
    """Return each well's falls, with whether the other wells moved alike."""
    return history.shared("falls of wells", lambda: list(_found(history)))


def _found(history: History) -> Iterator[tuple[Record, Fall, list[bool]]]:
    everyone = records(history)
    lines = _Lines(
        float(np.log1p(-history.limit(KIND, "least_fall"))),
        history.limit(KIND, "deviations"),
        history.limit(KIND, "deviations_alone"),
        max(2, round(history.limit(KIND, "tests"))),
    )
    for record in everyone:
        for fall in _of_well(record, lines):
            yield record, fall, _others(everyone, record, fall)


def _of_well(record: Record, lines: _Lines) -> list[Fall]:
    """Return the falls of a well, those of several rates at one time as the surest of them."""
    walked = [_walk(record, name, lines) for name in record.told_by]
    falls = [fall for falls, _ in walked for fall in falls]
    if not any(fall.ended_by is None for fall in falls):
        falls += [slow for name, (_, past) in zip(record.told_by, walked, strict=True)
                  for slow in _slow(record, name, past, lines)]  # fmt: skip
    kept: list[Fall] = []
    for fall in sorted(falls, key=lambda one: (one.moved.deviations, one.name)):
        if not any(set(fall.out) & set(other.out) for other in kept):
            kept.append(fall)
    return sorted(kept, key=lambda one: one.out[0])


def _walk(record: Record, name: str, lines: _Lines) -> tuple[list[Fall], list[int]]:
    """Return the falls of one rate in order of time, and the tests that are the record at the end."""
    rate = record.rate(name)
    known = [] if rate is None else [int(place) for place in rate.known]
    falls: list[Fall] = []
    past: list[int] = []
    at = 0
    while rate is not None and at < len(known):
        fall = _fall(rate, tuple(past[-RECORD:]), known[at:], lines, name)
        if fall is None:
            past.append(known[at])
            at += 1
            continue
        falls.append(fall)
        if fall.is_settled:
            past = list(fall.out)
        at = len(known) if fall.ended_by is None else known.index(fall.ended_by)
    return falls, past[-RECORD:]


def _fall(rate: Rate, past: tuple[int, ...], late: list[int], lines: _Lines, name: str) -> Fall | None:
    """Return the fall that begins with the first of the late tests, None if none does."""
    if len(past) < lines.tests:
        return None
    moved = _confirmed(rate, past, late, lines)
    if moved is None:
        return None
    y, _ = rate.logs(late)
    is_back = y > moved.before + _BACK * moved.size
    # One test that is back may be the wild one; two in a row are not.
    ends = [i for i in range(1, len(late) - 1) if is_back[i] and is_back[i + 1]]
    stop = ends[0] if ends else len(late)
    out = tuple(place for place, back in zip(late[:stop], is_back, strict=False) if not back)
    if len(out) >= _SETTLED and late.index(out[_SETTLED - 1]) + 1 < len(late):
        after = late[late.index(out[_SETTLED - 1]) + 1]
        return Fall(name, past, out[:_SETTLED], moved, ended_by=after, is_settled=True)
    return Fall(name, past, out, moved, ended_by=late[stop] if ends else None)


def _confirmed(rate: Rate, past: tuple[int, ...], late: list[int], lines: _Lines) -> Shift | None:
    """Return the shift of the first late tests if it is told: two or three together, or the last one far out."""
    # A record's mean, outliers taken out, lies nowhere above its highest test: most tests need no more than this.
    nearest = float(rate.logs(past)[0].max()) + lines.fall + _ROUNDING
    for count in range(2, min(CONFIRM, len(late)) + 1):
        first = late[:count]
        moved = rate.moved(past, first) if float(np.mean(rate.logs(first)[0])) <= nearest else None
        if moved is not None and moved.size <= lines.fall:
            each = (rate.logs(first)[0] - moved.before) / moved.scatter
            if moved.deviations <= -lines.deviations and bool((each <= -_EACH).all()):
                return moved
    if len(late) == 1:
        moved = rate.moved(past, late)
        if moved is not None and moved.size <= lines.fall and moved.deviations <= -lines.alone:
            return moved
    return None


def _slow(record: Record, name: str, past: list[int], lines: _Lines) -> list[Fall]:
    """Return the fall of a record that goes down as a whole, by the ranks of its tests."""
    rate = record.rate(name)
    if rate is None or len(past) < _LEAST_TREND:
        return []
    y, own = rate.logs(past)
    times = record.begun[past]
    ranks = mann_kendall(y, times)
    line = theil_sen(y, times)
    fitted = line.intercept + line.slope * times
    size = float(fitted[-1] - fitted[0])
    scatter = max(float(np.std(y - fitted, ddof=2)), float(np.sqrt(np.mean(own**2))), REPEATS)
    if ranks.z > -lines.deviations or size > lines.fall or size > -2.0 * scatter:
        return []
    error = (line.upper - line.lower) / (2.0 * 1.96) * float(times[-1] - times[0])
    is_in = np.flatnonzero(y >= fitted[0] - 2.0 * scatter)
    onset = min(int(is_in[-1]) + 1 if len(is_in) else 0, len(past) - 1)
    if onset < _LEAST_BEFORE:
        return []
    moved = Shift(float(fitted[0]), float(fitted[-1]), size, error, scatter, ranks.z)
    return [Fall(name, tuple(past[:onset]), tuple(past[onset:]), moved, is_slow=True)]


def _others(everyone: list[Record], record: Record, fall: Fall) -> list[bool]:
    """Return for each other well tested before and since whether it moved by about the same share."""
    between_s = (float(record.begun[max(fall.record)]), float(record.begun[fall.out[-1]]))
    if fall.ended_by is None:
        between_s = (between_s[0], np.inf)
    own = _since(record, fall.name, between_s)
    told = []
    for other in everyone:
        theirs = None if other is record else _since(other, fall.name, between_s)
        if own is not None and theirs is not None:
            told.append(abs(theirs - own) <= _ONE_SHARE * abs(own))
    return told


def _since(record: Record, name: str, between_s: tuple[float, float]) -> float | None:
    """Return by what logarithm the last test in a span lies to those up to its start.

    None without enough tests before, or without one in the span.
    """
    rate = record.rate(name)
    if rate is None:
        return None
    begun = record.begun[rate.known]
    before = rate.known[begun <= between_s[0]][-RECORD:]
    since = rate.known[(begun > between_s[0]) & (begun <= between_s[1])]
    if len(before) < _LEAST_BEFORE or not len(since):
        return None
    return float(rate.logs(since[-1:])[0][0] - np.median(rate.logs(before)[0]))


def _is_the_meter(others: list[bool]) -> bool:
    return len(others) >= _LEAST_OTHERS and sum(others) > 0.5 * len(others)
