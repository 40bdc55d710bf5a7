"""Which of the two held pressures a stretch belongs to, seen over the whole past.

Deriving decides day by day and cannot look far back: a day on which only one of the two levels is visited may be
named after the wrong valve. A lone level that lies where the other valve stood on the days about it is that valve's.
"""

import numpy as np

from nightgauge.detect.history import Floats, History
from nightgauge.detect.past import median
from nightgauge.statistics.medians import row_medians

_LEAST_DAYS = 3
"""Days that make a level known. House choice, as for other references."""
_SAME_KPA = 3.4
"""Half a psi: a held pressure is the same from day to day to within its noise. House choice."""
_LEAST_APART_KPA = 13.8
"""Levels nearer than 2 psi are not told apart by where they lie: droop and noise reach that far. House choice."""
_NEAR = 0.25
"""Share of their distance within which a level is the other valve's. House choice: a drift passes the middle first."""


def hold_and_clip(history: History) -> tuple[Floats, Floats]:
    """Return the hours of the oil valve's hold and of the gas valve's clip, each under its right name. [kPag]"""
    oil, gas = history.hour("oil_hold_kpag"), history.hour("gas_clip_kpag")
    wrong_days = _is_of_the_gas_valve(_by_day(oil), _by_day(gas))
    wrong = np.repeat(wrong_days, 24)[: len(oil)] & np.isfinite(oil)
    return np.where(wrong, np.nan, oil), np.where(wrong, oil, gas)


def _by_day(hours: Floats) -> Floats:
    """Return the medians of days counted from the first hour on."""
    padded = np.concatenate((hours, np.full(-len(hours) % 24, np.nan)))
    return row_medians(padded.reshape(-1, 24))


def daily_hold_and_clip(history: History) -> tuple[Floats, Floats]:
    """Return the same for the vessel's days. [kPag]"""
    oil, gas = history.day("oil_hold_kpag"), history.day("gas_clip_kpag")
    wrong = _is_of_the_gas_valve(oil, gas)
    return np.where(wrong, np.nan, oil), np.where(wrong, oil, gas)


def _is_of_the_gas_valve(oil: Floats, gas: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return the days whose lone oil hold lies where the gas valve clips."""
    both = np.isfinite(oil) & np.isfinite(gas)
    alone = np.isfinite(oil) & ~np.isfinite(gas)
    if not alone.any() or int(np.isfinite(gas).sum()) < _LEAST_DAYS:
        return np.zeros(len(oil), dtype=bool)
    near = _SAME_KPA
    if int(both.sum()) >= _LEAST_DAYS and median(gas[both]) - median(oil[both]) >= _LEAST_APART_KPA:
        near = _NEAR * (median(gas[both]) - median(oil[both]))
    elif int(alone.sum()) > int(np.isfinite(gas).sum()):
        # Mostly the oil valve's: then it is the gas valve that was named once in a while.
        return np.zeros(len(oil), dtype=bool)
    return np.asarray(alone & (np.abs(oil - _nearest(gas)) < near))


def _nearest(values: Floats) -> Floats:
    """Return each day's value, or that of the nearest day that has one."""
    known = np.flatnonzero(np.isfinite(values))
    days = np.arange(len(values))
    right = np.clip(np.searchsorted(known, days), 0, len(known) - 1)
    left = np.maximum(right - 1, 0)
    nearer = np.where(np.abs(known[left] - days) <= np.abs(known[right] - days), known[left], known[right])
    return values[nearer]
