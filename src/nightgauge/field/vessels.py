"""Reading `[[vessel]]`, `[[well]]` and `[[outage]]` tables."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

from nightgauge.field.keys import (
    BACK_PRESSURE_VALVE,
    HEATING,
    OIL_VALVE,
    OUTAGE,
    REQUIRED_RETENTION,
    VESSEL,
    WATER_DUMP,
    WELL,
    Key,
)
from nightgauge.field.limits import read_limits
from nightgauge.field.possible import find_impossible
from nightgauge.field.problems import Scope, listed, remedy_for, shown
from nightgauge.field.settings import BackPressureValve, Heating, Outage, Vessel, WaterDump, Well
from nightgauge.field.tables import Place, Table, read_table

_INNER = ("required_retention", "water_dump", "oil_valve", "gas_valve", "heating", "limits")
_S_PER_MIN = 60.0


def read_vessels(value: object, place: Place, scope: Scope) -> tuple[Vessel, ...]:
    """Return the vessels of `[[vessel]]`; those with mistakes are left out, the mistakes noted."""
    vessels = []
    for number, table in enumerate(tables_of(value, "vessel", scope), start=1):
        vessel = _read_vessel(table, place, scope.inside(called("vessel", table, number)))
        if vessel is not None:
            vessels.append(vessel)
    return tuple(vessels)


def ids_in(value: object) -> list[str]:
    """Return the ids that `[[vessel]]` or `[[well]]` tables name, right or wrong otherwise."""
    tables = value if isinstance(value, list) else []
    ids = [table.get("id") for table in tables if isinstance(table, dict)]
    return [name.strip() for name in ids if isinstance(name, str)]


def find_duplicate_ids(value: object, what: str, scope: Scope) -> None:
    """Note every id that more than one table of a kind bears."""
    ids = ids_in(value)
    for name in dict.fromkeys(ids):
        if ids.count(name) > 1:
            scope.inside(f"{what} {shown(name)[1:-1]}").add(
                "id", f"{ids.count(name)} times", f"each id of a {what} once", "rename or take out all but one"
            )


def read_wells(value: object, vessel_ids: Sequence[str], place: Place, scope: Scope) -> tuple[Well, ...]:
    """Return the wells of `[[well]]`."""
    wells = []
    for number, table in enumerate(tables_of(value, "well", scope), start=1):
        inner = scope.inside(called("well", table, number))
        values = read_table(table, WELL, place, inner)
        _known_vessel(values.get("vessel"), vessel_ids, inner)
        if "id" in values:
            wells.append(Well(**values))
    return tuple(wells)


def read_outages(value: object, vessel_ids: Sequence[str], place: Place, scope: Scope) -> tuple[Outage, ...]:
    """Return the outages of `[[outage]]`."""
    outages = []
    for number, table in enumerate(tables_of(value, "outage", scope), start=1):
        inner = scope.inside(f"outage {number}")
        values = read_table(table, OUTAGE, place, inner)
        _known_vessel(values.get("vessel"), vessel_ids, inner)
        if {"vessel", "from_utc", "to_utc"} <= values.keys():
            outage = Outage(**values)
            if outage.from_utc >= outage.to_utc:
                inner.add("to", shown(table["to"]), f'a time after "{table["from"]}"', "correct one of the two")
            outages.append(outage)
    return tuple(outages)


def _known_vessel(name: str | None, vessel_ids: Sequence[str], scope: Scope) -> None:
    if name is not None and name not in vessel_ids:
        expected = f"the id of a [[vessel]]: {listed(vessel_ids)}"
        scope.add("vessel", shown(name), expected, remedy_for(name, vessel_ids))


def tables_of(value: object, what: str, scope: Scope) -> list[Table]:
    """Return the tables of a kind that comes again; none, and a mistake noted, where it is something else."""
    if value is None:
        return []
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        scope.add(what, shown(value), f"[[{what}]] tables, in double brackets", f"write [[{what}]] above each one")
        return []
    return value


def called(what: str, table: Table, number: int) -> str:
    """Return how a table is named in messages: by its id where it has one."""
    name = table.get("id")
    return f"{what} {shown(name)[1:-1]}" if isinstance(name, str) and name.strip() else f"{what} {number}"


def _read_vessel(table: Table, place: Place, scope: Scope) -> Vessel | None:
    before = len(scope.problems)
    values = read_table(table, VESSEL, place, scope, also=_INNER)
    values |= _retention(table.get("required_retention"), place, scope)
    values["water_dump"] = _controls(table, "water_dump", WATER_DUMP, WaterDump, place, scope)
    values["oil_valve"] = _controls(table, "oil_valve", OIL_VALVE, BackPressureValve, place, scope)
    values["gas_valve"] = _controls(table, "gas_valve", BACK_PRESSURE_VALVE, BackPressureValve, place, scope)
    values |= _heating(table.get("heating"), place, scope)
    values["limits"] = read_limits(table.get("limits", {}), place, scope)
    if not {"id", "service"} <= values.keys():
        return None
    vessel = Vessel(**values)
    find_impossible(vessel, scope)
    return vessel if len(scope.problems) == before else None


def _retention(value: object, place: Place, scope: Scope) -> dict[str, float]:
    if value is None:
        return {}
    if not isinstance(value, dict):
        scope.add("required_retention", shown(value), '{ water = "8 min", oil = "10 min" }', "write it as a table")
        return {}
    seconds = read_table(value, REQUIRED_RETENTION, place, scope.inside("required_retention"))
    return {name: duration_s / _S_PER_MIN for name, duration_s in seconds.items()}


def _heating(value: object, place: Place, scope: Scope) -> dict[str, Heating]:
    if value is None:
        return {}
    if not isinstance(value, dict):
        scope.add("heating", shown(value), "a table [vessel.heating]", "write [vessel.heating] above its keys")
        return {}
    values = read_table(value, HEATING, place, scope.inside("heating"))
    return {"heating": Heating(**values)} if len(values) == len(HEATING) else {}


_Control = TypeVar("_Control", WaterDump, BackPressureValve)


def _controls(
    table: Table, name: str, keys: Sequence[Key], made: type[_Control], place: Place, scope: Scope
) -> tuple[_Control, ...]:
    """Return the dated settings of one control, earliest first."""
    value = table.get(name)
    if value is None:
        return ()
    tables = value if isinstance(value, list) else [value]
    if not tables or not all(isinstance(item, dict) for item in tables):
        scope.add(name, shown(value), f"a table [vessel.{name}]", f"write [vessel.{name}] above its keys")
        return ()
    settings = []
    for number, item in enumerate(tables, start=1):
        inner = scope.inside(name if len(tables) == 1 else f"{name} {number}")
        settings.append(made(**read_table(item, keys, place, inner)))
    _find_same_date([s.valid_from for s in settings], tables, name, scope)
    return tuple(sorted(settings, key=lambda s: (s.valid_from is not None, s.valid_from and s.valid_from.timestamp())))


def _find_same_date(
    dates: Sequence[datetime | None], tables: Sequence[Mapping[str, Any]], name: str, scope: Scope
) -> None:
    for number, when in enumerate(dates):
        if when in dates[:number]:
            scope.inside(f"{name} {number + 1}").add(
                "valid_from",
                "nothing" if when is None else shown(tables[number]["valid_from"]),
                "a date of its own for each table, and at most one table without",
                "give the later settings the date from which they hold",
            )
