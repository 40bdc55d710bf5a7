"""Units: text with a unit in, SI floats inside, display units out. The only home of pint.

Inside, numbers are SI-like floats whose unit is in the name of the column or field (``level_m``,
``pressure_kpag``). Gauge and absolute pressures differ by the field's atmospheric pressure, which is
an argument, never a constant of this module.

A unit is read by the spellings of the trade listed here, in which a barrel has 42 gallons and M is
thousand, and beyond them by names that pint knows, spelled out in full. Abbreviations that only pint
knows are refused: its ``bbl`` has 31.5 gallons, its ``cfm`` is a length and its ``M`` is million.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
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
        Dimension("pump curve slope", "kPa*day/m3", "psi*day/bbl", "kPa*day/m3", "psi*day/bbl, kPa*day/m^3"),
        Dimension("mass", "kg", "lb", "kg", "lb, kg"),
        Dimension("energy", "MJ", "MMBtu", "MJ", "MMBtu, MJ, kWh"),
    )
}
"""The quantities that field folders, frames and pages speak of, by name."""


class UnitProblem(ValueError):
    """A text is not a quantity of the asked dimension; the message says what was found and accepted."""


_LENGTHS = {
    "m": "meter", "metre": "meter", "metres": "meter", "dm": "decimeter", "cm": "centimeter", "mm": "millimeter",
    "km": "kilometer", "ft": "foot", "feet": "foot", "in": "inch", "inch": "inch", "inches": "inch", "yd": "yard",
    "thou": "thou",
}  # fmt: skip
_VOLUMES = {
    "bbl": "oil_bbl", "bbls": "oil_bbl", "barrel": "oil_bbl", "barrels": "oil_bbl", "stb": "oil_bbl",
    "Mbbl": "thousand_oil_bbl", "MMbbl": "million_oil_bbl", "gal": "gallon", "L": "liter", "litre": "liter",
    "litres": "liter", "kL": "kiloliter",
}  # fmt: skip
_LIQUID_RATES = {
    "bpd": "oil_bbl/day", "bopd": "oil_bbl/day", "bwpd": "oil_bbl/day", "bfpd": "oil_bbl/day", "bph": "oil_bbl/hour",
    "gpm": "gallon/minute", "gph": "gallon/hour", "gpd": "gallon/day", "lpm": "liter/minute",
}  # fmt: skip
_GAS_VOLUMES = {
    "cf": "foot**3", "Mcf": "thousand_cubic_foot", "MMcf": "million_cubic_foot",
    "scf": "foot**3", "Mscf": "thousand_cubic_foot", "MMscf": "million_cubic_foot",
    "e3m3": "thousand_cubic_meter", "Sm3": "cubic_meter_at_15_degc", "Nm3": "cubic_meter_at_0_degc",
}  # fmt: skip
_GAS_RATES = {
    "scfd": "foot**3/day", "Mcfd": "thousand_cubic_foot/day", "MMcfd": "million_cubic_foot/day",
    "Mscfd": "thousand_cubic_foot/day", "MMscfd": "million_cubic_foot/day",
    "scfm": "foot**3/minute", "scfh": "foot**3/hour",
}  # fmt: skip
_TIMES = {
    "s": "second", "sec": "second", "min": "minute", "mins": "minute", "h": "hour", "hr": "hour", "hrs": "hour",
    "hour": "hour", "hours": "hour", "d": "day", "day": "day", "days": "day", "week": "week", "weeks": "week",
}  # fmt: skip
_PRESSURES = {
    "psi": "psi", "Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal", "MPa": "megapascal", "bar": "bar",
    "mbar": "millibar", "atm": "atmosphere", "torr": "torr", "mmHg": "mmHg", "inHg": "inHg", "inH2O": "inH2O",
    "inWC": "inH2O", "ftH2O": "ftH2O", "kg/cm2": "kilogram_force/centimeter**2",
    "kgf/cm2": "kilogram_force/centimeter**2", "lb/in2": "psi", "lbf/in2": "psi",
}  # fmt: skip
_MASSES = {"mg": "milligram", "g": "gram", "kg": "kilogram"}
_WEIGHTS = _MASSES | {"lb": "pound", "lbs": "pound", "t": "metric_ton"}
_ENERGIES = {
    "J": "joule", "kJ": "kilojoule", "MJ": "megajoule", "GJ": "gigajoule", "Wh": "watt_hour", "kWh": "kilowatt_hour",
    "MWh": "megawatt_hour", "Btu": "Btu", "MBtu": "thousand_btu", "MMBtu": "million_btu", "therm": "therm",
}  # fmt: skip
_CURRENTS = {"A": "ampere", "mA": "milliampere", "amp": "ampere", "amps": "ampere"}
_LIQUIDS = _LENGTHS | _VOLUMES | _LIQUID_RATES | _TIMES
_DIFFERENCES = _PRESSURES | {"psid": "psi"}

_SPELLINGS: dict[str, tuple[str, Mapping[str, str]]] = {
    "length": ("meter", _LENGTHS),
    "pressure": ("kilopascal", _PRESSURES),
    "pressure difference": ("kilopascal", _DIFFERENCES),
    "volume": ("meter**3", _LENGTHS | _VOLUMES),
    "liquid rate": ("meter**3/day", _LIQUIDS),
    "gas rate": ("meter**3/day", _LIQUIDS | _GAS_VOLUMES | _GAS_RATES),
    "duration": ("second", _TIMES),
    "concentration": ("gram/meter**3", _MASSES | _LENGTHS | _VOLUMES),
    "current": ("ampere", _CURRENTS),
    "productivity index": ("meter**3/day/kilopascal", _LIQUIDS | _DIFFERENCES),
    "pump curve slope": ("kilopascal*day/meter**3", _LIQUIDS | _DIFFERENCES),
    "mass": ("kilogram", _WEIGHTS),
    "energy": ("megajoule", _ENERGIES),
}
"""For each dimension: the unit pint is to give, and how people spell the names that its units are made of."""

_FRACTIONS = {"%": 0.01, "percent": 0.01, "pct": 0.01, "": 1.0, "1": 1.0, "fraction": 1.0, "frac": 1.0}
_GRAVITIES = {"degapi", "api", "°api"}
_FAHRENHEIT = {"degf", "f", "°f", "fahrenheit"}
_CELSIUS = {"degc", "c", "°c", "celsius"}
_KELVIN = {"k", "kelvin"}

_INSTEAD = {
    "cfm": "write ft^3/min",
    "cfd": "write ft^3/day",
    "mil": "write thou for 0.001 in",
    "ppm": "write mg/L if that is what is meant; parts per million do not say of what",
    "MM": "write mm for millimetres; MM is million, and read so before bbl, cf and scf only",
}
"""Names in use that would be read wrongly or in more than one way, with what to write."""

_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*?)\s*", re.DOTALL)
_COMMA_IN_NUMBER = re.compile(r"\s*[+-]?[0-9][0-9.]*,[0-9]")
_BETWEEN_NAMES = re.compile(r"\s*([*/])\s*")
_POWER = re.compile(r"(.*?)\s*(?:\^|\*\*)?\s*([23])")
_REFERENCE = re.compile(r"(.+?)[ _]?\(?(g|ga|gauge|a|abs|absolute)\)?", re.IGNORECASE)
_SPELLED_OUT = re.compile(r"[a-z]{5,}")
_NOT_MILLI = ("min", "met")
_NO_OIL_BARREL = re.compile("bbl|barrel")

_STANDARD_KELVIN = Fraction(51967, 180)
"""60 degF, the temperature of the trade's standard conditions. [K]"""


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    # Fractions keep the definitions exact: 42 x 231 cubic inches is 0.158987294928 m3 to the last digit.
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
    registry.define("thousand_cubic_foot = 1000 * foot**3")
    registry.define("million_cubic_foot = 1000000 * foot**3")
    registry.define("thousand_cubic_meter = 1000 * meter**3")
    registry.define("thousand_oil_bbl = 1000 * oil_bbl")
    registry.define("million_oil_bbl = 1000000 * oil_bbl")
    registry.define("thousand_btu = 1000 * Btu")
    registry.define("million_btu = 1000000 * Btu")
    # Ideal gas at 101.325 kPa taken to 14.696 psia and 60 degF: V2 = V1 p1 T2 / (p2 T1).
    for name, kelvin in (("cubic_meter_at_15_degc", 288.15), ("cubic_meter_at_0_degc", 273.15)):
        ratio = 101.325 / STANDARD_ATMOSPHERE_KPA * float(_STANDARD_KELVIN) / kelvin
        registry.define(f"{name} = {ratio!r} * meter**3")
    return registry


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
    >>> conversion("psia", "pressure", 101.325).apply(0.0)
    -101.325
    >>> round(conversion("bbl", "volume").apply(1.0), 12)
    0.158987294928

    """
    written = unit.strip()
    folded = written.casefold().replace(" ", "")
    if dimension == "pressure":
        return _pressure_conversion(written, atmospheric_pressure_kpa, bare_is_absolute=bare_is_absolute)
    if dimension == "fraction" and folded in _FRACTIONS:
        return Conversion(_FRACTIONS[folded], 0.0)
    if dimension == "temperature" and folded in _FAHRENHEIT:
        return Conversion(5.0 / 9.0, -160.0 / 9.0)
    if dimension == "temperature" and folded in _CELSIUS:
        return Conversion(1.0, 0.0)
    if dimension == "temperature" and folded in _KELVIN:
        return Conversion(1.0, -273.15)
    if dimension == "gravity" and folded in _GRAVITIES:
        return Conversion(1.0, 0.0)
    if dimension not in _SPELLINGS:
        raise UnitProblem(_not_a(written, dimension))
    return Conversion(_factor(written, dimension), 0.0)


def _pressure_conversion(written: str, atmosphere_kpa: float, *, bare_is_absolute: bool) -> Conversion:
    stem, is_absolute = written, bare_is_absolute
    match = _REFERENCE.fullmatch(written)
    if match is not None and _known_name(match[1].replace("^", ""), _PRESSURES) is not None:
        stem, is_absolute = match[1], match[2].casefold().startswith("a")
    factor = _factor(stem, "pressure")
    wanted_atmospheres = bare_is_absolute - is_absolute
    return Conversion(factor, wanted_atmospheres * atmosphere_kpa)


@cache
def _factor(written: str, dimension: str) -> float:
    """Return how many inside units one such unit is, exactly rounded."""
    target, _ = _SPELLINGS[dimension]
    spelled = _as_pint(written, dimension)
    try:
        return float(_registry().Quantity(Fraction(1), spelled).to(target).magnitude)
    except (pint.errors.PintError, ValueError) as error:
        raise UnitProblem(_not_a(written, dimension)) from error


def _as_pint(written: str, dimension: str) -> str:
    """Return a unit with every name in it as pint spells it."""
    _, names = _SPELLINGS[dimension]
    whole = _known_name(written.replace("^", ""), names)
    if whole is not None:
        return whole
    text = written.replace("·", "*").replace("²", "2").replace("³", "3").replace(" per ", "/").replace("**", "^")
    parts = _BETWEEN_NAMES.split(text)
    return "".join(part if part in ("*", "/") else _term(part, names, written, dimension) for part in parts)


def _term(text: str, names: Mapping[str, str], written: str, dimension: str) -> str:
    name = _known_name(text.replace("^", ""), names)
    if name is not None:
        return f"({name})"
    match = _POWER.fullmatch(text)
    stem, power = (match[1], match[2]) if match is not None else (text, "1")
    name = _known_name(stem, names) or _spelled_out(stem)
    if name is None:
        raise UnitProblem(_not_a(written, dimension, stem))
    return f"({name})**{power}"


def _known_name(text: str, names: Mapping[str, str]) -> str | None:
    """Return pint's name for a spelling of the trade, in any case that cannot mean something else."""
    if text in names:
        return names[text]
    spelled = next((name for name in names if name.casefold() == text.casefold()), None)
    if spelled is None or text in _INSTEAD:
        return None
    # Historians write in capitals or in small letters throughout; but "Mm" is no mm, and "mPa" is no MPa.
    is_one_case = text in (text.upper(), text.lower())
    is_safe = is_one_case or text[0] == spelled[0] or spelled[0] not in "mM" or spelled.startswith(_NOT_MILLI)
    return names[spelled] if is_safe else None


def _spelled_out(text: str) -> str | None:
    """Return the text if it is a unit's full name to pint, such as "hectopascal" or "furlongs", but no other barrel."""
    if not _SPELLED_OUT.fullmatch(text) or _NO_OIL_BARREL.search(text):
        return None
    readings = _registry().parse_unit_name(text)
    names = {prefix + name + plural for prefix, name, _ in readings for plural in ("", "s")}
    return text if text in names else None


def _not_a(written: str, dimension: str, name: str = "") -> str:
    wanted = DIMENSIONS[dimension]
    instead = _INSTEAD.get(name) or _INSTEAD.get(name.casefold()) or _INSTEAD.get(written.casefold())
    hint = f"; {instead}" if instead else ""
    return f"{_cut(written)} is not a unit of {wanted.name}; accepted are units like {wanted.examples}{hint}"


def _cut(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:59] + "…")  # a message stays one readable line


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
    >>> round(parse("46 in", "length"), 6)
    1.1684
    >>> round(parse("95 degF", "temperature"), 6)
    35.0

    """
    match = _NUMBER.fullmatch(text)
    example = f"12 {DIMENSIONS[dimension].examples.split(',')[0]}"
    if _COMMA_IN_NUMBER.match(text):
        raise UnitProblem(f"{_cut(text)} has a comma in its number; write it with a decimal point, like {example!r}")
    if match is None:
        raise UnitProblem(f"{_cut(text)} does not start with a number; write it like {example!r}")
    number, unit = match.groups()
    if not unit and dimension != "fraction":
        raise UnitProblem(f"{_cut(text)} has no unit; write it like {example!r}")
    converted = conversion(unit, dimension, atmospheric_pressure_kpa, bare_is_absolute=bare_is_absolute)
    value = converted.apply(float(number))
    if not math.isfinite(value):
        raise UnitProblem(f"{_cut(text)} is too large to be a {dimension}")
    return value


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
