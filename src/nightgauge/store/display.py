"""Views of the tables in the units people read, made from the frames and from `units`; no factor stands here.

Meanings and units of tables and columns are written into the database beside them, as comments.

A view's columns are the table's; a quantity is converted and its name ends in the display unit. Columns whose
quantity depends on the row's signal keep their names, and a column `unit` says what they are in.
"""

import hashlib
from collections.abc import Iterator

import duckdb

from nightgauge.store.remembered import remember
from nightgauge.store.schema import IN_FORCE, TABLES
from nightgauge.units import DIMENSIONS, Conversion, System, conversion
from nightgauge.vocabulary.frames import (
    ANODES,
    BACK_PRESSURE,
    CARRYOVER,
    DUMP_CYCLES,
    SIGNAL_HOURS,
    VESSEL_CAPACITY,
    VESSEL_DAYS,
    VESSEL_HOURS,
    WELL_TESTS,
    Column,
)
from nightgauge.vocabulary.signals import SIGNALS

PLAIN_FRAMES = (
    DUMP_CYCLES, VESSEL_HOURS, VESSEL_DAYS, WELL_TESTS, VESSEL_CAPACITY, BACK_PRESSURE, CARRYOVER, ANODES,
)  # fmt: skip
"""Tables whose columns each have one unit."""

SIGNAL_LEVELS = ("first", "last", "mean", "minimum", "maximum", "p10", "p90")
SIGNAL_DIFFERENCES = ("deviation", "swing", "net_change")
"""Columns of SIGNAL_HOURS in the signal's unit: readings, and differences between readings (no zero shift)."""

_ENDINGS = {
    "m": "_m", "m3": "_m3", "m3/day": "_m3_per_day", "kPag": "_kpag", "kPa": "_kpa", "degC": "_c",
    "in": "_in", "mm": "_mm", "bbl": "_bbl", "bbl/day": "_bbl_per_day", "Mcf": "_mcf", "Mcf/day": "_mcf_per_day",
    "psig": "_psig", "psi": "_psi", "degF": "_f", "s": "_s", "min": "_min", "1": "_fraction", "%": "_percent",
    "kg": "_kg", "lb": "_lb", "MJ": "_mj", "MMBtu": "_mmbtu",
    "m3/day/kPa": "_m3_per_day_per_kpa", "bbl/day/psi": "_bbl_per_day_per_psi",
}  # fmt: skip
"""How a column's name says its unit."""

_DIMENSION_OF = {
    "m": "length", "m3": "volume", "m3/day": "liquid rate", "kPag": "pressure", "kPa": "pressure difference",
    "degC": "temperature", "s": "duration", "1": "fraction", "kg": "mass", "MJ": "energy",
    "m3/day/kPa": "productivity index",
}  # fmt: skip
"""The quantity a column's unit speaks of, where people read it in another unit."""


def set_display(con: duckdb.DuckDBPyConnection, system: System) -> None:
    """Make the views speak this system, within the caller's transaction; nothing is done where they do already."""
    statements = (*view_statements(system), *comment_statements())
    if remember(con, "display_views", f"{system} {hash_of(statements)}"):
        remember(con, "display_units", system)
        for statement in statements:
            con.execute(statement)


def hash_of(statements: tuple[str, ...]) -> str:
    """Return a short text that differs where the views differ."""
    return hashlib.sha256("\n".join(statements).encode()).hexdigest()[:16]


def view_statements(system: System) -> Iterator[str]:
    """Yield the statements that make all views in one system of units."""
    for frame in PLAIN_FRAMES:
        columns = ",\n    ".join(_shown(column, system) for column in frame.columns)
        yield f"CREATE OR REPLACE VIEW {frame.name}_display AS SELECT\n    {columns}\nFROM {frame.name}"
    columns = ",\n    ".join(_shown_of_signal(column, system) for column in SIGNAL_HOURS.columns)
    yield (
        f"CREATE OR REPLACE VIEW signal_hour_display AS SELECT\n    {columns},\n    unit\n"
        f"FROM signal_hour LEFT JOIN {_signal_units(system)} ON {_OF_ROW}"
    )
    yield (
        "CREATE OR REPLACE VIEW sample_display AS SELECT\n"
        "    tag, vessel, signal, time_utc, (value - constant_) / factor_ AS value, units.unit,\n"
        "    text_value, flag, file_id\n"
        f"FROM sample JOIN tag USING (tag_id) LEFT JOIN {_signal_units(system)} ON {_OF_ROW}\nWHERE {IN_FORCE}"
    )


def comment_statements() -> Iterator[str]:
    """Yield the statements that write each table's and column's meaning into the database."""
    for frame in TABLES:
        yield f"COMMENT ON TABLE {frame.name} IS {_quoted('One row is ' + frame.row)}"
        for column in frame.columns:
            unit = f" [{column.unit}]" if column.unit else ""
            yield f'COMMENT ON COLUMN {frame.name}."{column.name}" IS {_quoted(column.meaning + unit)}'


def _quoted(text: str) -> str:
    """Return a text as SQL writes it."""
    return "'" + text.replace("'", "''") + "'"


def _signal_units(system: System) -> str:
    """Return a table of what each signal is read in: value = (stored - constant_) / factor_."""
    rows = []
    for signal in SIGNALS.values():
        known = DIMENSIONS.get(signal.dimension)
        unit = known.display(system) if known else ""
        map_ = conversion(unit, signal.dimension) if known else Conversion(1.0, 0.0)
        rows.append(f"('{signal.name}', {_double(map_.factor)}, {_double(map_.constant)}, '{unit}')")
    return f"(VALUES {', '.join(rows)}) AS units(base, factor_, constant_, unit)"


_OF_ROW = "units.base = split_part(signal, ':', 1)"
"""How a row finds its signal's unit: by the part of the name before the colon, as `vocabulary.signals.base_name`."""


def _shown_of_signal(column: Column, system: System) -> str:
    if column.name in SIGNAL_LEVELS:
        return f'("{column.name}" - constant_) / factor_ AS "{column.name}"'
    if column.name in SIGNAL_DIFFERENCES:
        return f'"{column.name}" / factor_ AS "{column.name}"'
    return _shown(column, system)


def _shown(column: Column, system: System) -> str:
    """Return one column of a view: converted and renamed where people read it in another unit."""
    dimension = _dimension_of(column)
    if dimension is None:
        return f'"{column.name}"'
    unit = DIMENSIONS[dimension].display(system)
    map_ = conversion(unit, dimension)
    value = f'("{column.name}" - {_double(map_.constant)})' if map_.constant else f'"{column.name}"'
    return f'{value} / {_double(map_.factor)} AS "{display_name(column, unit)}"'


def _dimension_of(column: Column) -> str | None:
    """Return the quantity a column speaks of, or None where people read it as it is stored."""
    if column.name == "gas_m3":
        # A volume of gas is read in the unit of its rate times a day; liquids share cubic metres, but not that unit.
        return "gas rate"
    return _DIMENSION_OF.get(column.unit)


def display_name(column: Column, unit: str) -> str:
    """Return a column's name with the display unit for its ending.

    Examples
    --------
    >>> display_name(DUMP_CYCLES.columns[3], "in")
    'opening_level_in'

    """
    shown = unit if "/day" in column.unit else unit.removesuffix("/day")
    return column.name.removesuffix(_ENDINGS[column.unit]) + _ENDINGS[shown]


def _double(number: float) -> str:
    """Return a number as the database reads it in double precision; without exponent it would be a decimal."""
    return f"{number!r}e0" if "e" not in repr(number) else repr(number)
