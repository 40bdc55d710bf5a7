"""Reading a field folder: field.toml and tags.csv become one frozen `Field`, or all their mistakes one error."""

import re
import tomllib
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from nightgauge.errors import FieldFolderError
from nightgauge.field.anode_tags import name_currents
from nightgauge.field.equipment import read_anodes, read_prices, read_tanks
from nightgauge.field.exports import find_bad_patterns, find_bad_time_format
from nightgauge.field.keys import FIELD
from nightgauge.field.lake import find_bad_lake, lake_address
from nightgauge.field.limits import read_limits
from nightgauge.field.lists import Known, read_gauges, read_inspections, read_routings, read_tests
from nightgauge.field.problems import Scope, remedy_for, shown
from nightgauge.field.settings import Field, TagRow
from nightgauge.field.tables import Place, Table, read_table, read_value
from nightgauge.field.tags import read_tags
from nightgauge.field.vessels import find_duplicate_ids, ids_in, read_outages, read_vessels, read_wells
from nightgauge.units import STANDARD_ATMOSPHERE_KPA

FILE_NAME = "field.toml"
_TABLES = ("vessel", "well", "outage", "anode", "tank", "prices", "limits")
_KEYS = {key.name: key for key in FIELD}


def read_field(path: Path) -> Field:
    """Return the field that a folder describes.

    Parameters
    ----------
    path : Path
        The field.toml, or the folder it stands in.

    Raises
    ------
    FieldFolderError
        With every mistake in field.toml and tags.csv.

    """
    file = (path / FILE_NAME if path.is_dir() else path).absolute()
    scope = Scope(file.name)
    table = _toml(file, scope)
    if table is None:
        _tags_in_usual_place(file.parent, scope)
        raise FieldFolderError(scope.problems)
    place = _place(table, scope)
    values = read_table(table, FIELD, place, scope, also=_TABLES)
    ids = ids_in(table.get("vessel"))
    if "vessel" not in table:
        scope.add("vessel", "nothing", "at least one [[vessel]]", "describe the vessels")
    values["vessels"] = read_vessels(table.get("vessel"), place, scope)
    find_duplicate_ids(table.get("vessel"), "vessel", scope)
    values["wells"] = read_wells(table.get("well"), ids, place, scope)
    find_duplicate_ids(table.get("well"), "well", scope)
    values["outages"] = read_outages(table.get("outage"), ids, place, scope)
    values["limits"] = read_limits(table.get("limits", {}), place, scope)
    find_bad_patterns(values.get("streams"), scope)
    find_bad_time_format(values.get("time_format"), scope)
    find_bad_lake(values.get("samples"), values.get("lake"), scope)
    values["anodes"] = read_anodes(table.get("anode"), ids, place, scope)
    values["tanks"] = read_tanks(table.get("tank"), place, scope)
    find_duplicate_ids(table.get("tank"), "tank", scope)
    values["prices"] = read_prices(table.get("prices"), place, scope)
    known = Known(
        ids,
        ids_in(table.get("well")),
        ids_in(table.get("tank")),
        [(anode.vessel, anode.id) for anode in values["anodes"]],
    )
    values |= _lists(file.parent, values, known, place, scope)
    if "tags" in values:
        values["tags"] = _tags(file.parent, values["tags"], ids, place, scope)
    if not scope.problems:  # a line left out of tags.csv for a mistake would be missed again
        values["tags"] = name_currents(values["tags"], values["anodes"], scope)
    if scope.problems:
        raise FieldFolderError(scope.problems)
    return _field(file, values)


def _field(file: Path, values: dict[str, Any]) -> Field:
    values.setdefault("atmospheric_pressure_kpa", STANDARD_ATMOSPHERE_KPA)
    for key, default in (("database", "nightgauge.duckdb"), ("reports", "reports")):
        values[key] = file.parent / values.get(key, default)
    values["lake"] = lake_address(values.get("lake"), file.parent)
    return Field(path=file, **values)


def _text(file: Path, scope: Scope) -> str | None:
    """Return the text of a file, without the byte-order mark that some editors put first."""
    try:
        return file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        scope.add("file", "no such file", f"{file}", "correct the path or make the file")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        scope.add(f"line {line}", "bytes that are not UTF-8", "a text in UTF-8", "save the file as UTF-8")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        scope.add("file", reason, "a file that can be read", f"look at {file}")
    return None


def _toml(file: Path, scope: Scope) -> Table | None:
    text = _text(file, scope)
    if text is None:
        return None
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message, _, place = str(error).partition(" (at ")
        remedy = "correct it there; texts stand between double quotes, tables that come again in double brackets"
        scope.add(place.rstrip(")") or "file", _line_at(place, text), f"TOML ({message})", remedy)
    return None


def _line_at(place: str, text: str) -> str:
    number = re.match(r"line (\d+)", place)
    return shown(text.split("\n")[int(number[1]) - 1].strip()) if number else "something unfinished"


def _place(table: Table, scope: Scope) -> Place:
    """Return zone and air of the field, or stand-ins that let the rest be checked where they are wrong."""
    zone = _zone(table, scope)
    air = table.get("atmospheric_pressure")
    if air is None:
        return Place(zone)
    try:
        return Place(zone, read_value(air, _KEYS["atmospheric_pressure"], Place(zone)))
    except ValueError:
        return Place(zone)


def _zone(table: Table, scope: Scope) -> ZoneInfo:
    name = table.get("time_zone")
    if not isinstance(name, str) or not name.strip():
        return ZoneInfo("UTC")
    try:
        return ZoneInfo(name.strip())
    except (ZoneInfoNotFoundError, ValueError, OSError):
        remedy = remedy_for(name, available_timezones())
        scope.add("time_zone", shown(name), 'an IANA time zone like "America/Denver"', remedy)
    return ZoneInfo("UTC")


def _tags_in_usual_place(folder: Path, scope: Scope) -> None:
    """Note the mistakes in a tags.csv of a folder whose field.toml cannot be read, as far as they show without it."""
    if (folder / "tags.csv").is_file():
        _tags(folder, "tags.csv", [], Place(ZoneInfo("UTC")), scope)


_LISTS = (
    ("tests", "tests", read_tests),
    ("routing", "routings", read_routings),
    ("gauges", "gauges", read_gauges),
    ("inspections", "inspections", read_inspections),
)
"""Key of field.toml, which is also the usual name of the file; attribute of the field; how it is read."""


def _lists(folder: Path, values: dict[str, Any], known: Known, place: Place, scope: Scope) -> dict[str, Any]:
    """Return the optional lists; a list that field.toml names must be there."""
    found: dict[str, Any] = {}
    for key, attribute, read in _LISTS:
        named = values.pop(key, None)
        name = named or f"{key}.csv"
        if named is None and not (folder / name).is_file():
            continue
        inner = Scope(name, problems=scope.problems)
        text = _text(folder / name, inner)
        if text is not None:
            found[attribute] = read(text, known, place, inner)
    return found


def _tags(folder: Path, name: str, ids: list[str], place: Place, scope: Scope) -> tuple[TagRow, ...]:
    inner = Scope(name, problems=scope.problems)
    text = _text(folder / name, inner)
    return () if text is None else read_tags(text, ids, place, inner)
