"""Reading one table of field.toml by its declared keys."""

import math
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from nightgauge.field.calendar import TimeProblem, parse_time
from nightgauge.field.keys import Key
from nightgauge.field.problems import Scope, remedy_for, shown
from nightgauge.units import STANDARD_ATMOSPHERE_KPA, UnitProblem, parse

Table = Mapping[str, Any]


@dataclass(frozen=True)
class Place:
    """What a value's meaning depends on besides its text: the field's clock and its air."""

    zone: ZoneInfo
    atmospheric_pressure_kpa: float = STANDARD_ATMOSPHERE_KPA


_BREAKS = {"Cc", "Zl", "Zp"}
"""Unicode categories of control characters and of what ends a line: no part of a name or a path."""


class ValueProblem(ValueError):
    """A value is not what its key takes; the message says what is accepted."""


def read_table(
    table: Table, keys: Sequence[Key], place: Place, scope: Scope, also: Sequence[str] = ()
) -> dict[str, Any]:
    """Return the values of a table under the names of the object they fill, in the units used inside.

    Parameters
    ----------
    table : mapping
        As TOML gives it.
    keys : sequence of Key
        What the table may hold.
    place : Place
        Zone and atmospheric pressure.
    scope : Scope
        Where mistakes are noted: unknown and missing keys, wrong types, units, choices and bounds.
    also : sequence of str
        Names of tables within this one, which the caller reads.

    """
    known = [key.name for key in keys] + list(also)
    for name in table:
        if name not in known:
            scope.add(shown(name)[1:-1], "an unknown key", "one of " + ", ".join(known), remedy_for(name, known))
    values: dict[str, Any] = {}
    for key in keys:
        if key.name in table:
            _read_key(table[key.name], key, place, scope, values)
        elif key.is_required:
            scope.add(key.name, "nothing", key.expected, f"add {key.name}")
    return values


def _read_key(value: object, key: Key, place: Place, scope: Scope, values: dict[str, Any]) -> None:
    try:
        values[key.attribute] = read_value(value, key, place)
    except ValueProblem as problem:
        scope.add(key.name, shown(value), str(problem), _remedy(value, key))


def _remedy(value: object, key: Key) -> str:
    if key.choices and isinstance(value, str):
        return remedy_for(value, key.choices)
    if key.kind == "quantity" and not isinstance(value, str):
        return "write number and unit between quotes"
    if key.kind in ("number", "flag") and isinstance(value, str):
        return "write it without quotes"
    if key.kind == "texts" and isinstance(value, str):
        return "put it between square brackets"
    return f"correct {key.name}"


def read_value(value: object, key: Key, place: Place) -> Any:
    """Return one value as its key means it; raise ValueProblem saying what is accepted."""
    if key.kind == "text":
        return _text(value, key)
    if key.kind == "flag":
        return _flag(value, key)
    if key.kind == "texts":
        return _texts(value, key)
    if key.kind == "time":
        return _time(value, key, place.zone)
    number = _number(value, key) if key.kind == "number" else _quantity(value, key, place)
    if not key.bounds.hold(number):
        raise ValueProblem(f"{key.expected}, {key.bounds.says}")
    return number


def _text(value: object, key: Key) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueProblem(key.expected)
    if any(unicodedata.category(letter) in _BREAKS for letter in value):
        raise ValueProblem(f"{key.expected}, on one line and without control characters")
    text = value.strip()
    if key.choices and text not in key.choices:
        raise ValueProblem(key.expected)
    return text


def _flag(value: object, key: Key) -> bool:
    if not isinstance(value, bool):
        raise ValueProblem(key.expected)
    return value


def _texts(value: object, key: Key) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise ValueProblem(key.expected)
    return tuple(_text(item, key) for item in value)


def _time(value: object, key: Key, zone: ZoneInfo) -> object:
    try:
        return parse_time(value, zone)
    except TimeProblem as problem:
        raise ValueProblem(f"{key.expected} ({problem})") from problem


def _number(value: object, key: Key) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueProblem(key.expected)
    try:
        number = float(value)
    except OverflowError as error:
        raise ValueProblem(key.expected) from error
    if not math.isfinite(number):
        raise ValueProblem(key.expected)
    return number


def _quantity(value: object, key: Key, place: Place) -> float:
    if key.dimension == "fraction" and not isinstance(value, str):
        return _number(value, key)  # a share may be a pure number
    if not isinstance(value, str):
        raise ValueProblem(key.expected)
    try:
        number = parse(value, key.dimension, place.atmospheric_pressure_kpa, bare_is_absolute=_is_air(key))
    except UnitProblem as problem:
        raise ValueProblem(f"{key.expected} ({problem})") from problem
    if key.dimension == "pressure" and not _is_air(key) and number <= -place.atmospheric_pressure_kpa:
        raise ValueProblem(f"{key.expected}, above absolute vacuum")
    return number


def _is_air(key: Key) -> bool:
    return key.name == "atmospheric_pressure"
