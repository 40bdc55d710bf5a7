"""The pages' words: what each kind says in a list, how sure, since when, and lists in a sentence."""

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from nightgauge.vocabulary.signals import SIGNALS, base_name, signal_words

SURE_FROM = 0.9
"""Confidence from which a page says "sure". House choice of the pages' specification."""
LIKELY_FROM = 0.7
"""Confidence from which a page says "likely"; below it says "possible". House choice, as above."""

_KIND_PHRASES = {
    "float_stuck_closed": "water dump stuck shut",
    "float_stuck_open": "water dump stuck open",
    "float_sticking": "water dump’s float sticks",
    "dump_leaking": "water dump leaks while shut",
    "dump_restricted": "water dump passes less than it did",
    "dump_short_cycling": "water dump trips far too often",
    "dump_hunting": "water dump hunts",
    "interface_setpoint_drift": "held interface is drifting",
    "interface_setpoint_step": "held interface moved at once",
    "oil_valve_setpoint_drift": "oil valve’s hold is drifting",
    "oil_valve_setpoint_step": "oil valve’s hold moved at once",
    "gas_valve_setpoint_drift": "gas valve’s hold is drifting",
    "gas_valve_setpoint_step": "gas valve’s hold moved at once",
    "back_pressure_margin_lost": "gas valve no longer set enough above the oil valve",
    "back_pressure_hunting": "vessel pressure swings",
    "pressure_not_held": "pressure is not held",
    "pressure_near_limit": "pressure near the working pressure",
    "vessel_undersized": "vessel too small for its load",
    "water_in_oil": "water in the oil outlet",
    "oil_in_water": "oil in the water outlet",
    "liquid_in_gas": "liquid in the gas line",
    "gas_in_liquid": "gas leaves with the liquid",
    "instrument_frozen": "reading is frozen",
    "instrument_drift": "reading drifts",
    "instrument_noisy": "reading is noisy",
    "data_gap": "too little data to judge",
    "unusual_day": "unlike its other days",
    "well_test_decline": "well’s tests have changed",
    "anode_spent": "anode nearly spent",
    "anode_current_lost": "anode gives no current",
    "anode_current_jumped": "anode gives far more current",
}
_ELEMENT_WORDS = {
    "water_dump": "water dump",
    "oil_valve": "oil valve",
    "gas_valve": "gas valve",
    "vessel": "vessel",
}
FAILURE_MODES = {
    "FTO": "fail to open",
    "FTC": "fail to close",
    "DOP": "delayed operation",
    "LCP": "leakage in closed position",
    "PLU": "plugged or choked",
    "SPO": "spurious operation",
    "FTR": "fail to regulate",
    "AIR": "abnormal instrument reading",
}
"""ISO 14224 failure modes in words, from secondary copies of the standard."""
_NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
PRIORITY_ORDER = {"high": 0, "medium": 1, "low": 2}


def element_words(element: str) -> str:
    """Return an element as people say it: "oil valve", "interface level reading", "well QB-W12".

    Examples
    --------
    >>> element_words("instrument:interface_level"), element_words("well:QB-W12"), element_words("oil_valve")
    ('interface level reading', 'well QB-W12', 'oil valve')

    """
    head, _, rest = element.partition(":")
    if head == "instrument":
        return f"{signal_words(rest)} reading"
    if rest:
        return f"{head} {rest}"
    return _ELEMENT_WORDS.get(element, element.replace("_", " "))


def kind_words(kind: str, element: str) -> str:
    """Return what is wrong in a few words for a list, naming the part where the kind alone does not.

    Examples
    --------
    >>> kind_words("instrument_frozen", "instrument:interface_level")
    'interface level reading is frozen'
    >>> kind_words("vessel_undersized", "water_dump")
    'water dump too small for the inflow'

    """
    head, _, rest = element.partition(":")
    if kind.startswith("instrument_"):
        return f"{signal_words(rest) if rest else 'a'} {_KIND_PHRASES.get(kind, kind.replace('_', ' '))}"
    if kind == "data_gap" and rest:
        return f"too little data from {signal_words(rest)}"
    if kind == "vessel_undersized" and element == "water_dump":
        return "water dump too small for the inflow"
    if kind in {"pressure_not_held", "back_pressure_hunting"} and element in _ELEMENT_WORDS:
        verb = "no longer holds pressure" if kind == "pressure_not_held" else "lets the pressure swing"
        return f"{_ELEMENT_WORDS[element]} {verb}"
    if kind == "well_test_decline" and head == "well":
        return f"tests of well {rest} have changed"
    if head == "anode":
        return _KIND_PHRASES[kind].replace("anode", f"anode {rest}")
    return _KIND_PHRASES.get(kind, kind.replace("_", " "))


def signal_of(element: str) -> str | None:
    """Return the signal of an instrument element, or None for any other element."""
    head, _, rest = element.partition(":")
    return rest if head == "instrument" and base_name(rest) in SIGNALS else None


def how_sure(confidence: float) -> str:
    """Return a confidence in a word: sure, likely or possible."""
    if confidence >= SURE_FROM:
        return "sure"
    return "likely" if confidence >= LIKELY_FROM else "possible"


def counted(number: int, one: str, many: str) -> str:
    """Return a number with its noun, small numbers in words.

    Examples
    --------
    >>> counted(1, "vessel", "vessels"), counted(0, "vessel", "vessels"), counted(14, "vessel", "vessels")
    ('one vessel', 'no vessels', '14 vessels')

    """
    word = _NUMBER_WORDS[number] if number < len(_NUMBER_WORDS) else str(number)
    return f"{word} {one if number == 1 else many}"


def listed(names: Sequence[str]) -> str:
    """Return names as a list in a sentence.

    Examples
    --------
    >>> listed(["A"]), listed(["A", "B"]), listed(["A", "B", "C"])
    ('A', 'A and B', 'A, B and C')

    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def sentence(text: str) -> str:
    """Return a text that starts with a capital and ends with a full stop."""
    stripped = text.strip()
    if not stripped:
        return ""
    return f"{stripped[0].upper()}{stripped[1:]}{'' if stripped[-1] in '.!?' else '.'}"


def day_text(day: date) -> str:
    """Return a day as "Fri 22 May"."""
    return f"{day:%a} {day.day} {day:%b}"


def moment(time: datetime, zone: ZoneInfo) -> str:
    """Return a time in the field's zone with weekday and date: "Fri 22 May 04:10"."""
    local = time.astimezone(zone)
    return f"{day_text(local.date())} {local:%H:%M}"


def since(time: datetime, until: datetime, zone: ZoneInfo) -> str:
    """Return a start as people say it: weekday and hour within the last week, else the date alone."""
    local, age = time.astimezone(zone), until - time
    if age <= timedelta(days=7):
        return f"{local:%a} {local:%H:%M}"
    if age <= timedelta(days=300):
        return f"{local.day} {local:%b}"
    return f"{local.day} {local:%b %Y}"


def week_text(monday: date, sunday: date) -> str:
    """Return a week as "18–24 May 2026", "29 June – 5 July 2026".

    Examples
    --------
    >>> week_text(date(2026, 5, 18), date(2026, 5, 24)), week_text(date(2026, 6, 29), date(2026, 7, 5))
    ('18–24 May 2026', '29 June – 5 July 2026')

    """
    if monday.month == sunday.month:
        return f"{monday.day}–{sunday.day} {sunday:%B %Y}"
    first = f"{monday.day} {monday:%B}" if monday.year == sunday.year else f"{monday.day} {monday:%B %Y}"
    return f"{first} – {sunday.day} {sunday:%B %Y}"


def from_json(text: str | None) -> Any:
    """Return the object a JSON column holds, or None."""
    return None if not text else json.loads(text)


def mark_words(mark: Mapping[str, str | None] | None) -> str | None:
    """Return what people marked a finding as, with note and name: "known: waits for parts (A. Reader)"."""
    if not mark:
        return None
    note = f": {mark['note']}" if mark.get("note") else ""
    by = f" ({mark['by']})" if mark.get("by") else ""
    return f"{mark.get('as', 'marked')}{note}{by}"
