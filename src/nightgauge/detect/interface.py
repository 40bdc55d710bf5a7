"""The held interface, drifted or stepped: opening and closing level together, or the level a throttling dump holds."""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.history import DAY_S, HOUR_S, Floats, History
from nightgauge.detect.load import water_loads, without_load
from nightgauge.detect.past import blocks, first_weeks, median, per_well, spread
from nightgauge.detect.shifts import BLOCK_S, Rules, Shift, find_shifts
from nightgauge.detect.wording import Draft, day_of, duration, quantity
from nightgauge.detect.working import working
from nightgauge.vocabulary.findings import Candidate

DRIFT, STEP = "interface_setpoint_drift", "interface_setpoint_step"
LARGE_STEP_M = 0.1016
"""A step of 4 in and more moves a tenth of an 8 ft vessel's height to the other phase. [m] House choice."""


SETTING_LEAST_M = 0.0762
"""Departure from the setting of field.toml that is told while there is no past: 3 in, more than a float's arm and the
density of the day make. [m] Common practice, no source."""


@dataclass(frozen=True)
class Held:
    """The held interface point by point. [s since 1970, m]"""

    seconds: Floats
    level: Floats
    gap: Floats
    """Opening less closing level; NaN where the dump throttles."""


def held(history: History) -> Held:
    """Return the middle of each dump's trips, or the hourly mean where the dump throttles."""
    if history.is_throttling:
        seconds = history.hour_s + HOUR_S / 2
        level = np.where(working(history), history.mean("interface_level"), np.nan)
        # A float in its band stands higher with more water to pass; that is no moved setting.
        level = without_load(history, level, first_weeks(history, np.isfinite(level)), water_loads(history))
        level = per_well(level, history.well, first_weeks(history, np.isfinite(level)))
        return Held(seconds, level, np.full(len(level), np.nan))
    dumps = history.dumps
    gap = dumps.opening - dumps.closing
    middle = (dumps.opening + dumps.closing) / 2.0
    # A dump by hand opens far below the trip and drains far below it: it says nothing of the setting.
    usual, scatter = median(gap), spread(gap)
    odd = np.abs(gap - usual) > max(0.5 * usual, 6.0 * scatter) if np.isfinite(usual) else np.zeros(len(gap), bool)
    return Held(dumps.opened, np.where(odd, np.nan, middle), gap)


def setting_m(history: History, at_s: float) -> float | None:
    """Return the interface that field.toml says is held."""
    dump = history.vessel.water_dump_at(history.when(at_s))
    if dump.holds_m is not None:
        return dump.holds_m
    if dump.opens_at_m is not None and dump.closes_at_m is not None:
        return (dump.opens_at_m + dump.closes_at_m) / 2.0
    return None


def find(history: History) -> list[Candidate]:
    """Return drifts and steps of the held interface."""
    points = held(history)
    ends, values = blocks(points.seconds, points.level, history.until_s, BLOCK_S)
    if not len(ends):
        return []
    rules = Rules(
        least=history.limit(DRIFT, "least_move"),
        deviations=history.limit(DRIFT, "deviations"),
        reference_s=history.limit(DRIFT, "reference_time"),
        settled_s=history.limit(STEP, "settled_time"),
        setting=setting_m(history, float(ends[0])),
        setting_least=SETTING_LEAST_M,
    )
    return [_candidate(history, shift, rules) for shift in find_shifts(ends, values, rules)]


def _candidate(history: History, shift: Shift, rules: Rules) -> Candidate:
    kind = DRIFT if shift.shape == "drift" else STEP
    draft = Draft(history, kind, "water_dump")
    size, span_s = abs(shift.size), shift.last_s - shift.onset_s
    sure = size / max(rules.least, rules.deviations * shift.scatter)
    draft.confidence = 0.45 + 0.2 * min(2.0, sure) + 0.05 * min(1.0, span_s / (4 * DAY_S))
    if shift.by_setting:
        draft.confidence = min(draft.confidence, 0.6)
    draft.severity = size
    draft.ended_s, draft.settled = shift.ended_s, shift.steady
    draft.priority = "medium" if kind == DRIFT or (size >= LARGE_STEP_M and not shift.is_restored) else "low"
    if shift.by_setting:
        draft.priority = "low"
    draft.over(shift.onset_s, shift.last_s)
    draft.found("held interface", shift.found, "m", shift.reference)
    draft.found("scatter from day to day", shift.scatter, "m", None)
    _other_explanations(draft, shift)
    return draft.done(_words(history, shift, kind), shift.onset_s, shift.last_s)


def _other_explanations(draft: Draft, shift: Shift) -> None:
    why = "the level alone cannot tell them apart: a sight-glass reading will"
    if draft.history.meter is not None:
        why = "volume per dump hardly changes near half full, so the meter does not decide: a sight-glass reading will"
    draft.not_because("instrument_drift", why)
    if draft.kind == DRIFT:
        draft.not_because(STEP, f"a ramp fits better than a step (misfit {100 * shift.fit_ratio:.0f} % of the step's)")
    else:
        draft.not_because(DRIFT, f"a step fits better than a ramp (misfit {100 * shift.fit_ratio:.0f} % of the ramp's)")


def _words(history: History, shift: Shift, kind: str) -> str:
    size = quantity(history, abs(shift.size), "length")
    way = "risen" if shift.size > 0 else "sunk"
    now, before = quantity(history, shift.found, "length"), quantity(history, shift.reference, "length")
    against = "set in field.toml (no past yet)" if shift.by_setting else "before"
    if kind == DRIFT:
        spent = duration(max(HOUR_S, shift.last_s - shift.onset_s))
        text = f"Held interface has {way} {size} in {spent}: now {now}, {before} {against}"
    else:
        text = (
            f"Held interface moved at once by {size} on {day_of(history, shift.onset_s)}: now {now}, {before} {against}"
        )
    if shift.steady:
        return f"{text}; taken as the new setting."
    return f"{text}; back since {day_of(history, shift.ended_s)}." if shift.ended_s is not None else f"{text}."
