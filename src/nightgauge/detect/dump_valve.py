"""The dump valve's seat and trim: water that passes while it is shut, flow that has fallen while it is open."""

import numpy as np

from nightgauge.detect.costs import water_past_the_shut_valve
from nightgauge.detect.history import DAY_S, HOUR_S, Cycles, Floats, History
from nightgauge.detect.past import joined_runs, median, spread
from nightgauge.detect.windows import episodes, reference_windows, windows_of
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.statistics.medians import row_medians
from nightgauge.vocabulary.findings import Candidate

LEAK, RESTRICTED = "dump_leaking", "dump_restricted"
_LEAST_SHUT_S = 2 * HOUR_S
"""Shut time with the meter known that a block of a day needs before its leak is judged. House choice."""


_EDGE_ERROR = 1.5
"""Times what the edges of the dumps usually leave on the shut side, from which it is a leak. House choice: how far
that goes with valve, meter and scan changes by half."""
_LEAST_WINDOWS = 3
"""Windows in which less passes: scale and sand do not come and go, a day with the wells off does. House choice."""
_METER_ALONE = 2.0
"""Times the share that a leak has to reach where the meter alone says when the dump is shut. House choice: the rest of
a pulse falls on the wrong side of a shutting."""


def find(history: History) -> list[Candidate]:
    """Return leaking and restricted dump valves of a snap dump."""
    if history.is_throttling:
        return []
    return [*_leaking(history), *_restricted(history)]


def _blocks(history: History, values: Floats, hours: int) -> Floats:
    """Return sums over blocks of hours counted back from the end; unknown hours add nothing."""
    lead = len(values) % hours
    return np.asarray(np.nan_to_num(values[lead:]).reshape(-1, hours).sum(axis=1))


def _lasting(leak: Floats, shut: Floats, hours: int) -> tuple[Floats, Floats]:
    """Return leak and shut time of blocks without the third of their hours that leaked most.

    A cut seat leaks in every hour. A switch that says nothing for some hours leaves its last word standing, and the
    dumps of those hours look like one leak.
    """
    lead = len(leak) % hours
    leaks, shuts = (np.nan_to_num(x[lead:]).reshape(-1, hours) for x in (leak, shut))
    with np.errstate(invalid="ignore", divide="ignore"):
        order = np.argsort(np.where(shuts > 0, leaks / shuts, 0.0), axis=1)
    kept = order[:, : hours - hours // 3]
    return np.take_along_axis(leaks, kept, 1).sum(axis=1), np.take_along_axis(shuts, kept, 1).sum(axis=1)


def _block_medians(values: Floats, hours: int) -> Floats:
    table = values[len(values) % hours :].reshape(-1, hours)
    return row_medians(table)


def _by_meter_alone(history: History) -> bool:
    """Return whether the meter that shows a leak is also all that says when the valve is shut."""
    evidence = history.dumps.evidence
    return bool(len(evidence) and np.mean(evidence == "meter") > 0.5)


def _leaking(history: History) -> list[Candidate]:
    hours = 12
    if history.meter is None or len(history.hour_s) < 6 * hours:
        return []
    leak, shut = _lasting(history.hour("leak_m3"), history.hour("shut_s"), hours)
    load = history.hour("water_load_m3_per_day")
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(shut >= _LEAST_SHUT_S, leak / shut * DAY_S, np.nan)
    known = np.isfinite(rate)
    reference = np.asarray(known & (np.cumsum(known) <= max(1.0, min(28.0, known.sum() / 2.0))))
    if reference.sum() < 4:
        return []
    usual, scatter = median(rate[reference]), spread(rate[reference])
    share = history.limit(LEAK, "leak_share")
    if _by_meter_alone(history):
        if usual > share * median(load):
            # Dumps that run into each other: the meter does not say when the valve is shut.
            return []
        share *= _METER_ALONE
    # What the edges of a dump leave on the shut side goes with the number of dumps, and a leak is a share of the load.
    dumps = _blocks(history, history.hour("dumps"), hours)
    edges = usual * np.maximum(1.0, np.nan_to_num(dumps / max(median(dumps[reference]), 1.0)))
    loads = np.fmax(median(load), _block_medians(load, hours))
    line = edges + np.maximum(history.limit(LEAK, "deviations") * scatter, np.nan_to_num(share * loads))
    line = np.maximum(line, _EDGE_ERROR * edges)
    starts = history.hour_s[len(history.hour_s) % hours :: hours]
    with np.errstate(invalid="ignore"):
        over, half = known & (rate > line), known & (rate > 0.5 * (edges + line))
    found = []
    for first, stop in joined_runs(over, ~known, 1):
        if (stop - first) * hours * HOUR_S < history.limit(LEAK, "least_time") or over[first:stop].sum() < 2:
            continue
        begin = first
        while begin > 0 and half[begin - 1]:
            begin -= 1
        onset, end = float(starts[begin]), min(float(starts[stop - 1] + hours * HOUR_S), history.until_s)
        found.append(_leak_candidate(history, (onset, end), rate[first:stop], (usual, median(load)),
                                     is_over=bool(known[stop:].sum() >= 2)))  # fmt: skip
    return found


def _compared(dumps: Cycles, *, by_flow: bool) -> str:
    """Return at what the flows of open dumps were compared, as far as pressures are known."""
    if not by_flow:
        return " for the same pressure drop"
    return " for the same gas pressure" if np.isfinite(dumps.pressure).mean() >= 0.5 else ", pressure not known,"


def _leak_candidate(
    history: History, span: tuple[float, float], rates: Floats, usual: tuple[float, float], *, is_over: bool
) -> Candidate:
    onset, end = span
    rate, (sound, load) = median(rates[-4:]), usual
    draft = Draft(history, LEAK, "water_dump")
    share = (rate - sound) / load if load > 0 else float("nan")
    draft.confidence = 0.7 + 0.2 * min(1.0, len(rates) / 6.0) + 0.05 * min(1.0, share if np.isfinite(share) else 0.0)
    draft.severity, draft.ended_s = rate - sound, end if is_over else None
    draft.over(onset, end)
    draft.found("water leaving while the dump is shut", rate, "m3/day", sound)
    if np.isfinite(share):
        draft.found("share of the water load", share, "1", 0.0)
    draft.not_because("less water coming in", "the water that leaves in a day has not fallen, only the dumps have")
    draft.not_because("meter creep", "it would have been there before")
    if not is_over:
        draft.effect = water_past_the_shut_valve(rate, sound)
    words = f"Water leaves at {quantity(history, rate, 'liquid rate')} while the dump is shut"
    words += f" since {day_of(history, onset)}, {quantity(history, max(sound, 0.0), 'liquid rate')} before"
    return draft.done(f"{words}{'; over since ' + day_of(history, end) if is_over else ''}.", onset, end)


def _restricted(history: History) -> list[Candidate]:
    dumps = history.dumps
    if len(dumps) < 20:
        return []
    values, name, by_flow = dumps.cv, "effective flow coefficient", False
    if np.isfinite(values).mean() < 0.3:
        with np.errstate(invalid="ignore", divide="ignore"):
            volume = np.where(np.isfinite(dumps.volume_meter), dumps.volume_meter, dumps.volume_geometry)
            values = volume / dumps.drain * DAY_S
            # Without the pressure after the valve: flow over the root of the gas pressure, where that is known.
            values = np.where(dumps.pressure > 0, values / np.sqrt(dumps.pressure), values)
        name, by_flow = "flow through the open valve", True
    least = int(history.limit(RESTRICTED, "dumps"))
    windows = windows_of(history, least)
    cv = windows.medians(values, least)
    known = np.isfinite(cv)
    reference = reference_windows(windows, cv)
    if reference.sum() < 3:
        return []
    usual, scatter = median(cv[reference]), spread(cv[reference])
    line = min(history.limit(RESTRICTED, "coefficient_share") * usual,
               usual - history.limit(RESTRICTED, "deviations") * scatter)  # fmt: skip
    with np.errstate(invalid="ignore"):
        over, half = known & (cv < line), known & (cv < 0.5 * (usual + line))
    found = []
    for onset, end, is_over in episodes(windows, over, half, known):
        here = known & (windows.begin_s >= onset) & (windows.end_s <= end)
        if int((over & here).sum()) < _LEAST_WINDOWS:
            continue
        now = median(cv[here][-3:])
        draft = Draft(history, RESTRICTED, "water_dump")
        draft.confidence = (0.7 if by_flow else 0.78) + 0.15 * min(1.0, 3.0 * (line - now) / usual)
        draft.severity, draft.ended_s = 1.0 - now / usual, end if is_over else None
        if history.meter is None or not {"interface_level", "vessel_pressure"} & history.signals:
            # By the meter alone it may as well be the pressure, by the level alone a reading that has moved.
            draft.priority, draft.confidence = "low", min(draft.confidence, 0.6)
        draft.over(onset, end)
        draft.found(name, now, "", usual)
        draft.not_because(
            "lower pressure or higher downstream pressure",
            "there is no pressure after the valve to tell" if by_flow else "the pressure drop is in the coefficient",
        )
        words = f"Water dump passes {100 * now / usual:.0f} % of what it did{_compared(dumps, by_flow=by_flow)}"
        words += f" since {day_of(history, onset)}"
        tail = f"; over since {day_of(history, end)}" if is_over else ""
        found.append(draft.done(f"{words}{tail}.", onset, end))
    return found
