"""The margin between the gas and the oil valve: lost when the clip of the peaks comes down to the oil hold."""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.branches import daily_hold_and_clip
from nightgauge.detect.history import DAY_S, HOUR_S, Floats, History, Mask
from nightgauge.detect.past import first_weeks, joined_runs, median, quantile
from nightgauge.detect.wording import Draft, day_of, quantity
from nightgauge.detect.working import working
from nightgauge.vocabulary.findings import Candidate

KIND = "back_pressure_margin_lost"
_LEAST_DAYS = 3
"""Days of the past that make a margin known. House choice, as for other references."""
_CARRY_DAYS = 3
"""Days over which a level that is not visited is taken to stand where it was. House choice."""
_KEPT_SHARE = 0.5
"""Share of the former margin above which it has shrunk but is not lost. House choice: errors of both levels add."""


_GAS_GROWTH = 4.0
"""Gas flow against its past from which the gas valve passes what went with the oil before. House choice: wells turned
in or a season do not multiply a field's gas by four at the same pressure."""
_MORE_GAS = 1.2
"""Gas through the gas valve, against its other days, that goes with a lost margin. House choice: beyond a day's
swing."""
_SURELY = 1.5
"""Times the least margin that the former one has to be: errors of both levels add to half of it. House choice."""


@dataclass(frozen=True)
class Margin:
    """Gas clip less oil hold, day by day, and what it was before. [kPa]"""

    now: Floats
    before: Floats
    """Median of the known margins up to a day; the settings' margin where the clip was never visited before."""
    fall: Floats
    """How far the clip has come down from its own past, or from its setting where it had none. [kPa]"""
    visited: Mask
    oil_visited: bool
    """Whether the pressure ever stood at the oil valve's hold."""


def find(history: History) -> list[Candidate]:
    """Return spans of days on which the margin was below the least, after it had been there."""
    if not len(history.day_s):
        return []
    margin = _margins(history)
    least = history.limit(KIND, "margin")
    known = margin.visited & np.isfinite(margin.now)
    with np.errstate(invalid="ignore"):
        low = known & (margin.now < least) & (margin.before > _SURELY * least)
        low &= margin.now < _KEPT_SHARE * margin.before
        # A gas valve that stands where it stood has lost nothing: then the oil valve came up, and is told.
        low &= margin.fall > _KEPT_SHARE * margin.before
        if margin.oil_visited:
            # A lost margin sends gas through the gas valve that used to go with the oil; a seep at the oil's level not.
            gas = history.day("gas_m3")
            low &= ~(gas < _MORE_GAS * median(gas[~low]))
    days = history.limit(KIND, "least_time") / DAY_S
    early = _passes_early(history)
    return early or [
        _candidate(history, run, margin, least)
        for run in joined_runs(low, ~known, 0)
        if int((low & np.isfinite(history.day("gas_clip_kpag")))[run[0] : run[1]].sum()) >= days
    ]


def _passes_early(history: History) -> list[Candidate]:
    """Return spans in which much gas goes through the gas valve at a pressure at which it used to be shut.

    This needs no level of its own for each valve: gas flow many times its past, at no higher pressure, with the
    pressure below where the gas valve is set by most of the settings' margin.
    """
    at = history.when(float(history.hour_s[0])) if len(history.hour_s) else history.until
    oil_set, gas_set = history.vessel.oil_valve_at(at).holds_kpag, history.vessel.gas_valve_at(at).holds_kpag
    gas, pressure = history.mean("gas_rate"), history.mean("vessel_pressure")
    known = np.isfinite(gas) & np.isfinite(pressure) & working(history)
    reference = first_weeks(history, known)
    if oil_set is None or gas_set is None or gas_set <= oil_set or int(reference.sum()) < _LEAST_DAYS * 24:
        return []
    usual, stood = quantile(gas[reference], 0.8), median(pressure[reference])
    margin = gas_set - oil_set
    with np.errstate(invalid="ignore"):
        passes = known & (gas > _GAS_GROWTH * usual) & (pressure < min(stood + 0.2 * margin, gas_set - 0.4 * margin))
    smooth = np.convolve(passes, np.ones(24), mode="full")[: len(passes)] >= 12 if len(passes) else passes
    least = history.limit(KIND, "least_time") / HOUR_S
    found = []
    for first, stop in joined_runs(smooth, ~known, 12):
        if usual <= 0 or stop - first < least - 12:
            continue
        first = max(0, first - 12)
        begin, end = float(history.hour_s[first]), min(float(history.hour_s[stop - 1] + HOUR_S), history.until_s)
        now, flow = median(pressure[first:stop][-72:]), median(gas[first:stop][-72:])
        draft = Draft(history, KIND, "gas_valve")
        draft.confidence = 0.75 + 0.15 * min(1.0, (stop - first) / 96.0)
        draft.severity, draft.ended_s = flow / usual, end if int(known[stop:].sum()) >= 24 else None
        draft.over(begin, end)
        draft.found("gas through the gas valve", flow, "m3/day", usual)
        draft.found("vessel pressure at which it passes", now, "kPag", gas_set)
        draft.not_because("more gas coming in", "more gas would have raised the pressure to the gas valve's setting")
        words = f"Gas valve passes {quantity(history, flow, 'gas rate')} since {day_of(history, begin)}"
        words += f", {quantity(history, usual, 'gas rate')} was usual, at {quantity(history, now, 'pressure')}"
        words += f", {quantity(history, gas_set - now, 'pressure difference')} below its setting"
        found.append(draft.done(f"{words}.", begin, end))
    return found


def _margins(history: History) -> Margin:
    oil, gas = daily_hold_and_clip(history)
    at = history.when(float(history.day_s[0]))
    oil_set, gas_set = history.vessel.oil_valve_at(at).holds_kpag, history.vessel.gas_valve_at(at).holds_kpag
    visited = np.isfinite(oil)
    if not visited.any() and oil_set is not None:
        # Pressure always on the gas valve: the oil valve is where its setting says.
        oil = np.full(len(gas), oil_set)
    now = _carried(gas) - _carried(oil)
    before = np.full(len(now), np.nan)
    held: list[float] = []
    by_setting = gas_set - oil_set if gas_set is not None and oil_set is not None else float("nan")
    seen = 0
    for day, value in enumerate(now):
        if len(held) >= _LEAST_DAYS:
            before[day] = median(np.array(held[:14]))
        elif seen >= 2 * _LEAST_DAYS and not held:
            before[day] = by_setting
        seen += int(np.isfinite(oil[day]))
        if np.isfinite(value) and (not np.isfinite(before[day]) or value > _KEPT_SHARE * before[day]):
            held.append(float(value))
    past = [
        median(gas[:day][:14]) if np.isfinite(gas[:day]).sum() >= _LEAST_DAYS else np.nan for day in range(len(gas))
    ]
    stood = np.where(np.isfinite(past), past, np.nan if gas_set is None else gas_set)
    return Margin(now, before, stood - _carried(gas), np.isfinite(gas) | visited, bool(visited.any()))


def _candidate(history: History, run: tuple[int, int], margin: Margin, least: float) -> Candidate:
    first, stop = run
    begin = float(history.day_s[first])
    known = margin.visited & np.isfinite(margin.now)
    is_over = bool(known[stop:].any())
    end = min(float(history.day_s[stop - 1] + DAY_S), history.until_s)
    now, before = median(margin.now[first:stop][-3:]), float(margin.before[first])
    draft = Draft(history, KIND, "gas_valve")
    draft.confidence = 0.7 + 0.2 * min(1.0, (stop - first) / 4.0)
    draft.severity, draft.ended_s = least - now, end if is_over else None
    draft.over(begin, end)
    draft.found("gas clip less oil hold", now, "kPa", before)
    draft.not_because("instrument_drift", "one transmitter reads both levels: its drift leaves their difference alone")
    place = f"{'only ' if now >= 0 else ''}{quantity(history, abs(now), 'pressure difference')}"
    words = f"Gas valve is set {place} {'above' if now >= 0 else 'below'} the oil valve"
    words += f" since {day_of(history, begin)}, {quantity(history, before, 'pressure difference')} before"
    tail = f"; over since {day_of(history, end)}" if is_over else ""
    return draft.done(f"{words}{tail}.", begin, max(end, begin + HOUR_S))


def _carried(values: Floats) -> Floats:
    """Return values with unknown days filled from a few days before: a level not visited has not moved."""
    filled = values.copy()
    for lag in range(1, _CARRY_DAYS + 1):
        shifted = np.concatenate((np.full(lag, np.nan), values[:-lag])) if len(values) > lag else values * np.nan
        filled = np.where(np.isfinite(filled), filled, shifted)
    return filled
