"""Vessels and dump valves too small for the load they really see."""

import itertools
from dataclasses import dataclass

import numpy as np

from nightgauge.detect.costs import held_too_briefly
from nightgauge.detect.history import DAY_S, Floats, History
from nightgauge.detect.past import joined_runs, median
from nightgauge.detect.routing import turned
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.vocabulary.findings import Candidate

KIND = "vessel_undersized"


@dataclass(frozen=True)
class Phase:
    """One way of being short: which hours are short, and the words for it."""

    word: str
    short: Floats
    """Short hours per day."""
    load: str
    retention: str
    required: str


def find(history: History) -> list[Candidate]:
    """Return spans of days in which the trailing week was short for too large a share of its hours with inflow."""
    found = []
    for phase in _phases(history):
        candidate = _phase(history, phase)
        found += candidate
    return found + _valve_too_small(history)


def _phases(history: History) -> list[Phase]:
    if not len(history.day_s):
        return []
    water = Phase("water", history.day("water_short_h"), "water_load_m3_per_day", "water_retention_min",
                  "water_required_min")  # fmt: skip
    oil = Phase("oil", history.day("oil_short_h"), "oil_load_m3_per_day", "oil_retention_min", "oil_required_min")
    gas = Phase("gas", _gas_short_hours(history), "gas_load_fraction", "gas_load_fraction", "")
    return [phase for phase in (water, oil, gas) if np.isfinite(phase.short).any()]


def _gas_short_hours(history: History) -> Floats:
    load = history.hour("gas_load_fraction")
    edges = np.append(history.day_s, history.until_s)
    starts = np.searchsorted(history.hour_s, edges)
    return np.array(
        [
            float((load[a:b] > 1.0).sum()) if np.isfinite(load[a:b]).any() else np.nan
            for a, b in itertools.pairwise(starts)
        ]
    )


def _trailing(values: Floats, days: int) -> Floats:
    """Return sums over the trailing days; unknown days add nothing."""
    sums = np.concatenate(([0.0], np.cumsum(np.nan_to_num(values))))
    index = np.arange(1, len(sums))
    return sums[index] - sums[np.maximum(index - days, 0)]


def _phase(history: History, phase: Phase) -> list[Candidate]:
    week = round(history.limit(KIND, "over") / DAY_S)
    flowing = np.where(np.isfinite(phase.short), history.day("inflow_h"), np.nan)
    short, hours = _trailing(phase.short, week), _trailing(flowing, week)
    enough = hours >= history.limit(KIND, "least_inflow_time") / 3600.0
    limit = history.limit(KIND, "short_share")
    share = np.where(enough, short / np.maximum(hours, 1.0), np.nan)
    found = []
    # Entered above the limit, left below half of it: a week near the line does not flap.
    over = _with_hysteresis(share, limit, 0.5 * limit)
    for first, stop in joined_runs(over, ~np.isfinite(share), 0):
        found.append(_candidate(history, phase, (first, stop), share))
    return found


def _with_hysteresis(values: Floats, enter: float, leave: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    state, states = False, []
    for value in values:
        if np.isfinite(value):
            state = bool(value > (leave if state else enter))
        states.append(state)
    return np.array(states, dtype=bool)


def _candidate(history: History, phase: Phase, days: tuple[int, int], share: Floats) -> Candidate:
    first, stop = days
    week = round(history.limit(KIND, "over") / DAY_S)
    begin = max(0, first - week + 1)
    flowing = np.maximum(history.day("inflow_h")[begin:stop], 1.0)
    daily = np.nan_to_num(phase.short[begin:stop]) / flowing
    worst = float(np.nanmax(share[first:stop]))
    # Not the first short hour, which a sound week has too, but the first day that is short like the worst week.
    shorts = np.flatnonzero(daily >= max(history.limit(KIND, "short_share"), 0.5 * worst))
    onset = float(history.day_s[begin + (shorts[0] if len(shorts) else 0)])
    is_over = stop < len(share)
    last_short = begin + int(shorts[-1]) if len(shorts) else stop - 1
    last = float(history.day_s[last_short] + DAY_S)
    now = float(share[stop - 1])
    draft = Draft(history, KIND, "vessel")
    draft.confidence = 0.6 + 0.3 * min(1.0, (worst / history.limit(KIND, "short_share") - 1.0) / 3.0)
    draft.severity, draft.ended_s = now, last if is_over else None
    draft.over(float(history.day_s[max(first, stop - week)]), last)
    draft.found(f"hours with inflow in which {phase.word} is short", now, "1", history.limit(KIND, "short_share"))
    span = slice(max(begin, stop - week), stop)
    load, retention = median(history.day(phase.load)[span]), median(history.day(phase.retention)[span])
    if phase.word == "gas":
        draft.found("gas rate against gas capacity", load, "1", 1.0)
        words = f"Gas rate above the gas capacity in {100 * now:.0f} % of the hours with inflow over 7 days"
    else:
        required = median(history.day(phase.required)[span])
        _tell_retention(draft, phase, (load, retention, required))
        at = quantity(history, load, "liquid rate")
        words = f"{phase.word.capitalize()} retention short in {100 * now:.0f} % of the hours with inflow over 7 days"
        words += f": {retention:.3g} min found, {required:.3g} min required, at {at}"
    wells = turned(history, onset, onset + DAY_S)
    for sentence in wells:
        draft.not_because("a vessel that grew smaller", f"{sentence}: the load changed with that")
    if history.vessel.solids_depth_m is None:
        draft.not_because("solids", "depth not known: retention is an upper bound, the vessel may be shorter still")
    draft.not_because("float or interface", "the volume really there was used, not the design")
    tail = f"; no longer since {day_of(history, last)}" if is_over else ""
    why = f" {'; '.join(wells)}." if wells else ""
    return draft.done(f"{words}{tail}.{why}", onset, last if is_over else history.until_s)


def _tell_retention(draft: Draft, phase: Phase, facts: tuple[float, float, float]) -> None:
    load, retention, required = facts
    draft.found(f"{phase.word} retention", 60.0 * retention, "s", 60.0 * required)
    capacity = load * retention / required if required > 0 else float("nan")
    draft.found(f"{phase.word} load", load, "m3/day", capacity)
    if np.isfinite(capacity) and load > capacity and draft.ended_s is None:
        draft.effect = held_too_briefly(phase.word, load, retention, required)


def _valve_too_small(history: History) -> list[Candidate]:
    """Return weeks in which a sound dump valve was open nearly all the time with the interface high."""
    if history.is_throttling or not len(history.day_s):
        return []
    open_s, coverage = history.day("open_s"), history.day("coverage")
    known_s = DAY_S * np.where(coverage >= 0.5, coverage, np.nan)
    share_open = open_s / known_s
    cv = history.day("cv_effective")
    reference = median(cv[: max(3, len(cv) // 2)])
    rated = history.vessel.water_dump_at(history.until).cv
    sound = cv >= 0.8 * (rated if rated is not None else reference)
    high = (share_open > history.limit(KIND, "open_share")) & (history.day("dumps") >= 1)
    over = high & np.isfinite(cv) & sound & (share_open <= 1.05)
    found = []
    for first, stop in joined_runs(over, ~np.isfinite(share_open), 1):
        if stop - first < 3:
            continue
        draft = Draft(history, KIND, "water_dump")
        onset, last = float(history.day_s[first]), min(float(history.day_s[stop - 1] + DAY_S), history.until_s)
        share = median(share_open[first:stop])
        draft.confidence, draft.severity = 0.75, share
        draft.ended_s = last if stop < len(over) - 1 else None
        draft.over(onset, last)
        draft.found("share of time open", share, "1", history.limit(KIND, "open_share"))
        draft.found("effective flow coefficient", median(cv[first:stop]), "", rated if rated is not None else reference)
        draft.not_because("dump_restricted", "the flow coefficient is what it should be")
        words = (
            f"Water dump open {100 * share:.0f} % of the time since {day_of(history, onset)}: too small for the inflow."
        )
        found.append(draft.done(words, onset, last))
    return found
