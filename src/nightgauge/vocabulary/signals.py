"""The signals a vessel can have: how each behaves between samples and in which unit it is kept.

``hold`` says what is true between two samples: ``line`` (analogue: straight line), ``step`` (state,
text or totaliser: the last value stands until the next).

A vessel may have several anodes, and each current is a signal of its own: its name is the signal's, a colon and the
anode's id (`anode_current:A1`).
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

_PART = ":"


def base_name(name: str) -> str:
    """Return the name of the format's signal that a signal is: what stands before the colon.

    Examples
    --------
    >>> base_name("anode_current:A1"), base_name("temperature")
    ('anode_current', 'temperature')

    """
    return name.partition(_PART)[0]


def part_of(name: str) -> str | None:
    """Return the part of the vessel that a signal is of, None where it is the vessel's own.

    Examples
    --------
    >>> part_of("anode_current:A1"), part_of("temperature")
    ('A1', None)

    """
    return name.partition(_PART)[2] or None


def of_part(signal: str, part: str) -> str:
    """Return the name of a signal of one part of the vessel.

    Examples
    --------
    >>> of_part("anode_current", "A1")
    'anode_current:A1'

    """
    return f"{signal}{_PART}{part}"


def signal_of(name: str) -> Signal:
    """Return the signal that a name means, be it the vessel's or a part's; KeyError where it is none.

    Examples
    --------
    >>> signal_of("anode_current:A1").si
    'A'

    """
    return SIGNALS[base_name(name)]


def signal_words(name: str) -> str:
    """Return a signal's name as words.

    Examples
    --------
    >>> signal_words("anode_current:A1"), signal_words("interface_level")
    ('anode current of A1', 'interface level')

    """
    words, part = base_name(name).replace("_", " "), part_of(name)
    return f"{words} of {part}" if part else words
