"""Inside values as people read them: the field's display units, sensibly rounded.

At most three significant figures; levels to 0.1 in (1 mm), pressures to 0.1 psi (1 kPa): nobody reads a
sight glass or a gauge closer than that.
"""

import math
from dataclasses import dataclass

import polars as pl

from nightgauge.units import DIMENSIONS, System, conversion

_DIMENSION_OF_UNIT = {
    "m": "length",
    "kPag": "pressure",
    "kPa": "pressure difference",
    "m3": "volume",
    "m3/day": "liquid rate",
    "degC": "temperature",
    "1": "fraction",
    "mg/L": "concentration",
    "A": "current",
    "kg": "mass",
    "m3/day/kPa": "productivity index",
    "MJ": "energy",
}
_DECIMALS = {"in": (1, 1000), "psig": (1, 1000), "psi": (1, 1000), "min": (1, 20), "%": (1, 10)}
"""Unit to decimals, and the size from which whole numbers do."""
_BARE = {"min", "%"}
"""Written without a needless ".0"; on a gauge the tenth is part of the reading."""
_WHOLE = {"mm", "kPag", "kPa", "degF", "degC"}
_SIGNIFICANT_FIGURES = 3
NOT_KNOWN = "not known"


@dataclass(frozen=True)
class Shown:
    """One quantity as people read it."""

    number: float
    text: str
    """The number, rounded, with thousands separated."""
    unit: str

    def __str__(self) -> str:
        """Return number and unit."""
        return f"{self.text} {self.unit}".strip()


def in_display_units(value: float, unit: str, system: System, about: str = "") -> tuple[float, str]:
    """Return an inside value in the field's display unit, unrounded.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : str
        An inside unit, also per day ("kPa/day"); an unknown one is handed back as it came.
    system : {"oilfield", "metric"}
        Of the field.
    about : str
        Name of the quantity; "gas" in it tells a gas rate from a liquid rate, which share one inside unit.

    Examples
    --------
    >>> number, unit = in_display_units(1.1684, "m", "oilfield")
    >>> round(number, 3), unit
    (46.0, 'in')
    >>> number, unit = in_display_units(6.894757, "kPa/day", "oilfield")
    >>> round(number, 3), unit
    (1.0, 'psi/day')

    """
    dimension, suffix = _dimension_of(unit, about)
    if dimension is None:
        return value, unit
    shown_unit = DIMENSIONS[dimension].display(system)
    return conversion(shown_unit, dimension).invert(value), shown_unit + suffix


def _dimension_of(unit: str, about: str) -> tuple[str | None, str]:
    if unit == "m3/day" and "gas" in about.lower():
        return "gas rate", ""
    if unit in _DIMENSION_OF_UNIT:
        return _DIMENSION_OF_UNIT[unit], ""
    base, slash, period = unit.partition("/")
    if slash and period in {"day", "week", "h"} and base in {"m", "kPa", "1"}:
        return _DIMENSION_OF_UNIT[base], f"/{period}"
    return None, ""


def shown(value: float, unit: str, system: System, about: str = "") -> Shown:
    """Return an inside value rounded for reading, in the field's display unit; durations in a person's unit.

    Examples
    --------
    >>> str(shown(302.074, "m3/day", "oilfield"))
    '1,900 bbl/day'
    >>> str(shown(32400.0, "s", "oilfield"))
    '9 h'

    """
    if unit == "s":
        text, _, duration_unit = duration(value).partition(" ")
        return Shown(value, text, duration_unit)
    number, shown_unit = in_display_units(value, unit, system, about)
    return Shown(number, rounded(number, shown_unit), shown_unit)


def display_column(column: pl.Series, unit: str, system: System, about: str = "") -> tuple[pl.Series, str]:
    """Return a column of inside values in the field's display unit, unrounded.

    Examples
    --------
    >>> column, unit = display_column(pl.Series([1.1684, None]), "m", "oilfield")
    >>> column.round(3).to_list(), unit
    ([46.0, None], 'in')

    """
    dimension, suffix = _dimension_of(unit, about)
    if dimension is None:
        return column, unit
    shown_unit = DIMENSIONS[dimension].display(system)
    factors = conversion(shown_unit, dimension)
    return (column - factors.constant) / factors.factor, shown_unit + suffix


def rounded(number: float, unit: str = "") -> str:
    """Return a number as text: fixed decimals for what gauges show, else three significant figures.

    Examples
    --------
    >>> rounded(45.04, "psig"), rounded(1934.2, "bbl/day"), rounded(0.0614), rounded(12.0)
    ('45.0', '1,930', '0.0614', '12')

    """
    if not math.isfinite(number):
        return NOT_KNOWN
    if unit in _WHOLE:
        return _signed(f"{number:,.0f}")
    if unit in _DECIMALS:
        decimals, below = _DECIMALS[unit]
        text = f"{number:,.{decimals if abs(number) < below else 0}f}"
        return _signed(text.removesuffix(".0") if unit in _BARE else text)
    return _signed(_significant(number))


def _significant(number: float) -> str:
    if number == 0:
        return "0"
    decimals = _SIGNIFICANT_FIGURES - 1 - math.floor(math.log10(abs(number)))
    text = f"{round(number, decimals):,.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _signed(text: str) -> str:
    is_zero = not text.strip("-0.,")
    return text.lstrip("-") if is_zero else text.replace("-", "−")


def percent(fraction: float) -> str:
    """Return a fraction as whole percent.

    Examples
    --------
    >>> percent(0.966)
    '97 %'

    """
    return f"{fraction * 100:.0f} %"


def duration(seconds: float) -> str:
    """Return a duration in the unit a person would use.

    Examples
    --------
    >>> duration(40), duration(1500), duration(32400), duration(16 * 86400)
    ('40 s', '25 min', '9 h', '16 days')

    """
    for limit, size, unit in ((90, 1, "s"), (90 * 60, 60, "min"), (72 * 3600, 3600, "h")):
        if seconds < limit:
            return f"{_significant(round(seconds / size, 1 if seconds < 10 * size else 0))} {unit}"
    days = round(seconds / 86400, 1 if seconds < 10 * 86400 else 0)
    return f"{_significant(days)} days"
