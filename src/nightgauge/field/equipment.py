"""Reading `[[anode]]`, `[[tank]]` and `[prices]` of field.toml."""

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from nightgauge.field.keys import ANODE, PRICES, TANK
from nightgauge.field.problems import Scope, listed, remedy_for, shown
from nightgauge.field.settings import Anode, Prices, Tank
from nightgauge.field.tables import Place, Table, read_table
from nightgauge.field.vessels import called, tables_of
from nightgauge.units import UnitProblem, conversion, parse

_PRICED = {
    "oil": ("oil_per_m3", "volume", "62 USD/bbl"),
    "gas": ("gas_per_m3", "gas volume", "2.4 USD/Mcf"),
    "fuel": ("fuel_per_mj", "energy", "3.1 USD/MMBtu"),
}
"""Key to attribute, dimension of the unit after the stroke, example."""

_PRICE = re.compile(r"\s*([0-9]+(?:\.[0-9]*)?)\s*(\w*)\s*/\s*(\S.*?)\s*")


def read_anodes(value: object, vessel_ids: Sequence[str], place: Place, scope: Scope) -> tuple[Anode, ...]:
    """Return the anodes; ids are unique within a vessel."""
    anodes: list[Anode] = []
    for number, table in enumerate(tables_of(value, "anode", scope), start=1):
        inner = scope.inside(called("anode", table, number))
        values = read_table(table, ANODE, place, inner)
        vessel = values.get("vessel")
        if vessel is not None and vessel not in vessel_ids:
            expected = f"the id of a [[vessel]]: {listed(vessel_ids)}"
            inner.add("vessel", shown(vessel), expected, remedy_for(vessel, vessel_ids))
        if {"id", "vessel", "material"} <= values.keys():
            if any((one.vessel, one.id) == (values["vessel"], values["id"]) for one in anodes):
                inner.add("id", "twice on this vessel", "each id of an anode once per vessel", "rename one")
            anodes.append(Anode(**values))
    return tuple(anodes)


def read_tanks(value: object, place: Place, scope: Scope) -> tuple[Tank, ...]:
    """Return the tanks with their strapping: `strapping = [["0 ft", "0 bbl"], ["20 ft", "400 bbl"]]`."""
    tanks = []
    for number, table in enumerate(tables_of(value, "tank", scope), start=1):
        inner = scope.inside(called("tank", table, number))
        values = read_table(table, TANK, place, inner, also=("strapping",))
        pairs = _strapping(table.get("strapping"), inner)
        if pairs is not None and "id" in values:
            tanks.append(Tank(values["id"], *zip(*pairs, strict=True)))
    return tuple(tanks)


def _strapping(value: object, scope: Scope) -> list[tuple[float, float]] | None:
    expected = 'two or more pairs of gauge and volume, both rising, like [["0 ft", "0 bbl"], ["20 ft", "400 bbl"]]'
    try:
        pairs = [_pair(pair) for pair in value] if isinstance(value, list) else []
    except (UnitProblem, TypeError, ValueError) as problem:
        scope.add("strapping", shown(value), f"{expected} ({problem})", "correct the pair")
        return None
    rising = all(low[0] < high[0] and low[1] < high[1] for low, high in pairwise(pairs))
    if len(pairs) < 2 or not rising:
        found = "nothing" if value is None else shown(value)
        scope.add("strapping", found, expected, "copy the tank's strapping table")
        return None
    return pairs


def _pair(pair: object) -> tuple[float, float]:
    if not isinstance(pair, list) or [type(part) for part in pair] != [str, str]:
        raise ValueError(f"{shown(pair)} is no pair of texts")
    return parse(pair[0], "length"), parse(pair[1], "volume")


def read_prices(value: object, place: Place, scope: Scope) -> Prices | None:
    """Return what oil, gas and fuel are worth: `[prices]` with `currency` and texts like "62 USD/bbl"."""
    if value is None:
        return None
    inner = scope.inside("prices")
    if not isinstance(value, dict):
        scope.add("prices", shown(value), "a table [prices]", "write [prices] above its keys")
        return None
    values: dict[str, Any] = read_table(value, PRICES, place, inner, also=tuple(_PRICED))
    for key in _PRICED.keys() & value.keys():
        price = _price(value, key, values.get("currency", ""), inner)
        if price is not None:
            values[_PRICED[key][0]] = price
    return Prices(**values) if "currency" in values else None


def _price(table: Table, key: str, currency: str, scope: Scope) -> float | None:
    _, dimension, example = _PRICED[key]
    expected = f'a price like "{example}", in the currency of this table'
    match = _PRICE.fullmatch(table[key]) if isinstance(table[key], str) else None
    # Without a currency that is the mistake, not the prices in one.
    if match is None or (currency and match[2] not in ("", currency)):
        scope.add(key, shown(table[key]), expected, f"correct {key}")
        return None
    try:
        return float(match[1]) / _one(match[3], dimension)
    except UnitProblem as problem:
        scope.add(key, shown(table[key]), f"{expected} ({problem})", f"correct {key}")
        return None


def _one(unit: str, dimension: str) -> float:
    """Return how much one unit is inside; a volume of gas is read as what a rate of it brings in a day."""
    if dimension == "gas volume":
        return conversion(f"{unit}/day", "gas rate").factor
    return conversion(unit, dimension).factor
