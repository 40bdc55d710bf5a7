"""What the unit of a tag, where an export has one, says of its signal."""

from nightgauge.adopt.evidence import Scores
from nightgauge.adopt.readings import Readings
from nightgauge.units import UnitProblem, conversion
from nightgauge.vocabulary.signals import SIGNALS

_FITS = 4.0
"""What a unit of the right dimension weighs: nearly sure, for units are copied from tag to tag now and then.
House choice."""
_NO_DIMENSION = frozenset({"state", "text"})


def unit_scores(scores: Scores, readings: Readings) -> None:
    """Add what the units say: for all signals of the dimension they measure."""
    for tag, name in enumerate(readings.tags):
        unit = readings.units.get(name, "").strip()
        if not unit:
            continue
        fitting = [signal for signal in SIGNALS if fits(unit, signal)]
        if fitting:
            scores.add([tag], fitting, _FITS, f"unit {unit}")


def fits(unit: str, signal: str) -> bool:
    """Return whether a unit can be that of a signal.

    Examples
    --------
    >>> fits("psig", "vessel_pressure"), fits("%", "interface_level"), fits("psig", "temperature")
    (True, True, False)

    """
    dimension = SIGNALS[signal].dimension
    if dimension in _NO_DIMENSION:
        return False
    if dimension == "length" and unit in {"%", "percent", "pct"}:
        return True
    try:
        conversion(unit, dimension)
    except UnitProblem:
        return False
    return True


def same(one: str, other: str) -> bool:
    """Return whether two ways of writing a length or a volume mean the same unit.

    Examples
    --------
    >>> same("in", "inch"), same("bbl", "m3"), same("in", "%")
    (True, False, False)

    """
    for dimension in ("length", "volume"):
        try:
            return conversion(one, dimension) == conversion(other, dimension)
        except UnitProblem:
            continue
    return False
