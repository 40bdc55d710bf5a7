"""The unit in a column's name is the column's unit, and every `[unit]` in a docstring is one.

Pint's own registry is the reference for what a unit is; the trade's units that it lacks are read by `units`.
"""

import ast
import importlib.util
import re
from collections.abc import Iterator
from pathlib import Path

import pint
import polars as pl
import pytest

from nightgauge.units import DIMENSIONS, UnitProblem, conversion
from nightgauge.vocabulary.frames import STORED_FRAMES, TIME, VESSEL_SAMPLES, Column
from nightgauge.vocabulary.signals import SIGNALS

SUFFIXES = {
    "_m3_per_day_per_kpa": "m3/day/kPa",
    "_kpa_per_m3_per_day": "kPa/(m3/day)",
    "_m3_per_day": "m3/day",
    "_mg_l": "mg/L",
    "_per_1000m3_gas": "1/1000m3",
    "_fraction": "1",
    "_kpag": "kPag",
    "_kpa": "kPa",
    "_m3": "m3",
    "_min": "min",
    "_days": "days",
    "_kg": "kg",
    "_mj": "MJ",
    "_ah": "Ah",
    "_a": "A",
    "_c": "degC",
    "_h": "h",
    "_s": "s",
    "_m": "m",
}
"""Longest first: the unit that a name's end tells."""
NAMED_WHOLE = {"cv_effective": "gpm/psi^0.5", "confidence": "1", "swing_regularity": "1"}
"""Names whose quantity has one unit in all the trade, or none."""
TIMES_OF_THE_FORMAT = {"onset", "first_reported", "last_seen", "cleared_at", "last_night"}
"""Names of times of a finding; the first four are fixed by the format of findings."""

COLUMNS = {(frame.name, column.name): column for frame in (*STORED_FRAMES, VESSEL_SAMPLES) for column in frame.columns}


def unit_by_name(name: str) -> str:
    """Return the unit that a column's name tells, "" if it tells none."""
    if name in NAMED_WHOLE:
        return NAMED_WHOLE[name]
    if name == "coverage" or name.removeprefix("coverage_") in SIGNALS:
        return "1"
    return next((unit for suffix, unit in SUFFIXES.items() if name.endswith(suffix)), "")


@pytest.mark.parametrize("column", COLUMNS.values(), ids=[".".join(key) for key in COLUMNS])
def test_a_columns_name_tells_its_unit(column: Column) -> None:
    is_number = column.dtype == pl.Float64
    assert column.unit == (unit_by_name(column.name) if is_number else "")


def test_a_time_in_utc_says_so() -> None:
    times = {name for (_, name), column in COLUMNS.items() if column.dtype == TIME and not name.endswith("_utc")}
    assert times == TIMES_OF_THE_FORMAT


def test_every_signal_is_kept_in_the_inside_unit_of_its_dimension() -> None:
    for signal in SIGNALS.values():
        expected = {"state": "1", "text": "text"}.get(signal.dimension) or DIMENSIONS[signal.dimension].si
        assert signal.si == expected


REGISTRY = pint.UnitRegistry()
NO_UNITS = {
    "1",
    "sigma",  # multiples of a series' own standard deviation
    "s since 1970",
    "us since 1970",
    "gpm/psi^0.5",  # of a valve's flow coefficient; pint knows no gpm
    "mPa s = cP",
    "value x s",  # a signal's unit times seconds
    "characters",
    "samples",  # of an evenly sampled record
    "bytes",
    "px",
}
"""What may stand in square brackets besides units."""


def is_unit(text: str) -> bool:
    """Return whether a text is a unit to this project or, with powers written out, to pint."""
    for dimension in DIMENSIONS:
        try:
            conversion(text, dimension)
        except UnitProblem:
            continue
        return True
    try:
        REGISTRY.parse_units(re.sub(r"([a-zA-Z])([23])\b", r"\1**\2", text).replace("^", "**"))
    except (pint.errors.PintError, ValueError, TypeError):
        return False
    return True


def bracketed(docstring: str) -> Iterator[str]:
    """Yield what stands in square brackets in a docstring's prose: not in code, not in examples, not `[[table]]`."""
    prose = re.sub(r"`[^`]*`", "", docstring)
    prose = re.sub(r"^\s*>>>.*(?:\n(?!\s*$|\s*>>>).*)*", "", prose, flags=re.MULTILINE)
    for inside in re.findall(r"(?<=\s)\[([^\[\]\n]+)\](?=[\s.,;:)]|$)", prose):
        yield from inside.split(", ")


def docstrings() -> Iterator[tuple[str, str]]:
    """Yield every docstring of the package, also those under constants and fields, with the module it stands in."""
    spec = importlib.util.find_spec("nightgauge")
    assert spec is not None
    assert spec.origin is not None
    for module in sorted(Path(spec.origin).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(module.read_text("utf-8"))):
            if (
                isinstance(node, ast.Expr)
                and isinstance(node.value, ast.Constant)
                and isinstance(node.value.value, str)
            ):
                yield module.stem, node.value.value


def test_every_unit_in_a_docstring_is_one() -> None:
    found = [(module, unit) for module, text in docstrings() for unit in bracketed(text)]
    assert len(found) > 50  # brackets are found at all
    assert [(module, unit) for module, unit in found if unit not in NO_UNITS and not is_unit(unit)] == []


@pytest.mark.parametrize(
    ("docstring", "units"),
    [
        ("Level of the interface. [m]", ["m"]),
        ("Volume and time. [m3, s]\n\nMore.", ["m3", "s"]),
        ("Set by `[limits.<kind>]` and [[vessel]].\n\n>>> [1, 2]\n[1, 2]\n\nRate. [m3/day]", ["m3/day"]),
        ("Item x[3] of it.", []),
    ],
)
def test_brackets_in_prose_are_units_and_those_in_code_are_not(docstring: str, units: list[str]) -> None:
    assert list(bracketed(docstring)) == units


@pytest.mark.parametrize(("text", "expected"), [("kg/m3", True), ("m/s2", True), ("bbl/day", True), ("furry", False)])
def test_a_unit_is_told_from_a_word(text: str, expected: bool) -> None:
    assert is_unit(text) == expected
