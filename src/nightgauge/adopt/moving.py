"""Which tags move together: correlations of all pairs on coarse grids, as multiples of what chance gives.

Three looks at each tag: its value against the last hours, its change from minute to minute, and its half-hourly mean
against the last days. What comes every day at the same hour is taken out first: afternoons are common to all vessels.
Chance is measured, not assumed: the same pairs with one side moved in time by days and odd hours. So a tag that swings
slowly, of which two weeks hold few swings, needs a larger correlation than one that is never the same.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.adopt.readings import Floats, Matrix

_DAY_MIN = 1440
_BASE_MIN = 360
"""A value is seen against its mean over so long: longer than a dump cycle, shorter than a day. House choice. [min]"""
_COARSE_MIN = 10
"""The mean itself is slow and is reckoned in steps of this. House choice. [min]"""
_SLOW_MIN = 30
_SLOW_BASE_D = 4
"""Half-hourly means are seen against four days: wells off for hours or a day stand out, drifts do not. House choice."""
_SLOW_COUNTS = 0.6
"""What the slow look counts beside the others: a drift or one odd day makes pairs that two weeks cannot tell from
chance. House choice."""
_EVEN = 0.2
"""Share of a correlation that the lesser half of the time has at least, where tags move together all the time: a meter
that ran for a fifth of the time still passes. House choice."""
_ONE_HALF = 0.4
"""What a correlation counts that comes from one half of the time alone. House choice."""
_CLIP = 5.0
"""Deviations beyond so many of the tag's own are cut: one wild hour shall not make a pair. House choice."""
_LEAST_NOISE = 0.3
"""A tag's chance correlations are taken as at least this share of the fleet's: of a tag that hardly moves, chance is
not well known. House choice."""
_SHIFTS_D = (3.09, 5.43)
"""How far one side is moved to measure chance: days and odd hours. House choice. [d]"""


@dataclass(frozen=True)
class Looks:
    """Three looks at each tag, each row of mean 0 and length 1, so that products are correlations."""

    value: Floats
    change: Floats
    slow: Floats


@dataclass(frozen=True)
class Together:
    """How much each pair moves together, (tags, tags), in multiples of chance."""

    looks: Looks
    strength: Floats
    """Largest over the looks, without sign."""


def looks_of(values: Matrix) -> Looks:
    """Return the three looks at tags given minute by minute, NaN where nothing is known."""
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    # The day first: at both ends the mean of the last hours has one side only, and would leave a part of it.
    centred = np.where(known, filled - _mean(filled, known), 0.0)
    detrended = _without_base(_without_day(centred, _DAY_MIN), known, _COARSE_MIN, _BASE_MIN)
    change = np.diff(values, axis=1, prepend=np.nan)
    change = _smoothed(np.where(np.isfinite(change), change, 0.0))
    slow, slow_known = _means(filled, known, _SLOW_MIN)
    slow = _without_base(slow, slow_known, 1, _SLOW_BASE_D * _DAY_MIN // _SLOW_MIN)
    slow = _without_day(slow, _DAY_MIN // _SLOW_MIN)
    return Looks(_unit(detrended), _unit(change), _unit(slow))


def joined(looks: list[Looks]) -> Looks:
    """Return the looks of several blocks of tags as one."""
    return Looks(*(np.concatenate([getattr(one, name) for one in looks]) for name in ("value", "change", "slow")))


def together(looks: Looks) -> Together:
    """Return how much each pair of tags moves together."""
    pairs = (
        (looks.value, looks.value, _DAY_MIN, 1.0),
        (looks.change, looks.change, _DAY_MIN, 1.0),
        (looks.value, looks.change, _DAY_MIN, 1.0),
        (looks.slow, looks.slow, _DAY_MIN // _SLOW_MIN, _SLOW_COUNTS),
    )
    strength = np.zeros((len(looks.value), len(looks.value)), np.float32)
    for one, other, per_day, counts in pairs:
        found = _in_both_halves(one, other) * counts / _chance(one, other, per_day)
        np.maximum(strength, found, out=strength)
        if one is not other:
            np.maximum(strength, found.T, out=strength)
    np.fill_diagonal(strength, 0.0)
    return Together(looks, strength)


def _in_both_halves(one: Floats, other: Floats) -> Floats:
    """Return the size of each pair's correlation, less where one half of the time has nearly all of it.

    Tags of one vessel move together all the time; two shut-ins on one day are an accident.
    """
    middle = one.shape[1] // 2
    first, second = one[:, :middle] @ other[:, :middle].T, one[:, middle:] @ other[:, middle:].T
    whole = first + second
    lesser = np.where(whole > 0.0, np.minimum(first, second), -np.maximum(first, second))
    size = np.abs(whole)
    evenness = np.clip(lesser / np.maximum(size, 1e-9) / _EVEN, 0.0, 1.0)
    return np.asarray(size * (_ONE_HALF + (1.0 - _ONE_HALF) * evenness), np.float32)


def _chance(one: Floats, other: Floats, per_day: int) -> Floats:
    """Return the size of correlation that chance gives each pair."""
    squares = np.zeros((len(one), len(other)), np.float32)
    for days in _SHIFTS_D:
        squares += np.square(one @ np.roll(other, int(days * per_day), axis=1).T)
    squares /= len(_SHIFTS_D)
    whole = max(float(np.sqrt(squares.mean())), 1e-6)
    rows = np.maximum(np.sqrt(squares.mean(axis=1)), _LEAST_NOISE * whole)
    columns = np.maximum(np.sqrt(squares.mean(axis=0)), _LEAST_NOISE * whole)
    return np.asarray(rows[:, None] * columns[None, :] / whole, np.float32)


def _mean(filled: Matrix, known: Matrix) -> Matrix:
    return np.asarray(filled.sum(axis=1, keepdims=True) / np.maximum(known.sum(axis=1, keepdims=True), 1))


def _means(filled: Matrix, known: Matrix, every: int) -> tuple[Matrix, Matrix]:
    """Return means over steps of so many columns, and which of them are known."""
    whole = filled.shape[1] // every * every
    count = known[:, :whole].reshape(len(known), -1, every).sum(axis=2)
    total = filled[:, :whole].reshape(len(filled), -1, every).sum(axis=2)
    return total / np.maximum(count, 1), count > 0


def _without_base(filled: Matrix, known: Matrix, every: int, width: int) -> Matrix:
    """Return values less their mean over about `width` columns, 0 where unknown."""
    mean, is_known = _means(filled, known, every) if every > 1 else (filled, known)
    steps = max(width // every, 1)
    padded = np.concatenate([np.zeros((len(mean), 1)), np.cumsum(mean * is_known, axis=1)], axis=1)
    counted = np.concatenate([np.zeros((len(mean), 1)), np.cumsum(is_known, axis=1)], axis=1)
    place = np.arange(mean.shape[1])
    low, high = np.maximum(place - steps // 2, 0), np.minimum(place + steps // 2 + 1, mean.shape[1])
    base = (padded[:, high] - padded[:, low]) / np.maximum(counted[:, high] - counted[:, low], 1.0)
    column = np.minimum(np.arange(filled.shape[1]) // every, mean.shape[1] - 1)
    return np.where(known, filled - base[:, column], 0.0)


def _without_day(values: Matrix, per_day: int) -> Matrix:
    """Return values less what comes each day at the same hour, seen in steps of half an hour."""
    days = values.shape[1] // per_day
    if days < 3:  # a daily course needs more than two days to be told from chance
        return values
    every = max(per_day // 48, 1)
    whole = values[:, : days * per_day].reshape(len(values), days, per_day // every, every)
    # The median of the days, so that one odd day leaves no ghost in the others.
    course = np.repeat(np.median(whole.mean(axis=3), axis=1), every, axis=1)
    return np.asarray(values - course[:, np.arange(values.shape[1]) % per_day])


def _smoothed(change: Matrix) -> Matrix:
    """Return means of three neighbours: scans of two tags of one vessel do not fall on the same second."""
    out = change.copy()
    out[:, 1:] += change[:, :-1]
    out[:, :-1] += change[:, 1:]
    return out


def _unit(values: Matrix) -> Floats:
    deviation = np.sqrt(np.square(values).mean(axis=1, keepdims=True)) + 1e-12
    cut = np.clip(values / deviation, -_CLIP, _CLIP)
    cut -= cut.mean(axis=1, keepdims=True)
    length = np.sqrt(np.square(cut).sum(axis=1, keepdims=True))
    return np.asarray(cut / np.where(length > 0.0, length, 1.0), np.float32)


def correlation(one: npt.NDArray[np.float32], other: npt.NDArray[np.float32]) -> float:
    """Return the correlation of two rows of looks."""
    return float(np.dot(one, other))
