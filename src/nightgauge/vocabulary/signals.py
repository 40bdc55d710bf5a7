"""The signals a vessel can have: how each behaves between samples and in which unit it is kept.

``hold`` says what is true between two samples: ``line`` (analogue: straight line), ``step`` (state,
text or totaliser: the last value stands until the next).
"""

from dataclasses import dataclass
from typing import Literal

ANALOGUE_MAX_GAP_S = 3600.0
"""An analogue silent for longer is unknown. [s] Fixed by the field format; `max_gap` of a tag overrides it."""
STEP_MAX_GAP_S = 86400.0
"""A state or totaliser silent for longer is unknown. [s] Fixed by the field format; `max_gap` overrides it."""


@dataclass(frozen=True)
class Signal:
    """One kind of measurement on a vessel."""

    name: str
    meaning: str
    dimension: str
    """A name in `units.DIMENSIONS`, or "state", "text"."""
    si: str
    """Unit of the stored value."""
    hold: Literal["line", "step"]
    kind: Literal["analogue", "state", "total", "text"]

    @property
    def max_gap_s(self) -> float:
        """Longest silence over which the value is still known. [s]"""
        return ANALOGUE_MAX_GAP_S if self.hold == "line" else STEP_MAX_GAP_S


def _analogue(name: str, meaning: str, dimension: str, si: str) -> Signal:
    return Signal(name, meaning, dimension, si, "line", "analogue")


def _state(name: str, meaning: str) -> Signal:
    return Signal(name, meaning, "state", "1", "step", "state")


def _total(name: str, meaning: str) -> Signal:
    return Signal(name, meaning, "volume", "m3", "step", "total")


SIGNALS: dict[str, Signal] = {
    s.name: s
    for s in (
        _analogue("vessel_pressure", "gas space pressure", "pressure", "kPag"),
        _analogue("inlet_pressure", "production header or flowline pressure", "pressure", "kPag"),
        _analogue("water_downstream_pressure", "pressure after the water dump", "pressure", "kPag"),
        _analogue("oil_downstream_pressure", "pressure after the oil valve", "pressure", "kPag"),
        _analogue("interface_level", "oil-water interface above the lowest inside point", "length", "m"),
        _analogue("oil_level", "gas-oil surface above the lowest inside point", "length", "m"),
        _state("water_dump_open", "1 while the water dump is open"),
        _state("oil_dump_open", "1 while the oil dump is open"),
        _analogue("water_dump_position", "travel or demand of the water dump", "fraction", "1"),
        _analogue("oil_valve_position", "travel or demand of the oil valve", "fraction", "1"),
        _analogue("gas_valve_position", "travel or demand of the gas valve", "fraction", "1"),
        _analogue("water_rate", "water outlet meter", "liquid rate", "m3/day"),
        _analogue("oil_rate", "oil outlet meter", "liquid rate", "m3/day"),
        _total("water_total", "water outlet totaliser"),
        _total("oil_total", "oil outlet totaliser"),
        _analogue("gas_rate", "gas outlet meter at standard conditions", "gas rate", "m3/day"),
        _analogue("oil_water_cut", "water in the oil outlet", "fraction", "1"),
        _analogue("water_oil_content", "oil in the water outlet", "concentration", "mg/L"),
        _analogue("temperature", "vessel temperature", "temperature", "degC"),
        _analogue("scrubber_level", "level of the scrubber on the gas line", "length", "m"),
        _state("scrubber_dump_open", "1 while the scrubber's dump is open"),
        Signal("well_on_test", "well routed to this test vessel", "text", "text", "step", "text"),
        _analogue("anode_current", "current in an anode lead", "current", "A"),
    )
}
"""Every signal of the field format, by name."""
