"""The margin between the gas and the oil valve: lost when the clip of the peaks comes near the oil hold."""

import numpy as np

from nightgauge.detect.history import DAY_S, HOUR_S, History
from nightgauge.detect.past import joined_runs, median
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.vocabulary.findings import Candidate

KIND = "back_pressure_margin_lost"


def find(history: History) -> list[Candidate]:
    """Return spans of days on which gas clip less oil hold was below the least margin."""
    if not len(history.day_s):
        return []
    oil, gas = history.day("oil_hold_kpag"), history.day("gas_clip_kpag")
    margin = _carried(gas) - _carried(oil)
    visited = np.isfinite(gas) | np.isfinite(oil)
    least = history.limit(KIND, "margin")
    with np.errstate(invalid="ignore"):
        low = visited & (margin < least)
    days = history.limit(KIND, "least_time") / DAY_S
    known = visited & np.isfinite(margin)
    found = []
    for first, stop in joined_runs(low, ~known, 0):
        if int(low[first:stop].sum()) < days:
            continue
        begin = float(history.day_s[first])
        is_over = bool(known[stop:].any())
        end = min(float(history.day_s[stop - 1] + DAY_S), history.until_s)
        now, before = median(margin[first:stop][-3:]), median(margin[:first][-14:])
        draft = Draft(history, KIND, "gas_valve")
        draft.confidence = 0.7 + 0.2 * min(1.0, (stop - first) / 4.0)
        draft.severity, draft.ended_s = least - now, end if is_over else None
        draft.over(begin, end)
        draft.found("gas clip less oil hold", now, "kPa", before if np.isfinite(before) else least)
        draft.not_because(
            "instrument_drift", "one transmitter reads both levels: its drift leaves their difference alone"
        )
        words = f"Gas valve is set only {quantity(history, now, 'pressure difference')} above the oil valve"
        words += f" since {day_of(history, begin)}"
        words += f", {quantity(history, before, 'pressure difference')} before" if np.isfinite(before) else ""
        tail = f"; over since {day_of(history, end)}" if is_over else ""
        found.append(draft.done(f"{words}{tail}.", begin, max(end, begin + HOUR_S)))
    return found


def _carried(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return values with unknown days filled from at most three days before: a level not visited has not moved."""
    filled = values.copy()
    for lag in (1, 2, 3):
        shifted = np.concatenate((np.full(lag, np.nan), values[:-lag])) if len(values) > lag else values * np.nan
        filled = np.where(np.isfinite(filled), filled, shifted)
    return filled
