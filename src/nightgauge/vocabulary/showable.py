"""What shows a kind of fault at all: the field format's table, fixed there, for drawing and for scoring faults.

It is not what the detectors use (`vocabulary.kinds`): they may tell more with fewer signals. A fault on a vessel
without one of these sets is no miss.
"""

from collections.abc import Iterable

_LETTERS: dict[str, frozenset[str]] = {
    "p": frozenset({"vessel_pressure"}),
    "l": frozenset({"interface_level"}),
    "s": frozenset({"water_dump_open"}),
    "m": frozenset({"water_total", "water_rate"}),
    "x": frozenset({"water_dump_position"}),
    "h": frozenset({"inlet_pressure"}),
    "c": frozenset({"oil_water_cut"}),
    "g": frozenset({"gas_rate"}),
    "d": frozenset({"scrubber_dump_open"}),
}
"""The format's letters; any one of the signals will do."""

_TABLE: dict[str, tuple[str, ...]] = {
    "float_stuck_closed": ("l", "sp", "mp"),
    "float_stuck_open": ("l", "s"),
    "float_sticking": ("l",),
    "dump_leaking": ("lm",),
    "dump_restricted": ("lm",),
    "dump_short_cycling": ("l", "s", "m"),
    "dump_hunting": ("lx",),
    "interface_setpoint_drift": ("l",),
    "interface_setpoint_step": ("l",),
    "oil_valve_setpoint_drift": ("p",),
    "oil_valve_setpoint_step": ("p",),
    "gas_valve_setpoint_drift": ("pg",),
    "gas_valve_setpoint_step": ("pg",),
    "back_pressure_margin_lost": ("pg",),
    "back_pressure_hunting": ("p",),
    "vessel_undersized": ("m",),
    "water_in_oil": ("c",),
    "liquid_in_gas": ("d",),
    "instrument_frozen": ("ls", "lm", "ph"),
    "instrument_drift": ("l", "ph"),
}
_OF_INSTRUMENT: dict[tuple[str, str], tuple[str, ...]] = {
    ("instrument_frozen", "interface_level"): ("ls", "lm"),
    ("instrument_frozen", "vessel_pressure"): ("ph",),
    ("instrument_drift", "interface_level"): ("l",),
    ("instrument_drift", "vessel_pressure"): ("ph",),
}


def letters(signals: Iterable[str]) -> frozenset[str]:
    """Return the signals as the format's letters; those without one are left out.

    Examples
    --------
    >>> sorted(letters(["water_rate", "interface_level", "temperature"]))
    ['l', 'm']

    """
    have = frozenset(signals)
    return frozenset(letter for letter, names in _LETTERS.items() if names & have)


def is_showable(kind: str, signals: Iterable[str], of_signal: str | None = None) -> bool | None:
    """Return whether signals are enough to show a kind, or None for a kind that the format's table leaves out.

    Parameters
    ----------
    kind : str
        One kind of finding.
    signals : iterable of str
        What the vessel has.
    of_signal : str, optional
        For a frozen or drifting instrument: which one, where it is known.

    Examples
    --------
    >>> is_showable("dump_leaking", ["interface_level", "water_rate"])
    True
    >>> is_showable("instrument_drift", ["vessel_pressure", "interface_level"], "vessel_pressure")
    False
    >>> is_showable("data_gap", ["interface_level"]) is None
    True

    """
    sets = _OF_INSTRUMENT.get((kind, of_signal or ""), _TABLE.get(kind))
    if sets is None:
        return None
    have = letters(signals)
    return any(frozenset(each) <= have for each in sets)
