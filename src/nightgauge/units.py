"""Units: text with a unit in, SI floats inside, display units out. The only home of pint.

Inside, numbers are SI-like floats whose unit is in the name of the column or field (``level_m``,
``pressure_kpag``). Gauge and absolute pressures differ by the field's atmospheric pressure, which is
an argument, never a constant of this module.
"""

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

import pint

System = Literal["oilfield", "metric"]

STANDARD_ATMOSPHERE_KPA = 14.696 * 6.894757293168361
"""14.696 psia, the pressure of the trade's standard conditions. [kPa]"""


@dataclass(frozen=True)
class Dimension:
    """One kind of quantity: its name, the unit used inside, and the units shown to people."""

    name: str
    si: str
    oilfield: str
    metric: str
    examples: str

    def display(self, system: System) -> str:
        """Return the unit people read in this system."""
        return self.oilfield if system == "oilfield" else self.metric


DIMENSIONS: dict[str, Dimension] = {
    d.name: d
    for d in (
        Dimension("length", "m", "in", "mm", "ft, in, m, cm, mm"),
        Dimension("pressure", "kPag", "psig", "kPag", "psi, psig, psia, kPa, kPag, bar, barg"),
        Dimension("pressure difference", "kPa", "psi", "kPa", "psi, kPa, bar"),
        Dimension("volume", "m3", "bbl", "m3", "bbl, gal, ft^3, m^3"),
        Dimension("liquid rate", "m3/day", "bbl/day", "m3/day", "bbl/day, bpd, gpm, m^3/day, ft^3/day"),
        Dimension("gas rate", "m3/day", "Mcf/day", "m3/day", "Mcf/d, MMscf/d, ft^3/day, m^3/day"),
        Dimension("temperature", "degC", "degF", "degC", "degF, degC"),
        Dimension("duration", "s", "min", "min", "s, min, h, d"),
        Dimension("gravity", "degAPI", "degAPI", "degAPI", "degAPI"),
        Dimension("fraction", "1", "%", "%", "%, fraction"),
        Dimension("concentration", "mg/L", "mg/L", "mg/L", "mg/L, g/m^3"),
        Dimension("current", "A", "A", "A", "A, mA"),
        Dimension("productivity index", "m3/day/kPa", "bbl/day/psi", "m3/day/kPa", "bbl/day/psi, m^3/day/kPa"),
    )
}
"""The quantities that field folders, frames and pages speak of, by name."""


class UnitProblem(ValueError):
    """A text is not a quantity of the asked dimension; the message says what was found and accepted."""


_NUMBER = re.compile(r"^\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_FIELD_SPELLINGS = (
    (re.compile(r"\bMMscf\b|\bMMcf\b"), "mega_cubic_foot"),
    (re.compile(r"\bMscf\b|\bMcf\b|\bmcf\b"), "kilo_cubic_foot"),
    (re.compile(r"\bscf\b|\bcf\b"), "cubic_foot"),
    (re.compile(r"\bMMbbl\b"), "mega_oil_barrel"),
    (re.compile(r"\bMbbl\b"), "thousand_oil_barrel"),
    (re.compile(r"\bbpd\b|\bBPD\b"), "oil_bbl/day"),
    (re.compile(r"\b(?:bbls?|BBLS?|barrels?)\b"), "oil_bbl"),
    (re.compile(r"\bgpm\b|\bGPM\b"), "gallon/minute"),
    (re.compile(r"\bm(?:\^|\*\*)?3\b"), "meter**3"),
    (re.compile(r"\bft(?:\^|\*\*)?3\b"), "foot**3"),
    (re.compile(r"\bin\b|\binches\b"), "inch"),
    (re.compile(r"\bmin\b"), "minute"),
    (re.compile(r"\b(?:hr|hrs|h)\b"), "hour"),
    (re.compile(r"\bd\b"), "day"),
    (re.compile(r"\bl\b|\bL\b"), "liter"),
    (re.compile(r"\^"), "**"),
)
_GAUGE = {"psig": "psi", "kpag": "kilopascal", "barg": "bar", "mbarg": "millibar", "mpag": "megapascal"}
_ABSOLUTE = {"psia": "psi", "kpaa": "kilopascal", "bara": "bar", "mbara": "millibar", "mpaa": "megapascal"}
_PLAIN_PRESSURE = {"kpa": "kilopascal", "psi": "psi", "bar": "bar", "mpa": "megapascal", "mbar": "millibar"}
_PERCENT = {"%", "percent", "pct"}
_TEMPERATURE = {
    "degf": "degF", "f": "degF", "°f": "degF", "degc": "degC", "c": "degC", "°c": "degC", "k": "kelvin",
}  # fmt: skip


@cache
def _registry() -> pint.UnitRegistry[float]:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    # A redefinition of bbl half takes effect in pint once used, so field spellings are rewritten instead.
    registry.define("mega_cubic_foot = 1e6 * foot**3")
    registry.define("kilo_cubic_foot = 1e3 * foot**3")
    registry.define("cubic_foot = foot**3")
    # In the trade M is thousand and MM million; to pint M is mega, and its own barrel is no oil barrel.
    registry.define("thousand_oil_barrel = 1e3 * oil_bbl")
    registry.define("mega_oil_barrel = 1e6 * oil_bbl")
    return registry


_PINT_UNITS = {
    "length": "meter",
    "pressure difference": "kilopascal",
    "volume": "meter**3",
    "liquid rate": "meter**3/day",
    "gas rate": "meter**3/day",
    "duration": "second",
    "concentration": "gram/meter**3",
    "current": "ampere",
    "productivity index": "meter**3/day/kilopascal",
}


@dataclass(frozen=True)
class Conversion:
    """An affine map from a unit to the unit used inside: ``si = value * factor + constant``."""

    factor: float
    constant: float

    def apply(self, value: float) -> float:
        """Return the value in the unit used inside."""
        return value * self.factor + self.constant

    def invert(self, si: float) -> float:
        """Return an inside value in this unit."""
        return (si - self.constant) / self.factor


def conversion(
    unit: str,
    dimension: str,
    atmospheric_pressure_kpa: float = STANDARD_ATMOSPHERE_KPA,
    *,
    bare_is_absolute: bool = False,
) -> Conversion:
    """Return the map from ``unit`` to the inside unit of ``dimension``.

    Parameters
    ----------
    unit : str
        As people write it: "psig", "bbl/day", "in", "degF", "%".
    dimension : str
        A name in `DIMENSIONS`.
    atmospheric_pressure_kpa : float
        Of the field, for units that say absolute. [kPa]
    bare_is_absolute : bool
        Whether a pressure unit that says neither gauge nor absolute is absolute; then the result is absolute too.

    Raises
    ------
    UnitProblem
        If the unit is unknown or of another dimension.

    Examples
    --------
    >>> round(conversion("psig", "pressure").apply(50.0), 3)
    344.738
    >>> round(conversion("psia", "pressure", 101.325).apply(14.695948775513), 6)
    0.0
    >>> round(conversion("bbl", "volume").apply(1.0), 12)
    0.158987294928

    """
    text = unit.strip()
    key = text.lower().replace(" ", "")
    wanted = DIMENSIONS[dimension]
    if dimension == "pressure":
        return _pressure_conversion(text, key, atmospheric_pressure_kpa, bare_is_absolute=bare_is_absolute)
    if dimension == "fraction":
        if key in _PERCENT:
            return Conversion(0.01, 0.0)
        if key in {"", "1", "fraction", "frac"}:
            return Conversion(1.0, 0.0)
        raise UnitProblem(_not_a(text, wanted))
    if dimension == "temperature":
        if key not in _TEMPERATURE:
            raise UnitProblem(_not_a(text, wanted))
        return {
            "degF": Conversion(5.0 / 9.0, -160.0 / 9.0),
            "degC": Conversion(1.0, 0.0),
            "kelvin": Conversion(1.0, -273.15),
        }[_TEMPERATURE[key]]
    if dimension == "gravity":
        if key in {"degapi", "api", "°api"}:
            return Conversion(1.0, 0.0)
        raise UnitProblem(_not_a(text, wanted))
    return Conversion(_factor(text, _PINT_UNITS[dimension], wanted), 0.0)


def _pressure_conversion(text: str, key: str, atmosphere_kpa: float, *, bare_is_absolute: bool) -> Conversion:
    wanted = DIMENSIONS["pressure"]
    if key in _GAUGE:
        factor, is_absolute = _factor(_GAUGE[key], "kilopascal", wanted), False
    elif key in _ABSOLUTE:
        factor, is_absolute = _factor(_ABSOLUTE[key], "kilopascal", wanted), True
    else:
        factor, is_absolute = _factor(_PLAIN_PRESSURE.get(key, text), "kilopascal", wanted), bare_is_absolute
    if bare_is_absolute:
        return Conversion(factor, 0.0 if is_absolute else atmosphere_kpa)
    return Conversion(factor, -atmosphere_kpa if is_absolute else 0.0)


@cache
def _factor(text: str, target: str, wanted: Dimension) -> float:
    spelled = text
    for pattern, replacement in _FIELD_SPELLINGS:
        spelled = pattern.sub(replacement, spelled)
    try:
        factor = _registry().Quantity(1.0, spelled).to(target).magnitude
    except Exception as error:  # pint raises a dozen types, tokenizer errors among them, on arbitrary text
        raise UnitProblem(_not_a(text, wanted)) from error
    if not math.isfinite(factor):
        raise UnitProblem(_not_a(text, wanted))
    return float(factor)


def _not_a(text: str, wanted: Dimension) -> str:
    return f"{text!r} is not a unit of {wanted.name}; accepted are units like {wanted.examples}"


def parse(
    text: str,
    dimension: str,
    atmospheric_pressure_kpa: float = STANDARD_ATMOSPHERE_KPA,
    *,
    bare_is_absolute: bool = False,
) -> float:
    """Return a text such as "46 in" as a float in the inside unit of ``dimension``.

    Raises
    ------
    UnitProblem
        If the text has no number, no unit, or a unit of another dimension.

    Examples
    --------
    >>> parse("46 in", "length")
    1.1684
    >>> round(parse("95 degF", "temperature"), 6)
    35.0

    """
    match = _NUMBER.match(text)
    if match is None:
        raise UnitProblem(f"{text!r} does not start with a number; write it like {_example(dimension)!r}")
    number, unit = match.groups()
    if not unit and dimension != "fraction":
        raise UnitProblem(f"{text!r} has no unit; write it like {_example(dimension)!r}")
    converted = conversion(unit, dimension, atmospheric_pressure_kpa, bare_is_absolute=bare_is_absolute)
    return converted.apply(float(number))


def _example(dimension: str) -> str:
    return f"12 {DIMENSIONS[dimension].examples.split(',')[0]}"


def to_display(si: float, dimension: str, system: System) -> tuple[float, str]:
    """Return an inside value as people read it, with its unit.

    Examples
    --------
    >>> value, unit = to_display(310.264, "pressure", "oilfield")
    >>> round(value, 1), unit
    (45.0, 'psig')

    """
    unit = DIMENSIONS[dimension].display(system)
    return conversion(unit, dimension).invert(si), unit
