"""Stuck floats of throttling dumps: the level leaves its band and travel or flow do not answer."""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.costs import water_to_the_oil
from nightgauge.detect.history import HOUR_S, Floats, History, Mask
from nightgauge.detect.inflow import flow_hours, inflow_over
from nightgauge.detect.past import first_weeks, joined_runs, median, spread
from nightgauge.detect.wording import Draft, duration, moment, quantity
from nightgauge.detect.working import working
from nightgauge.vocabulary.findings import Candidate

CLOSED, OPEN, LEAK = "float_stuck_closed", "float_stuck_open", "dump_leaking"
_NEARLY_SHUT = 0.3
"""Travel against usual below which a valve tries to shut. House choice."""
_LEAST_REST_H, _AT_REST = 4, 0.1
"""Hours and share of the band that tell a level at rest. House choice: noise and load move it by less."""
_BOTTOM = 0.5
"""Share of the held level below which the water side runs empty. House choice: no one sets an interface so low."""
_SLOWLY = 0.2
"""Share of the band by which the level of the two days before lies low where a seat is being cut. House choice: a
jammed float finds the level where it was held."""
_ON_ITS_WAY = 0.3
"""Share of the band by which a sinking level has left the held one. House choice: beyond noise and load."""
_DEFAULT_BAND_M = 0.1016
"""Band where field.toml sets none: 4 in is an ordinary float's travel. [m] Common practice, no source."""
_SAGGED = 0.95
"""Share of the held pressure below which it has begun to sag. House choice: beyond droop and noise."""
_FAST_FALL_H = 4
"""Hours in which an open valve empties the water side: retention of these vessels is minutes to an hour or two."""
_WEIR_MARGIN_M = 0.0127
"""Half an inch below the weir counts as at it. [m] House choice: a reading's error."""


@dataclass(frozen=True)
class State:
    """A throttling dump hour by hour, each NaN where not known."""

    level: Floats
    flow: Floats
    """Water flow against its reference. [1]"""
    travel: Floats
    """Position, or open share by the switch, against its reference. [1]"""
    pressure: Floats
    """Vessel pressure against its reference. [1]"""
    held: float
    band: float
    margin: float
    works: Mask


def find(history: History) -> list[Candidate]:
    """Return the stuck floats of a throttling dump."""
    if not history.is_throttling or not len(history.hour_s):
        return []
    state = state_of(history)
    closed, opened = _closed_hours(history, state), _open_hours(history, state)
    unknown = ~(np.isfinite(state.level) | np.isfinite(state.flow) | np.isfinite(state.travel))
    least = max(1.0, history.limit(CLOSED, "least_time") / HOUR_S)
    found: list[Candidate] = []
    for kind, hours in ((CLOSED, closed), (OPEN, opened)):
        for first, stop in joined_runs(hours, unknown, 2):
            if stop - first < least:
                continue
            # A seat that has once leaked the vessel down does it again; a float does not jam and mend itself.
            leaks = kind == OPEN and (_sank_slowly(state, first) or any(c.kind == LEAK for c in found[-1:]))
            if kind == OPEN and (_rests(state, (first, stop)) or (leaks and _still_regulates(state, (first, stop)))):
                continue
            if leaks:
                found.append(_leak(history, (first, stop), state))
            else:
                found.append(_candidate(history, kind, (first, stop), state))
    return found


def _sank_slowly(state: State, first: int) -> bool:
    """Return whether the level took hours on its way down: a seat that is cut, not a float that jams."""
    if state.travel[first] < _NEARLY_SHUT:
        # A valve that is nearly shut while water leaves and the level sinks leaks, whatever came before.
        return True
    days_before = state.level[max(0, first - 48) : first]
    if np.isfinite(days_before).sum() >= 12 and state.held - median(days_before) > _SLOWLY * state.band:
        return True
    on_its_way = 0
    while on_its_way < first and state.held - state.level[first - 1 - on_its_way] > _ON_ITS_WAY * state.band:
        on_its_way += 1
    return on_its_way > _FAST_FALL_H


def _rests(state: State, run: tuple[int, int]) -> bool:
    """Return whether the level has come to rest above the outlet: a jammed valve lets it run down, a moved one not."""
    first, stop = run
    here = state.level[first + 1 : stop]
    here = here[np.isfinite(here)]
    if len(here) < _LEAST_REST_H or median(here) < _BOTTOM * state.held:
        return False
    half = len(here) // 2
    return abs(median(here[half:]) - median(here[:half])) < _AT_REST * state.band


def _still_regulates(state: State, run: tuple[int, int]) -> bool:
    """Return whether the valve holds a level, only a lower one: then its setting or the reading has moved.

    Through a seat that passes more than comes in the level goes down to the outlet; one that passes less leaves the
    valve nearly shut.
    """
    first, stop = run
    bottom = median(state.level[first:stop]) < _BOTTOM * state.held
    return not bottom and not median(state.travel[first:stop]) < _NEARLY_SHUT


def _leak(history: History, run: tuple[int, int], state: State) -> Candidate:
    first, stop = run
    begin = _left_band(state, first, OPEN)
    below = state.held - state.level
    while begin > 0 and below[begin - 1] > 0.5 * _ON_ITS_WAY * state.band:
        begin -= 1
    onset, end = float(history.hour_s[begin]), min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
    draft = Draft(history, LEAK, "water_dump")
    draft.ended_s = end if int(np.isfinite(state.level[stop:]).sum()) >= 24 else None
    draft.confidence, draft.severity = 0.75, 1.0
    draft.over(onset, end)
    level, passed = median(state.level[first:stop]), median(state.flow[first:stop])
    draft.found("interface", level, "m", state.held)
    draft.found("flow against usual", passed, "1", None)
    draft.not_because(OPEN, "the level sank over a day and more, or the valve was nearly shut")
    draft.not_because("less water coming in", "water goes on leaving at its usual rate")
    words = f"Interface has sunk to {quantity(history, level, 'length')} since {moment(history, onset)}"
    words += f" ({quantity(history, state.held, 'length')} held before) while water goes on leaving: the dump leaks"
    return draft.done(f"{words}.", onset, end)


def state_of(history: History) -> State:
    """Return the hours of a throttling dump against its own past, or its settings where there is none."""
    level = history.mean("interface_level")
    reference = first_weeks(history, np.isfinite(level))
    settings = history.vessel.water_dump_at(history.until)
    held, scatter = median(level[reference]), spread(level[reference])
    if reference.sum() < 24 and settings.holds_m is not None:
        held, scatter = settings.holds_m, 0.0
    band = settings.band_m if settings.band_m is not None else _DEFAULT_BAND_M
    flow = np.full(len(level), np.nan)
    if history.meter is not None:
        flow = _relative(flow_hours(history, history.meter), history)
    travel = history.mean("water_dump_position")
    if not np.isfinite(travel).any():
        travel = history.mean("water_dump_open")
    return State(level, flow, _relative(travel, history),
                 _relative(history.mean("vessel_pressure"), history), held, band,
                 max(0.6 * band, 6.0 * scatter, history.limit(CLOSED, "above_opening")), working(history))  # fmt: skip


def _relative(values: Floats, history: History) -> Floats:
    usual = median(values[first_weeks(history, np.isfinite(values))])
    return values / usual if usual > 0 else np.full(len(values), np.nan)


def _answers(state: State) -> tuple[Floats, bool]:
    """Return what shows the valve's answer, flow before travel, and whether there is any."""
    answer = np.where(np.isfinite(state.flow), state.flow, state.travel)
    return answer, bool(np.isfinite(answer).any())


def _closed_hours(history: History, state: State) -> Mask:
    answer, has_answer = _answers(state)
    weir = history.vessel.normal_oil_level_m
    top = state.held + 1.3 * state.band
    if weir is not None and weir - _WEIR_MARGIN_M > state.held + state.margin:
        top = min(top, weir - _WEIR_MARGIN_M)
    with np.errstate(invalid="ignore"):
        high, very_high = state.level > state.held + state.margin, state.level > top
        no_answer = answer < 0.35
        # A steady well stream leaves the vessel with a level that is not read: silence of the valve alone.
        has_level = bool(np.isfinite(state.level).any())
        silent = (answer < 0.1) & state.works & _wells_flow(history) & (not has_level)
    if not has_answer:
        return np.asarray(very_high)
    return np.asarray((high & no_answer) | (very_high & ~(answer > 0.8)) | silent)


def _open_hours(history: History, state: State) -> Mask:
    answer, has_answer = _answers(state)
    with np.errstate(invalid="ignore"):
        low, very_low = state.level < state.held - state.margin, state.level < state.held - 1.3 * state.band
        passes = (answer > 0.6) | (state.flow > 0.6)
    if not has_answer:
        return np.asarray(_fell_fast(very_low, state) & state.works)
    return np.asarray((low & passes) & state.works)


def _fell_fast(low: Mask, state: State) -> Mask:
    """Return the low hours of runs into which the level fell within hours, ahead of the pressure.

    Without inflow a shut valve's slack lets the level sink too, but slowly, and the pressure sags from the first
    hour on. Through an open valve the pressure goes only when the level has come down to the outlet.
    """
    result = np.zeros(len(low), dtype=bool)
    for first, stop in joined_runs(low, ~np.isfinite(state.level), 2):
        at_once = first > 0 and state.level[first - 1] > state.held - 0.5 * state.band
        before = state.level[max(0, first - _FAST_FALL_H) : first]
        soon = np.isfinite(before).any() and np.nanmax(before) > state.held - 0.5 * state.band
        sagged = first > 0 and state.pressure[first - 1] < _SAGGED
        if at_once or (soon and not sagged):
            result[first:stop] = low[first:stop]
    return result


def _wells_flow(history: History) -> Mask:
    """Return the hours in which gas, oil or a held pressure say that wells produce."""
    pressure = history.mean("vessel_pressure")
    usual = median(pressure[first_weeks(history, np.isfinite(pressure))])
    with np.errstate(invalid="ignore"):
        return np.asarray(pressure >= history.limit(CLOSED, "pressure_held") * usual)


def _candidate(history: History, kind: str, run: tuple[int, int], state: State) -> Candidate:
    first, stop = run
    begin = _left_band(state, first, kind)
    end = min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
    draft = Draft(history, kind, "water_dump")
    later = np.isfinite(state.level[stop:]) | np.isfinite(state.flow[stop:]) | np.isfinite(state.travel[stop:])
    draft.ended_s = end if later.any() else None
    answer, has_answer = _answers(state)
    level_known = bool(np.isfinite(state.level[first:stop]).any())
    draft.priority, draft.severity = "high", 1.0
    draft.confidence = (0.85 if has_answer and level_known else 0.7) + 0.1 * min(1.0, (stop - first) / 12.0)
    onset = float(history.hour_s[begin])
    draft.over(onset, end)
    level, passed = median(state.level[first:stop]), median(answer[first:stop])
    words = f"Water dump {'no longer answers' if kind == CLOSED else 'stands open'}"
    words += f" since {moment(history, onset)} ({duration(end - onset)})"
    if level_known:
        draft.found("interface", level, "m", state.held)
        words += (
            f": interface at {quantity(history, level, 'length')}, held at {quantity(history, state.held, 'length')}"
        )
    if has_answer and np.isfinite(passed):
        draft.found("flow or travel against usual", passed, "1", 1.0)
        words += f", flow or travel at {100 * passed:.0f} % of usual"
    _explain(draft, kind, (onset, end))
    if draft.ended_s is not None:
        words += f"; over since {moment(history, end)}"
    return draft.done(f"{words}.", onset, end)


def _left_band(state: State, first: int, kind: str) -> int:
    """Return the hour in which the level began to leave: back while it is on its way."""
    index = first
    sign = 1.0 if kind == CLOSED else -1.0
    while index > 0 and sign * (state.level[index - 1] - state.held) > 0.15 * state.band and first - index < 24:
        index -= 1
    return index


def _explain(draft: Draft, kind: str, span: tuple[float, float]) -> None:
    history = draft.history
    inflow = inflow_over(history, *span)
    if kind == CLOSED:
        draft.not_because("wells shut in", "the level rose, or pressure and flow went on")
        load = median(history.hour("water_load_m3_per_day")[history.hours_between(span[0] - 7 * 86400.0, span[0])])
        if load > 0 and draft.ended_s is None:
            draft.effect = water_to_the_oil(load)
        draft.also.append("water_in_oil")
    else:
        draft.not_because("large slug", "the level stayed low")
        draft.also.append("oil_in_water")
        if inflow.pressure_share < 0.9:
            draft.also.append("gas_in_liquid")
    draft.not_because("interface_setpoint_step", "a moved setpoint keeps the valve answering")
