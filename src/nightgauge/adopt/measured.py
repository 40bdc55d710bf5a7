"""What the data tell of one vessel's settings: trip levels, held pressures, whether its dump trips or throttles."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightgauge.adopt.behaviour import turns
from nightgauge.adopt.readings import Readings

Floats = npt.NDArray[np.float64]

_HYSTERESIS = 0.35
"""A level turns when it has come back by this share of its usual range. House choice."""
_TIDY = 0.2
"""Snap floats trip within this share of their gap. Common practice, no source."""
_FEWEST = 6
"""Dumps below which no level is given. House choice."""
_LEANS = -0.35
"""Skewness of the changes from which a level falls faster than it rises. Half of the snap levels of simulated fleets
lie below -1.1, throttled ones about 0."""
_FLOWS = 0.5
"""Share of the time with gas flowing from which the pressure sits on the gas valve. House choice."""


@dataclass(frozen=True)
class Measured:
    """What was found, each value in the unit that its tag shows; None where the data do not tell."""

    action: str | None = None
    opens_at: float | None = None
    closes_at: float | None = None
    holds: float | None = None
    interface: float | None = None
    oil_level: float | None = None
    oil_holds: float | None = None
    gas_holds: float | None = None


def measured(readings: Readings, tags: Mapping[str, int], lean: Mapping[int, float]) -> Measured:
    """Return what the data tell of a vessel.

    Parameters
    ----------
    readings : Readings
        The raw samples.
    tags : mapping of str to int
        The vessel's signals, and the places of their tags.
    lean : mapping of int to float
        Skewness of each tag's changes.

    """
    found: dict[str, float | str | None] = {}
    level = tags.get("interface_level")
    if level is not None:
        found |= _of_level(readings.of(level)[1], lean.get(level, 0.0), is_throttled="water_dump_position" in tags)
    elif "water_dump_position" in tags:
        found["action"] = "throttling"
    if "oil_level" in tags:
        found["oil_level"] = _middle(readings.of(tags["oil_level"])[1])
    found |= _of_pressure(readings, tags)
    return Measured(**found)  # type: ignore[arg-type]


def _of_level(values: Floats, lean: float, *, is_throttled: bool) -> dict[str, float | str | None]:
    if values.size < _FEWEST:
        return {}
    low, high = np.quantile(values, (0.02, 0.98))
    peaks, valleys = turns(values, _HYSTERESIS * float(high - low))
    middle = _middle(values)
    if peaks.size < _FEWEST or valleys.size < _FEWEST:
        return {"interface": middle, "holds": middle if is_throttled else None}
    opens, closes = float(np.median(peaks)), float(np.median(valleys))
    gap = opens - closes
    spreads = [float(np.subtract(*np.quantile(turning, (0.75, 0.25)))) for turning in (peaks, valleys)]
    if lean < _LEANS and max(spreads) < _TIDY * gap and not is_throttled:
        return {"action": "snap", "opens_at": opens, "closes_at": closes, "interface": 0.5 * (opens + closes)}
    return {
        "action": "throttling" if is_throttled else None,
        "holds": middle if is_throttled else None,
        "interface": middle,
    }


def _of_pressure(readings: Readings, tags: Mapping[str, int]) -> dict[str, float | str | None]:
    """Return the held pressure, as that of the valve it sits on: the gas valve's where gas flows most of the time."""
    if "vessel_pressure" not in tags:
        return {}
    held = _middle(readings.of(tags["vessel_pressure"])[1])
    if "gas_rate" not in tags:
        return {"oil_holds": held}
    gas = readings.of(tags["gas_rate"])[1]
    top = float(np.quantile(gas, 0.95)) if gas.size else 0.0
    flows = float((gas > 0.05 * top).mean()) if top > 0.0 else 0.0
    return {"gas_holds" if flows > _FLOWS else "oil_holds": held}


def _middle(values: Floats) -> float | None:
    return float(np.median(values)) if values.size else None
