"""One cause, one finding: consequences are told inside their cause, not beside it."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from nightgauge.detect.float_stuck import ABOVE_OPENING
from nightgauge.vocabulary.findings import Candidate, Instead, Priority
from nightgauge.vocabulary.signals import signal_words

SLACK = timedelta(days=1)
"""How much earlier a consequence may seem to begin than its cause: a day's median hides the hour. House choice."""
DRIFT_SLACK = timedelta(days=3)
"""The same for a slow move, whose foot is known to days, and for a leak, which is judged by half days and which dumps
too short for a switch's scan look like until enough of them are seen. House choice: at a fifth of a notice level a
day."""
TOGETHER = timedelta(days=4)
"""How far apart the onsets of two moves may lie that are one move of the transmitter. House choice."""

WAKE = timedelta(days=8)
"""How long a fault that lasted is part of what later days are compared with: half of two weeks, and the day's slack."""
UNUSUAL = "unusual_day"

_INTERFACE = ("interface_setpoint_drift", "interface_setpoint_step")
_OIL = ("oil_valve_setpoint_drift", "oil_valve_setpoint_step")
_GAS = ("gas_valve_setpoint_drift", "gas_valve_setpoint_step")
_VALVES = (*_OIL, *_GAS)
_CARRYOVER = ("water_in_oil", "oil_in_water")

CONSEQUENCES: dict[str, tuple[str, ...]] = {
    "instrument_frozen": (
        "float_stuck_closed", "float_stuck_open", "float_sticking", *_INTERFACE, *_VALVES, "instrument_drift",
        "back_pressure_margin_lost", "pressure_not_held", "dump_short_cycling", "vessel_undersized",
    ),
    "float_stuck_open": (
        "gas_in_liquid", "oil_in_water", "pressure_not_held", "instrument_drift", "dump_leaking", "vessel_undersized",
        "instrument_noisy", "dump_restricted", "back_pressure_margin_lost", "float_sticking", "liquid_in_gas",
        "back_pressure_hunting", "dump_short_cycling", "water_in_oil", *_INTERFACE, *_VALVES,
    ),
    "float_stuck_closed": (
        "water_in_oil", "vessel_undersized", "float_sticking", "dump_restricted", "liquid_in_gas", "instrument_drift",
        "back_pressure_margin_lost", "dump_short_cycling", "dump_hunting", *_INTERFACE, *_VALVES,
    ),
    "pressure_near_limit": (*_VALVES, "back_pressure_margin_lost", "gas_in_liquid", "float_stuck_closed"),
    "pressure_not_held": (
        *_VALVES, "back_pressure_margin_lost", "gas_in_liquid", "instrument_drift", "back_pressure_hunting",
        # Without pressure nothing pushes the water out, through however sound a dump.
        "float_stuck_closed", "dump_leaking", "dump_restricted", "dump_short_cycling",
    ),
    "dump_short_cycling": (
        "float_sticking", "vessel_undersized", "back_pressure_hunting", "dump_restricted", "dump_leaking", *_INTERFACE,
    ),
    # What a sticking dump passes no longer follows its travel, which reads as a leak beyond it.
    "dump_hunting": (
        "dump_leaking", "back_pressure_hunting", "float_sticking", "float_stuck_open", "instrument_noisy", *_CARRYOVER,
        *_INTERFACE,
    ),
    "float_sticking": ("back_pressure_hunting", *_INTERFACE, *_CARRYOVER),
    "dump_restricted": ("vessel_undersized", "float_sticking", *_INTERFACE),
    "dump_leaking": ("oil_in_water", "dump_restricted", "vessel_undersized", "float_sticking", *_INTERFACE),
    "oil_valve_setpoint_drift": ("back_pressure_margin_lost",),
    "back_pressure_margin_lost": (*_GAS, "oil_valve_setpoint_step", "liquid_in_gas", "instrument_noisy"),
    "gas_valve_setpoint_drift": ("liquid_in_gas",),
    "gas_valve_setpoint_step": ("liquid_in_gas",),
    "back_pressure_hunting": ("instrument_noisy", "liquid_in_gas", *_VALVES),
    "interface_setpoint_drift": ("vessel_undersized", *_CARRYOVER),
    "interface_setpoint_step": _CARRYOVER,
    "vessel_undersized": (*_CARRYOVER, "interface_setpoint_step", "dump_hunting"),
    "instrument_drift": ("back_pressure_margin_lost", *_VALVES),
}  # fmt: skip
"""Cause to what it brings about, strongest causes first."""


def arbitrate(candidates: list[Candidate]) -> tuple[Candidate, ...]:
    """Return the candidates with consequences folded into their causes, in order of onset."""
    rest = sorted(candidates, key=_order)
    # What the table below cannot say, because it takes numbers and not only kinds; what is told as one comes first.
    for told_as_one in (
        _silence_as_one,
        _swings_of_moves,
        _overwhelmed,
        _pressure_as_one,
        _level_at_rest,
        _idle,
        _grown_leaks,
    ):
        rest = told_as_one(rest)
    for cause_kind, consequences in CONSEQUENCES.items():
        for cause in [c for c in rest if c.kind == cause_kind]:
            rest = _fold(rest, cause, consequences)
    return tuple(sorted(_explained_days(rest), key=_order))


def _order(candidate: Candidate) -> tuple[datetime, str, str]:
    return candidate.onset, candidate.element, candidate.kind


def _fold(candidates: list[Candidate], cause: Candidate, consequences: tuple[str, ...]) -> list[Candidate]:
    if cause not in candidates:
        return candidates
    folded = [
        c
        for c in candidates
        if c is not cause
        and c.kind in consequences
        and _follows(c, cause)
        and _same(c, cause)
        # What is only worth knowing does not hide what needs a visit.
        and not (cause.priority == "low" and c.priority != "low")
    ]
    if not folded:
        return candidates
    return _told_inside(candidates, cause, folded, priority=_most_urgent(cause, folded))


def _told_inside(
    candidates: list[Candidate], cause: Candidate, folded: list[Candidate], **changes: Any
) -> list[Candidate]:
    """Return the candidates with some of them told inside another one, which may change with them."""
    also = tuple(dict.fromkeys([*cause.also, *(c.kind for c in folded), *(a for c in folded for a in c.also)]))
    told = replace(cause, also=tuple(a for a in also if a != cause.kind), **changes)
    return [told if c is cause else c for c in candidates if c not in folded]


def _explained_days(candidates: list[Candidate]) -> list[Candidate]:
    """Leave out the unusual days that another finding touches: it says more of them than that they were unusual."""
    # An anode works on beside the process for months: it explains none of its days.
    others = [c for c in candidates if c.kind != UNUSUAL and not c.element.startswith("anode:")]
    for day in [c for c in candidates if c.kind == UNUSUAL]:
        cause = next((c for c in others if _touches(c, day)), None)
        if cause is not None:
            told = cause if day.kind in cause.also else replace(cause, also=(*cause.also, day.kind))
            others = [told if c is cause else c for c in others]
            candidates = [told if c is cause else c for c in candidates if c is not day]
    return candidates


def _touches(cause: Candidate, day: Candidate) -> bool:
    """Return whether a finding stood on the day, the day before or after, or so shortly before that its end shows.

    The usual is the last two weeks' median: days after a fault that lasted a week are first compared with the fault.
    """
    end = cause.last_seen if cause.ended is None else cause.ended
    wake = min(max(end - cause.onset, SLACK), WAKE)
    return cause.onset - SLACK < day.last_seen and day.onset < end + wake


def _most_urgent(cause: Candidate, folded: list[Candidate]) -> Priority:
    """Return the cause's priority, or high where fluid leaves by the wrong outlet, or no water leaves, for it."""
    return "high" if any(c.priority == "high" for c in folded) else cause.priority


def _follows(consequence: Candidate, cause: Candidate) -> bool:
    """Return whether a consequence begins with or after its cause, and not long after it was over."""
    end = cause.ended if cause.ended is not None else cause.last_seen + SLACK
    # Where a slow move left its reference is known to a few days only.
    is_vague = consequence.kind.endswith("_drift") or consequence.kind == "dump_leaking"
    before = DRIFT_SLACK if is_vague else SLACK
    return cause.onset - before <= consequence.onset <= end + SLACK


def _same(consequence: Candidate, cause: Candidate) -> bool:
    """Return whether a frozen or noisy reading is one that the other finding rests on."""
    if not cause.element.startswith("instrument:"):
        return True
    signal = cause.element.removeprefix("instrument:")
    by_pressure = consequence.kind in (*_VALVES, "instrument_drift") or "pressure" in consequence.kind
    by_level = consequence.element == "water_dump" or consequence.kind == "vessel_undersized"
    return (signal == "vessel_pressure" and by_pressure) or (signal == "interface_level" and by_level)


def _pressure_as_one(candidates: list[Candidate]) -> list[Candidate]:
    """Tell moves of both held pressures by one amount as one move: two valves do not drift in step.

    With a header the transmitter has been told already; without one it is the likelier cause.
    """
    oil = [c for c in candidates if c.kind in _OIL]
    gas = [c for c in candidates if c.kind in _GAS]
    for o in oil:
        for g in gas:
            if g in candidates and o in candidates and _one_move(o, g):
                candidates = [c for c in candidates if c is not g and c is not o]
                candidates.append(_as_transmitter(o, g))
    drifts = [c for c in candidates if c.kind == "instrument_drift" and c.element == "instrument:vessel_pressure"]
    return [c for c in candidates if not (c in drifts[1:] and any(_overlap(c, d) for d in drifts[: drifts.index(c)]))]


def _one_move(oil: Candidate, gas: Candidate) -> bool:
    moves = [_move(oil), _move(gas)]
    if moves[0] is None or moves[1] is None or moves[0] * moves[1] <= 0:
        return False
    near = abs(moves[0] - moves[1]) <= 0.35 * max(abs(moves[0]), abs(moves[1]))
    return near and abs(oil.onset - gas.onset) <= TOGETHER and (oil.ended is None) == (gas.ended is None)


def _level_at_rest(candidates: list[Candidate]) -> list[Candidate]:
    """Tell a level that rose past its opening level without a dump and then stood still as the stuck float it shows.

    Water that spills over the weir holds the interface there; a reading that froze would have stayed in its swing.
    """
    stuck = [
        c for c in candidates if c.kind == "float_stuck_closed" and any(e.name == ABOVE_OPENING for e in c.evidence)
    ]
    at_rest = [
        (c, s)
        for c in candidates
        for s in stuck
        if (c.kind, c.element) == ("instrument_frozen", "instrument:interface_level")
        and s.onset <= c.onset <= s.last_seen
    ]
    for frozen, cause in at_rest:
        why = "the reading rose past the opening level first, and no dump showed elsewhere: it stands at the weir"
        told = replace(cause, instead=(Instead(frozen.kind, why), *(i for i in cause.instead if i.kind != frozen.kind)))
        candidates = [told if c is cause else c for c in candidates if c is not frozen]
    return candidates


def _idle(candidates: list[Candidate]) -> list[Candidate]:
    """Tell a level and a pressure that left and came back together as worth knowing only: nothing came in meanwhile.

    Where no flow is read, a vessel without inflow bleeds down by its seats, and both come back with the wells.
    """
    levels = [c for c in candidates if c.kind in _INTERFACE and c.ended is not None]
    pressures = [c for c in candidates if c.kind in _VALVES and c.ended is not None]
    idle = [
        c
        for level in levels
        for pressure in pressures
        if level.ended and pressure.ended and not (level.settled or pressure.settled)
        if abs(level.onset - pressure.onset) <= SLACK and abs(level.ended - pressure.ended) <= SLACK
        for c in (level, pressure)
    ]
    why = "interface and pressure left and came back together, as when nothing comes in"
    return [
        replace(c, priority="low", instead=(Instead("wells shut in", why), *c.instead)) if c in idle else c
        for c in candidates
    ]


def _swings_of_moves(candidates: list[Candidate]) -> list[Candidate]:
    """Tell a swing that came with a larger move of the held pressure inside the move: a spring that was turned.

    A swing that is larger than the move shifts the mean of itself, and stays the cause.
    """
    for move in [c for c in candidates if c.kind in _VALVES]:
        by = abs(_move(move) or 0.0)
        swings = [c for c in candidates if c.kind == "back_pressure_hunting" and _follows(c, move) and _swing(c) < by]
        if swings and move in candidates:
            candidates = _told_inside(candidates, move, swings)
    return candidates


def _overwhelmed(candidates: list[Candidate]) -> list[Candidate]:
    """Tell water that leaves without a dump inside a dump that cannot keep up: it stands open all the time."""
    full = [c for c in candidates if c.kind == "dump_restricted" and any(e.name == ABOVE_OPENING for e in c.evidence)]
    for cause in full:
        leaks = [c for c in candidates if c.kind == "dump_leaking" and _follows(c, cause)]
        if leaks:
            candidates = _told_inside(candidates, cause, leaks)
    return candidates


def _swing(hunting: Candidate) -> float:
    """Return how far the pressure swings; a swing without a number is larger than any move. [kPa]"""
    value = hunting.evidence[0].value if hunting.evidence else None
    return float("inf") if value is None else value


def _silence_as_one(candidates: list[Candidate]) -> list[Candidate]:
    """Tell a signal that stays silent when the rest of the vessel comes back inside the vessel's silence."""
    for whole in [c for c in candidates if (c.kind, c.element) == ("data_gap", "vessel")]:
        end = whole.ended or whole.last_seen
        rest = [
            c
            for c in candidates
            if c.kind == "data_gap" and c is not whole and whole.onset <= c.onset <= end + SLACK / 4
        ]
        if rest and whole in candidates:
            last = max([whole.last_seen, *(c.last_seen for c in rest)])
            ended = None if any(c.ended is None for c in rest) else max([end, *(c.ended for c in rest if c.ended)])
            silent = ", ".join(signal_words(c.element.removeprefix("instrument:")) for c in rest)
            summary = f"{whole.summary} Still silent after that: {silent}."
            candidates = _told_inside(candidates, whole, rest, last_seen=last, ended=ended, summary=summary)
    return candidates


def _grown_leaks(candidates: list[Candidate]) -> list[Candidate]:
    """Tell a dump that ran on, days after it began to leak, inside the leak: that is how leaks end."""
    for leak in [c for c in candidates if c.kind == "dump_leaking"]:
        grown = [
            c
            for c in candidates
            if c.kind == "float_stuck_open" and leak.onset + 2 * SLACK < c.onset and _follows(c, leak)
        ]
        if grown and leak in candidates:
            last = max([leak.last_seen, *(c.last_seen for c in grown)])
            over = None if any(c.ended is None for c in grown) else leak.ended
            urgent = _most_urgent(leak, grown)
            candidates = _told_inside(candidates, leak, grown, last_seen=last, ended=over, priority=urgent)
    return candidates


def _move(candidate: Candidate) -> float | None:
    first = candidate.evidence[0] if candidate.evidence else None
    if first is None or first.value is None or not isinstance(first.expected, float):
        return None
    return first.value - first.expected


def _as_transmitter(oil: Candidate, gas: Candidate) -> Candidate:
    """Return one finding for a common move; where the header followed, it stays the oil valve's."""
    followed = any(e.name.startswith("share of the move") for e in oil.evidence)
    if followed:
        return replace(oil, also=(*oil.also, gas.kind))
    why = "both held pressures moved by the same amount, which two valves do not do"
    return replace(
        oil,
        kind="instrument_drift",
        element="instrument:vessel_pressure",
        priority="medium" if oil.priority == "medium" or gas.priority == "medium" else "low",
        evidence=(*oil.evidence, *gas.evidence),
        instead=(Instead(oil.kind, why), *(i for i in oil.instead if i.kind != "instrument_drift")),
        also=(oil.kind, gas.kind),
        summary=f"Vessel pressure reading has moved: {why}. {oil.summary}",
    )


def _overlap(one: Candidate, other: Candidate) -> bool:
    return one.onset <= other.last_seen + SLACK and other.onset <= one.last_seen + SLACK
