"""Seat and trim of throttling dumps: what leaves against what the valve's travel passes by the vessel's own past."""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.history import HOUR_S, Floats, History, Mask
from nightgauge.detect.past import blocks, first_weeks, joined_runs, median, quantile, spread
from nightgauge.detect.throttling import State, state_of
from nightgauge.detect.wording import Draft, moment
from nightgauge.vocabulary.findings import Candidate

LEAK, RESTRICTED = "dump_leaking", "dump_restricted"
_NARROW = 0.1
"""Scatter of the travel's logarithm below which the past says nothing of the trim. House choice."""
_QUICK, _EQUAL_PERCENTAGE = 0.5, 3.0
"""Powers of the travel that flow goes with, of the flattest and the steepest of common trims. Common practice, no
source."""
_SWINGS = 2.0
"""Swing of the travel within the hour, against the larger ones of the past, from which it swings. House choice."""
_LEAST_HOURS = 96
"""Hours of travel and flow in the past that make a valve known. House choice: four days of ordinary work."""
_BLOCK_S = 6 * HOUR_S
"""Length of a block whose median is one point, as for held values (`shifts`)."""
_OF_HOURS = 0.5
"""Scatter of such medians against that of hours: at most that, by the root of six."""
_RESTRICTED_S = 24 * HOUR_S
"""How long less has to pass: a day, so that a plugged strainer is told and a surge is not. House choice."""
_SOUND_LEAST = 0.5
"""Share of the usual travel below which too little of the trim is open to tell a restriction. House choice."""


@dataclass(frozen=True)
class _Run:
    """A run of blocks out of line."""

    onset_s: float
    end_s: float
    is_over: bool
    value: float
    """Median of its last day."""


def find(history: History) -> list[Candidate]:
    """Return leaks and restrictions of a throttling dump whose travel and flow are both known."""
    # A switch on a throttling dump says that it is off its seat, not how far.
    if not history.is_throttling or "water_dump_position" not in history.signals or not len(history.hour_s):
        return []
    state = state_of(history)
    both = np.isfinite(state.flow) & (state.travel > 0) & state.works
    reference = first_weeks(history, both)
    if int(reference.sum()) < _LEAST_HOURS:
        return []
    most, least = _passed(history, state, reference)
    usable, open_enough = both & ~_swings(history), state.travel > _SOUND_LEAST
    return [
        *_leaks(history, np.where(usable, state.flow - most, np.nan), reference),
        *_restrictions(history, np.where(usable & open_enough, state.flow / least, np.nan), reference),
    ]


def _leaks(history: History, excess: Floats, reference: Mask) -> list[Candidate]:
    """Return spans in which more water left than the travel ever passed."""
    limit = max(
        history.limit(LEAK, "leak_share"), history.limit(LEAK, "deviations") * _OF_HOURS * spread(excess[reference])
    )
    found = []
    for run in _runs(history, excess, limit, history.limit(LEAK, "least_time")):
        draft = Draft(history, LEAK, "water_dump")
        draft.ended_s = run.end_s if run.is_over else None
        draft.confidence, draft.severity = 0.75 + 0.15 * min(1.0, run.value / limit - 1.0), run.value
        draft.over(run.onset_s, run.end_s)
        draft.found("water beyond what the travel passes, against usual flow", run.value, "1", 0.0)
        draft.not_because("more water coming in", "then the valve would have opened further")
        words = f"Water leaves beyond what the dump's travel ever passed, by {100 * run.value:.0f} % of the usual flow,"
        found.append(draft.done(f"{words} since {moment(history, run.onset_s)}.", run.onset_s, run.end_s))
    return found


def _restrictions(history: History, share: Floats, reference: Mask) -> list[Candidate]:
    """Return spans in which the travel passed less than it ever did."""
    missing = 1.0 - share
    limit = max(1.0 - history.limit(RESTRICTED, "coefficient_share"),
                history.limit(RESTRICTED, "deviations") * _OF_HOURS * spread(missing[reference]))  # fmt: skip
    found = []
    for run in _runs(history, missing, limit, _RESTRICTED_S):
        draft = Draft(history, RESTRICTED, "water_dump")
        draft.ended_s = run.end_s if run.is_over else None
        draft.confidence, draft.severity = 0.75 + 0.15 * min(1.0, run.value / limit - 1.0), run.value
        draft.over(run.onset_s, run.end_s)
        draft.found("flow against what the travel passed before", 1.0 - run.value, "1", 1.0)
        draft.not_because("less water coming in", "then the valve would have closed further")
        draft.not_because("interface_setpoint_step", "a moved setting leaves travel and flow in step")
        words = f"Water dump passes {100 * (1.0 - run.value):.0f} % of what its travel did before"
        found.append(draft.done(f"{words}, since {moment(history, run.onset_s)}.", run.onset_s, run.end_s))
    return found


def _runs(history: History, values: Floats, limit: float, least_s: float) -> list[_Run]:
    """Return runs of six-hour medians above the limit."""
    ends, medians = blocks(history.hour_s + HOUR_S / 2, values, history.until_s, _BLOCK_S)
    with np.errstate(invalid="ignore"):
        over = medians > limit
    return [
        _Run(
            float(ends[first] - _BLOCK_S),
            min(float(ends[stop - 1]), history.until_s),
            int(np.isfinite(medians[stop:]).sum()) >= 2,
            median(medians[first:stop][-4:]),
        )
        for first, stop in joined_runs(over, ~np.isfinite(medians), 1)
        if (stop - first) * _BLOCK_S >= least_s
    ]


def _passed(history: History, state: State, reference: Mask) -> tuple[Floats, Floats]:
    """Return the most and the least flow, against usual, that the travel passes by the past at today's drop. [1]

    A power of the travel serves every trim: a half for quick opening, one for linear, two and more for equal
    percentage. A past that hardly moved does not show which; the most and the least allow for every trim.
    """
    drop = _pressure_drop(history)
    usual = median(drop[reference])
    root = np.sqrt(np.where(drop > 0, drop, usual) / usual) if usual > 0 else np.ones(len(drop))
    flow = np.maximum(state.flow[reference] / root[reference], 1e-3)
    low, high = _QUICK, _EQUAL_PERCENTAGE
    log_travel, log_flow = np.log(state.travel[reference]), np.log(flow)
    if spread(log_travel) > _NARROW:
        power = float(np.polyfit(log_travel, log_flow, 1)[0])
        low, high = np.clip(0.8 * power, _QUICK, 2.0), np.clip(1.25 * power, 1.0, _EQUAL_PERCENTAGE)
    at = state.travel / median(state.travel[reference])
    at = np.where(at > 0, at, np.nan)
    usual_flow = median(flow) * root
    return usual_flow * np.where(at < 1.0, at**low, at**high), usual_flow * np.where(at < 1.0, at**high, at**low)


def _pressure_drop(history: History) -> Floats:
    """Return the drop over the dump valve by the hour, liquid head left out; NaN where no pressure is known. [kPa]"""
    after = history.mean("water_downstream_pressure")
    written = history.vessel.water_dump_at(history.until).downstream_pressure_kpag
    return np.asarray(history.mean("vessel_pressure") - np.where(np.isfinite(after), after, written or 0.0))


def _swings(history: History) -> Mask:
    """Return the hours in which the travel swings: what passes on the mean then is not what the mean travel passes."""
    swing = history.signal("water_dump_position", "deviation")
    usual = quantile(swing[first_weeks(history, np.isfinite(swing))], 0.9)
    with np.errstate(invalid="ignore"):
        return np.asarray(swing > _SWINGS * usual)
