"""Which unit the numbers of a fleet are plausible in, where nobody wrote it down."""

from collections.abc import Mapping, Sequence

import numpy as np

from nightgauge.vocabulary.signals import SIGNALS

_PRESSURE = ((8.0, "barg"), (150.0, "psig"), (np.inf, "kPag"))
_LENGTH = ((3.5, "m"), (12.0, "ft"), (150.0, "in"), (np.inf, "mm"))
_TEMPERATURE = ((65.0, "degC"), (np.inf, "degF"))
"""Up to which median of the fleet each unit is plausible: separators stand at 1 to 10 bar, levels at half a metre to
three, oil treats at 30 to 95 degC; at their common edge the commoner unit of North American fields. Common practice,
no source."""
_METRIC = frozenset({"barg", "kPag", "m", "mm", "degC"})


def plausible_units(medians: Mapping[str, Sequence[float]]) -> dict[str, str]:
    """Return a unit for each signal.

    Parameters
    ----------
    medians : mapping of str to sequence of float
        By signal: median raw value of each tag of the fleet that has no unit.

    Examples
    --------
    >>> units = plausible_units({"vessel_pressure": [310.0, 280.0], "interface_level": [1.1]})
    >>> units["vessel_pressure"], units["interface_level"], units["water_total"]
    ('kPag', 'm', 'm3')

    """
    chosen: dict[str, str] = {}
    for dimension, edges in (("pressure", _PRESSURE), ("length", _LENGTH), ("temperature", _TEMPERATURE)):
        values = [value for name, of in medians.items() if SIGNALS[name].dimension == dimension for value in of]
        if values:
            middle = float(np.median(values))
            chosen[dimension] = next(unit for edge, unit in edges if middle <= edge)
    metric = sum(1 if unit in _METRIC else -1 for unit in chosen.values()) > 0
    by_system = {
        "pressure": ("psig", "kPag"), "length": ("in", "mm"), "temperature": ("degF", "degC"), "volume": ("bbl", "m3"),
        "liquid rate": ("bbl/day", "m3/day"), "gas rate": ("Mcf/d", "m3/day"), "fraction": ("%", "%"),
        "concentration": ("mg/L", "mg/L"), "current": ("mA", "mA"),
    }  # fmt: skip
    return {
        name: chosen.get(signal.dimension, by_system[signal.dimension][metric])
        for name, signal in SIGNALS.items()
        if signal.dimension in by_system
    }
