"""Which of the two held pressures a stretch belongs to, seen over the whole past.

Deriving decides day by day and cannot look far back: a day on which only one of the two levels is visited may be
named after the wrong valve. Days that visit both tell where each level lies; a lone level that lies at the other
valve's is that valve's.
"""

import numpy as np

from nightgauge.detect.history import Floats, History
from nightgauge.detect.past import median

_BOTH_DAYS = 3
"""Days with both levels before they are told apart by where they lie. House choice, as for other references."""
_LEAST_APART_KPA = 13.8
"""Levels nearer than 2 psi are not told apart by where they lie: droop and noise reach that far. House choice."""
_NEAR = 0.25
"""Share of their distance within which a level is the other valve's. House choice: a drift passes the middle first."""


def hold_and_clip(history: History) -> tuple[Floats, Floats]:
    """Return the hours of the oil valve's hold and of the gas valve's clip, each under its right name. [kPag]"""
    oil, gas = history.hour("oil_hold_kpag"), history.hour("gas_clip_kpag")
    days = np.arange(len(oil)) // 24
    count = int(days[-1]) + 1 if len(days) else 0
    oil_day = np.array([median(oil[days == day]) for day in range(count)])
    gas_day = np.array([median(gas[days == day]) for day in range(count)])
    wrong = _is_of_the_gas_valve(oil_day, gas_day)[days] & np.isfinite(oil) if count else np.zeros(0, dtype=bool)
    return np.where(wrong, np.nan, oil), np.where(wrong, oil, gas)


def daily_hold_and_clip(history: History) -> tuple[Floats, Floats]:
    """Return the same for the vessel's days. [kPag]"""
    oil, gas = history.day("oil_hold_kpag"), history.day("gas_clip_kpag")
    wrong = _is_of_the_gas_valve(oil, gas)
    return np.where(wrong, np.nan, oil), np.where(wrong, oil, gas)


def _is_of_the_gas_valve(oil: Floats, gas: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return the days whose lone oil hold lies where the gas valve clips."""
    both = np.isfinite(oil) & np.isfinite(gas)
    if int(both.sum()) < _BOTH_DAYS:
        return np.zeros(len(oil), dtype=bool)
    hold, clip = median(oil[both]), median(gas[both])
    if clip - hold < _LEAST_APART_KPA:
        return np.zeros(len(oil), dtype=bool)
    with np.errstate(invalid="ignore"):
        return np.asarray(~np.isfinite(gas) & (np.abs(oil - clip) < _NEAR * (clip - hold)))
