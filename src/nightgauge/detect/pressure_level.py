"""Vessel pressure that is not held although wells produce, or comes near the working pressure; gas by the dump."""

from math import isfinite

import numpy as np

from nightgauge.detect.costs import GAS_GONE, gas_by_another_way
from nightgauge.detect.history import DAY_S, HOUR_S, Floats, History, Mask
from nightgauge.detect.inflow import OIL_METERS, flow_hours
from nightgauge.detect.past import joined_runs, median, quantile, spread
from nightgauge.detect.wording import Draft, day_of, duration, moment, quantity
from nightgauge.detect.working import working
from nightgauge.vocabulary.findings import Candidate

_GOING_DOWN_H = 12
"""Hours in which a falling pressure is on its way, and as many to see how it then stands. House choice."""
_SMALL_FALL, GREAT_FALL = 0.75, 0.7
"""Shares of the held pressure above which a fall is no alarm yet, and below which no one turns a spring. House
choice."""
_AT_THE_OUTLET = 0.6
"""Share of the closing level below which the interface may have reached the outlet. House choice: nozzle and vortex."""
_AS_STEADY, _STILL = 2.0, 0.004
"""Wander against that before up to which a pressure is held, and the wander of a reading. [1] House choice."""
NOT_HELD, NEAR_LIMIT, BLOW_BY = "pressure_not_held", "pressure_near_limit", "gas_in_liquid"


def find(history: History) -> list[Candidate]:
    """Return spans of pressure far below what is held, near the working pressure, and dumps that blow gas."""
    return [*_not_held(history), *_near_limit(history), *_blow_by(history)]


def _held_before(history: History, pressure: Floats) -> Floats:
    """Return for each hour the pressure held before: the median of the week that ends two days earlier.

    Two days back, so that a fall over a day or two is seen against what was; a slow drift is followed, and is
    another kind.
    """
    held = np.full(len(pressure), np.nan)
    for day in range(3, int(np.ceil(len(pressure) / 24)) + 1):
        stop = len(pressure) - 24 * (int(np.ceil(len(pressure) / 24)) - day)
        past = pressure[max(0, stop - 9 * 24) : max(0, stop - 2 * 24)]
        if np.isfinite(past).sum() >= 24:
            held[stop - 24 if stop >= 24 else 0 : stop] = median(past)
    return held


def _not_held(history: History) -> list[Candidate]:
    pressure = history.mean("vessel_pressure")
    if not np.isfinite(pressure).any():
        return []
    held = _held_before(history, pressure)
    proof = _inflow_proved(history)
    line = np.minimum(history.limit(NOT_HELD, "held_share") * held, held - history.limit(NOT_HELD, "least_fall"))
    with np.errstate(invalid="ignore"):
        low = pressure < line
    unknown = ~np.isfinite(pressure) | ~np.isfinite(held)
    found = []
    for first, stop in joined_runs(_carried(low, pressure, line), unknown, 1):
        inside = slice(first, stop)
        if stop - first < history.limit(NOT_HELD, "least_time") / HOUR_S or proof[inside].mean() < 0.6:
            continue
        if _is_held_lower(pressure, (first, stop), float(held[first])):
            continue
        found.append(_not_held_candidate(history, (first, stop), pressure, held))
    return found


def _is_held_lower(pressure: Floats, run: tuple[int, int], held: float) -> bool:
    """Return whether the pressure is held as steadily as before, only lower: a spring that was turned.

    What an open valve leaves goes with the square of the flow, and wanders with it.
    """
    first, stop = run
    down = first + _GOING_DOWN_H
    before, now = pressure[max(0, first - 7 * 24) : max(0, first - 6)], pressure[down:stop]
    if np.isfinite(now).sum() < _GOING_DOWN_H:
        # Too early to tell: a great fall is told at once, a small one when it has shown how it stands.
        return bool(median(pressure[first:stop]) > _SMALL_FALL * held)
    if median(now) < GREAT_FALL * held:
        return False
    wander, usual = spread(now) / median(now), spread(before) / median(before)
    return bool(wander <= max(_AS_STEADY * usual, _STILL))


def _carried(low: Mask, pressure: Floats, line: Floats) -> Mask:
    """Return low hours, with the line of a run's beginning kept: a fault that lasts does not become the reference."""
    result = low.copy()
    if not low.any():
        return result
    first, kept = int(np.argmax(low)), float("nan")
    read, lines, is_low = pressure[first:].tolist(), line[first:].tolist(), low[first:].tolist()
    for index, value in enumerate(read):
        if isfinite(kept) and isfinite(value):
            result[first + index] = value < kept
            if not value < kept:
                kept = float("nan")
        elif is_low[index]:
            kept = lines[index]
    return result


def _inflow_proved(history: History) -> Mask:
    """Return the hours in which water, and gas or oil where metered, come in at a good part of the usual."""
    water = flow_hours(history, history.meter) if history.meter is not None else history.hour("dumps")
    streams = [
        _goes_on(history, [water]),
        _goes_on(history, [flow_hours(history, s) for s in ("gas_rate", *OIL_METERS)]),
    ]
    told = [stream for stream in streams if stream is not None]
    if {"vessel_pressure", "inlet_pressure"} <= history.signals and not told:
        # The line's friction is inflow too; `working` has looked at it.
        told = [history.known("inlet_pressure")]
    if not told:
        return np.zeros(len(history.hour_s), dtype=bool)
    return np.asarray(np.logical_and.reduce([*told, working(history)]))


def _goes_on(history: History, flows: list[Floats]) -> Mask | None:
    """Return the hours in which any of the flows is above its share of the usual; None where none is known."""
    share = history.limit(NOT_HELD, "inflow_share")
    going: Mask | None = None
    for flow in flows:
        known = flow[np.isfinite(flow)]
        usual = float(np.mean(known)) if len(known) else float("nan")
        if usual > 0 and len(flow) >= 6:
            smooth = np.convolve(np.nan_to_num(flow), np.ones(6) / 6.0, mode="same")
            here = smooth > share * usual
            going = here if going is None else going | here
    return going


def _not_held_candidate(history: History, run: tuple[int, int], pressure: Floats, held: Floats) -> Candidate:
    first, stop = run
    onset, end = float(history.hour_s[first]), min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
    now, before = median(pressure[first:stop]), float(held[first])
    valve = _passing_valve(history, run)
    draft = Draft(history, NOT_HELD, valve)
    draft.ended_s = end if np.isfinite(pressure[stop:]).any() else None
    draft.confidence = 0.7 + 0.2 * min(1.0, (stop - first) / 24.0)
    draft.severity = before - now
    draft.over(onset, end)
    draft.found("vessel pressure", now, "kPag", before)
    draft.found("time below what is held", end - onset, "s", 0.0)
    draft.not_because("wells shut in", "dumps, meters or gas show that wells produce")
    word = "oil" if valve == "oil_valve" else "gas"
    draft.not_because(f"{valve}_setpoint_step", "the fall is larger than an adjustment")
    if valve == "oil_valve" and draft.ended_s is None:
        draft.effect = gas_by_another_way(history, (onset, end))
    words = (
        f"Vessel pressure at {quantity(history, now, 'pressure')}, {quantity(history, before, 'pressure')} held before,"
    )
    words += f" since {moment(history, onset)} ({duration(end - onset)}) although wells produce:"
    words += f" {word} valve or by-pass passes"
    return draft.done(words + ("." if draft.ended_s is None else f"; over since {day_of(history, end)}."), onset, end)


def _passing_valve(history: History, run: tuple[int, int]) -> str:
    """Return the valve whose stream has grown: gas rate up tells the gas valve, else it is the oil valve."""
    gas = flow_hours(history, "gas_rate")
    here, before = gas[run[0] : run[1]], gas[max(0, run[0] - 7 * 24) : run[0]]
    if np.isfinite(here).any() and np.isfinite(before).any():
        usual = float(np.nanmean(before))
        return "gas_valve" if float(np.nanmean(here)) >= GAS_GONE * usual > 0 else "oil_valve"
    holds_gas = history.vessel.gas_valve_at(history.until).holds_kpag
    holds_oil = history.vessel.oil_valve_at(history.until).holds_kpag
    return "gas_valve" if holds_oil is None and holds_gas is not None else "oil_valve"


def _near_limit(history: History) -> list[Candidate]:
    most = history.vessel.max_working_pressure_kpag
    top = history.signal("vessel_pressure", "p90")
    if most is None or not np.isfinite(top).any():
        return []
    with np.errstate(invalid="ignore"):
        near = top >= history.limit(NEAR_LIMIT, "share") * most
    found = []
    for first, stop in joined_runs(near, ~np.isfinite(top), 3):
        onset, end = float(history.hour_s[first]), min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
        highest = quantile(history.signal("vessel_pressure", "maximum")[first:stop], 1.0)
        draft = Draft(history, NEAR_LIMIT, "vessel")
        draft.priority, draft.confidence, draft.severity = "high", 0.9, highest / most
        draft.ended_s = end if np.isfinite(top[stop:]).any() else None
        draft.over(onset, end)
        draft.found("highest vessel pressure", highest, "kPag", most)
        draft.not_because("single spike", "it stood there for at least a tenth of an hour")
        words = f"Vessel pressure up to {quantity(history, highest, 'pressure')} since {moment(history, onset)},"
        words += f" working pressure {quantity(history, most, 'pressure')}"
        found.append(draft.done(f"{words}.", onset, end))
    return found


def _blow_by(history: History) -> list[Candidate]:
    dumps = history.dumps
    usual = quantile(dumps.sag[: max(20, len(dumps) // 2)], 0.9)
    if len(dumps) < 20 or not np.isfinite(usual):
        return []
    line = max(history.limit(BLOW_BY, "sag_growth") * usual, usual + history.limit(BLOW_BY, "least_sag"))
    with np.errstate(invalid="ignore"):
        over = dumps.sag > line
        # Gas goes by the water outlet when the interface has come down to it; read higher, the wells have stopped.
        over &= ~(dumps.lowest > _AT_THE_OUTLET * median(dumps.closing))
    found = []
    for first, stop in joined_runs(over, ~np.isfinite(dumps.sag), 3):
        if int(over[first:stop].sum()) < history.limit(BLOW_BY, "dumps"):
            continue
        onset = float(dumps.opened[first])
        last_shut = dumps.shut[stop - 1]
        end = float(last_shut) if np.isfinite(last_shut) else history.until_s
        if end - onset > 30 * DAY_S:
            continue
        sag = median(dumps.sag[first:stop])
        draft = Draft(history, BLOW_BY, "vessel")
        draft.priority, draft.confidence, draft.severity = "high", 0.75, sag / max(usual, 1e-9)
        draft.ended_s = end if stop < len(dumps) else None
        draft.over(onset, end)
        draft.found("pressure sag of a dump", sag, "kPa", usual)
        draft.not_because("wells shut in", "the pressure comes back after each dump")
        if draft.ended_s is None:
            draft.effect = gas_by_another_way(history, (onset, end))
        words = f"Vessel pressure sags {quantity(history, sag, 'pressure difference')} with each dump since"
        words += f" {moment(history, onset)}, {quantity(history, usual, 'pressure difference')} is the usual most"
        found.append(draft.done(f"{words}: gas leaves with the water.", onset, end))
    return found
