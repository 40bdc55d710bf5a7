"""Setpoints of the oil and the gas valve: drifted or stepped, told from a drifting transmitter by the header."""

from dataclasses import dataclass

import numpy as np

from nightgauge.detect.branches import hold_and_clip
from nightgauge.detect.costs import liquid_held_back
from nightgauge.detect.history import DAY_S, HOUR_S, Floats, History
from nightgauge.detect.load import all_loads, without_load
from nightgauge.detect.past import blocks, first_weeks, median, per_well
from nightgauge.detect.pressure_level import GREAT_FALL, NOT_HELD
from nightgauge.detect.shifts import BLOCK_S, Rules, Shift, find_shifts
from nightgauge.detect.wording import Draft, day_of, duration, quantity
from nightgauge.detect.working import working
from nightgauge.vocabulary.findings import Candidate

LARGE_STEP_KPA = 34.5
"""A step of 5 psi is felt by every well's pump; smaller ones are worth knowing. [kPa] House choice."""
SETTING_LEAST_KPA, SETTING_SHARE = 55.2, 0.2
"""Departure from the setting of field.toml that is told while there is no past: 8 psi or a fifth, more than a spring's
droop and the other valve's setting make. [kPa], [1] Common practice, no source."""
DRIFT = "instrument_drift"
_SEEN = 0.35
"""Share of a move without the load by which the reading itself has to have moved. House choice: less than half, as
droop takes its part."""


@dataclass(frozen=True)
class Level:
    """One of the two pressures of interest, hour by hour."""

    valve: str
    word: str
    pressure: Floats
    setting: float | None


def levels(history: History) -> list[Level]:
    """Return the pressures held by the oil valve and, where it is visited, by the gas valve. [kPag]"""
    oil, gas = hold_and_clip(history)
    at = history.when(float(history.hour_s[0])) if len(history.hour_s) else history.until
    oil_setting = history.vessel.oil_valve_at(at).holds_kpag
    gas_setting = history.vessel.gas_valve_at(at).holds_kpag
    loads = all_loads(history)
    if np.isfinite(oil).any():
        oil = without_load(history, oil, first_weeks(history, np.isfinite(oil)), loads)
    if not np.isfinite(gas).any():
        pressure = history.mean("vessel_pressure")
        pressure = without_load(history, pressure, first_weeks(history, np.isfinite(pressure)), loads)
        if not np.isfinite(oil).any():
            oil = pressure
        if _sits_on_gas_valve(history, (oil_setting, gas_setting), median(pressure)):
            oil, gas = np.full(len(pressure), np.nan), pressure
    found = []
    if np.isfinite(oil).any():
        found.append(Level("oil_valve", "oil", oil, oil_setting))
    if np.isfinite(gas).any():
        found.append(Level("gas_valve", "gas", gas, gas_setting))
    return found


def _sits_on_gas_valve(history: History, settings: tuple[float | None, float | None], pressure: float) -> bool:
    """Return whether the pressure lies at the gas valve's level: by the settings, and with gas going that way."""
    oil, gas = settings
    if "gas_rate" not in history.signals or gas is None:
        return False
    if oil is None:
        return True
    return gas > oil and pressure > gas - 0.3 * (gas - oil)


def find(history: History) -> list[Candidate]:
    """Return drifts and steps of the held pressures, and of the pressure transmitter."""
    found: list[Candidate] = []
    works = working(history)
    for level in levels(history):
        kind = f"{level.valve}_setpoint_drift"
        pressure = np.where(works, level.pressure, np.nan)
        pressure = per_well(pressure, history.well, first_weeks(history, np.isfinite(pressure)))
        ends, values = blocks(history.hour_s + HOUR_S / 2, pressure, history.until_s, BLOCK_S)
        if not len(ends):
            continue
        usual = median(level.pressure)
        rules = Rules(
            least=max(history.limit(kind, "least_move"), history.limit(kind, "least_share") * abs(usual)),
            deviations=history.limit(kind, "deviations"),
            reference_s=history.limit(kind, "reference_time"),
            settled_s=history.limit(kind, "settled_time"),
            setting=level.setting,
            setting_least=max(SETTING_LEAST_KPA, SETTING_SHARE * abs(usual)),
        )
        shifts = find_shifts(ends, values, rules)
        unmetered = _without_friction(history, pressure, rules) if shifts else None
        found += [
            _candidate(history, level, shift, rules)
            for shift in shifts
            if (unmetered is None or _stays(shift, unmetered)) and _is_seen(history, level, shift)
        ]
    return found


def _is_seen(history: History, level: Level, shift: Shift) -> bool:
    """Return whether the pressure as read has moved too, by a good part of what is left without the load.

    A droop learned too steep makes a drift out of every change of load; none is steep enough to hide a whole one.
    """
    read = np.where(np.isfinite(level.pressure) & working(history), history.mean("vessel_pressure"), np.nan)
    before = read[(history.hour_s < shift.onset_s) & (history.hour_s >= shift.onset_s - 14 * DAY_S)]
    last = shift.ended_s if shift.ended_s is not None else shift.last_s
    after = read[(history.hour_s < last) & (history.hour_s >= max(shift.onset_s, last - DAY_S))]
    moved = median(after) - median(before)
    return not np.isfinite(moved) or moved * shift.way > _SEEN * abs(shift.size)


def _without_friction(history: History, pressure: Floats, rules: Rules) -> list[Shift] | None:
    """Return the moves left when what goes with the friction of the line is taken out; None without a header.

    Gas that leaves through the oil valve passes no meter, and yet loads it; the line from the header knows.
    """
    friction = np.where(working(history), history.mean("inlet_pressure") - history.mean("vessel_pressure"), np.nan)
    if not np.isfinite(friction).any():
        return None
    still = without_load(history, pressure, first_weeks(history, np.isfinite(pressure)), [friction])
    ends, values = blocks(history.hour_s + HOUR_S / 2, still, history.until_s, BLOCK_S)
    return find_shifts(ends, values, rules)


def _stays(shift: Shift, others: list[Shift]) -> bool:
    """Return whether a move is there without the friction too: a spring leaves the line's friction alone."""
    return any(o.way == shift.way and o.onset_s <= shift.last_s and shift.onset_s <= o.last_s for o in others)


def header_follow(history: History, shift: Shift) -> float | None:
    """Return the share of a move that the header makes too, None where it cannot be told.

    The header stands above the vessel by the friction of the line; a valve moves both, a transmitter the vessel's
    alone. Medians of the days before the onset against those of the last two days.
    """
    loss = history.mean("inlet_pressure") - history.mean("vessel_pressure")
    both = np.isfinite(loss) & working(history)
    # Friction in the line goes with the load, not with the valve: it is taken out like droop.
    loss = without_load(history, loss, both & (history.hour_s < shift.onset_s), all_loads(history))
    before = both & (history.hour_s < shift.onset_s) & (history.hour_s >= shift.onset_s - 7 * DAY_S)
    last = shift.ended_s if shift.ended_s is not None else shift.last_s
    after = both & (history.hour_s < last) & (history.hour_s >= max(shift.onset_s, last - 2 * DAY_S))
    if before.sum() < 24 or after.sum() < 12 or abs(shift.size) == 0:
        return None
    return 1.0 + (median(loss[after]) - median(loss[before])) / shift.size


def _candidate(history: History, level: Level, shift: Shift, rules: Rules) -> Candidate:
    follow = header_follow(history, shift)
    is_transmitter = follow is not None and follow < history.limit(DRIFT, "follow_share")
    if shift.shape == "step" and is_transmitter and follow is not None and follow > 0.25:
        # Transmitters drift; one that jumps has been worked on, and then the header has to be wholly still.
        is_transmitter = False
    kind = DRIFT if is_transmitter else f"{level.valve}_setpoint_{shift.shape}"
    if not is_transmitter and shift.found < GREAT_FALL * shift.reference:
        # Nobody turns a spring so far: the valve passes, or is by-passed.
        kind = NOT_HELD
    element = "instrument:vessel_pressure" if is_transmitter else level.valve
    draft = Draft(history, kind, element)
    size, span_s = abs(shift.size), shift.last_s - shift.onset_s
    sure = size / max(rules.least, rules.deviations * shift.scatter)
    draft.confidence = 0.45 + 0.2 * min(2.0, sure) + 0.05 * min(1.0, span_s / (4 * DAY_S))
    draft.confidence += 0.03 if follow is not None and not 0.3 < follow < 0.7 else 0.0
    draft.severity, draft.ended_s, draft.settled = size, shift.ended_s, shift.steady and kind != NOT_HELD
    small_step = shift.shape == "step" and (size < LARGE_STEP_KPA or shift.is_restored) and not is_transmitter
    draft.priority = "low" if small_step or shift.by_setting else "medium"
    if shift.by_setting:
        draft.confidence = min(draft.confidence, 0.6)
    draft.over(shift.onset_s, shift.last_s)
    draft.found(f"pressure held by the {level.word} valve", shift.found, "kPag", shift.reference)
    draft.found("scatter from day to day", shift.scatter, "kPa", None)
    if follow is not None:
        draft.found("share of the move that the header made too", follow, "1", 1.0)
    _instead(draft, level, shift, follow)
    if not is_transmitter and shift.size > 0 and shift.ended_s is None:
        draft.effect = liquid_held_back(history, shift.size)
    return draft.done(_words(history, level, shift, is_transmitter=is_transmitter), shift.onset_s, shift.last_s)


def _instead(draft: Draft, level: Level, shift: Shift, follow: float | None) -> None:
    valve = f"{level.valve}_setpoint_{shift.shape}"
    if follow is None:
        draft.not_because(DRIFT, "there is no header pressure to tell: read a gauge beside the transmitter")
    elif draft.kind == DRIFT:
        draft.not_because(valve, f"the header made {100 * max(0.0, follow):.0f} % of the move only")
    else:
        draft.not_because(DRIFT, f"the header moved with it ({100 * min(follow, 2.0):.0f} % of the move)")
    draft.not_because("more or less load", "the load has been taken out with the slope of the vessel's own past")
    shape = "step" if shift.shape == "drift" else "drift"
    if draft.kind != DRIFT:
        why = f"fits worse (misfit of the told one is {100 * shift.fit_ratio:.0f} % of it)"
        draft.not_because(f"{level.valve}_setpoint_{shape}", why)


def _words(history: History, level: Level, shift: Shift, *, is_transmitter: bool) -> str:
    size = quantity(history, abs(shift.size), "pressure difference")
    way = "risen" if shift.size > 0 else "sunk"
    now, before = quantity(history, shift.found, "pressure"), quantity(history, shift.reference, "pressure")
    against = "set in field.toml (no past yet)" if shift.by_setting else "before"
    spent = duration(max(HOUR_S, shift.last_s - shift.onset_s))
    moved = f"has {way} {size} in {spent}: now {now}, {before} {against}"
    if is_transmitter:
        text = f"Vessel pressure reading {moved}, while the header stayed as it was"
    elif shift.shape == "drift":
        text = f"Pressure held by the {level.word} valve {moved}"
    else:
        text = f"Pressure held by the {level.word} valve moved at once by {size}"
        text += f" on {day_of(history, shift.onset_s)}: now {now}, {before} {against}"
    if shift.steady:
        return f"{text}; taken as the new setting."
    return f"{text}; back since {day_of(history, shift.ended_s)}." if shift.ended_s is not None else f"{text}."
