"""What a tag's name says: its parts, the signals that its letters and words speak for, and what is left as a place.

Letters after ISA-5.1: the first is the measured variable (A analysis, F flow, I current, L level, P pressure, T
temperature, X unclassified, Z position), Q after it totals, those behind say what is done with it (I indicate, T
transmit, S switch, C control, O and C open and closed). From secondary copies of the standard, from memory.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

_PART = re.compile(r"[0-9]+|[A-Z]+(?![a-z])|[A-Z]?[a-z]+")
_ISA = re.compile(r"(?P<what>[AFILPTXZ])(?P<first>D|Q)?(?P<done>[ACEGHIKLOQRSTVXYZ]{1,3})")
_TOTAL = re.compile(r"Q")

PRESSURES = ("vessel_pressure", "inlet_pressure", "water_downstream_pressure", "oil_downstream_pressure")
LEVELS = ("interface_level", "oil_level", "scrubber_level")
STATES = ("water_dump_open", "oil_dump_open", "scrubber_dump_open")
POSITIONS = ("water_dump_position", "oil_valve_position", "gas_valve_position")
RATES = ("water_rate", "oil_rate", "gas_rate")
TOTALS = ("water_total", "oil_total")
ANALYSES = ("oil_water_cut", "water_oil_content")

_OF_WATER = ("water_downstream_pressure", "water_dump_open", "water_dump_position", "water_rate", "water_total")
_OF_OIL = ("oil_downstream_pressure", "oil_level", "oil_dump_open", "oil_valve_position", "oil_rate", "oil_total")
_OF_GAS = ("gas_valve_position", "gas_rate")
_OF_SCRUBBER = ("scrubber_level", "scrubber_dump_open")

_SURE, _LIKELY, _LONE, _HINT = 5.0, 3.0, 2.3, 1.2
"""How much a plain word, a usual letter and a single letter weigh: natural logarithms of odds. House choices: of a
hundred plain words one misleads, of twenty letter groups one, of ten lone letters one, of three hints one."""


def _speaks(signals: tuple[str, ...], weight: float) -> dict[str, float]:
    return dict.fromkeys(signals, weight)


_ISA_MEANS: Mapping[str, Mapping[str, float]] = {
    "P": _speaks(PRESSURES, _SURE),
    "L": _speaks(LEVELS, _SURE),
    "T": _speaks(("temperature",), _SURE),
    "A": _speaks(ANALYSES, _SURE),
    "I": _speaks(("anode_current",), 2.0 * _SURE),  # rare, so that letters that say so are no accident
    "F": _speaks(RATES, _LIKELY) | _speaks(TOTALS, _LIKELY),
    "FQ": _speaks(TOTALS, _SURE) | _speaks(RATES, _HINT),
    "Z": _speaks(POSITIONS, _SURE) | _speaks(STATES, _LIKELY),
    "ZS": _speaks(STATES, _SURE) | _speaks(POSITIONS, _HINT),
    "X": _speaks(("well_on_test",), _LIKELY) | _speaks(STATES, _LIKELY),
}
WORDS: Mapping[str, Mapping[str, float]] = {
    word: means
    for words, means in (
        ("pressure press pres psi psig prs", _speaks(PRESSURES, _SURE)),
        ("level lvl lev", _speaks(LEVELS, _SURE)),
        ("interface intf iface intfc", _speaks(("interface_level",), _SURE)),
        ("temperature temp tmp", _speaks(("temperature",), _SURE)),
        ("total totalizer totaliser tot totl accum accumulated cum count counter", _speaks(TOTALS, _SURE)),
        ("rate flowrate bpd gpm", _speaks(RATES, _SURE)),
        ("flow meter mtr", _speaks(RATES, _LIKELY) | _speaks(TOTALS, _LIKELY)),
        ("position pos travel stem demand", _speaks(POSITIONS, _SURE)),
        ("valve vlv", _speaks(POSITIONS, _HINT) | _speaks(STATES, _HINT)),
        ("open opened switch status state limit sw", _speaks(STATES, _SURE)),
        ("dump", _speaks(STATES, _HINT) | _speaks(("water_dump_position",), _HINT)),
        ("water wtr h2o brine", _speaks((*_OF_WATER, *ANALYSES, "interface_level"), _LIKELY)),
        ("oil crude emulsion", _speaks((*_OF_OIL, *ANALYSES), _LIKELY)),
        ("gas", _speaks(_OF_GAS, _LIKELY) | _speaks(("vessel_pressure",), _HINT)),
        ("scrubber scrub scrb", _speaks(_OF_SCRUBBER, 2.0 * _LIKELY)),
        ("header hdr inlet incoming flowline manifold", _speaks(("inlet_pressure",), _SURE)),
        ("downstream outlet disposal after", _speaks(PRESSURES[2:], _SURE)),
        ("cut bsw watercut", _speaks(("oil_water_cut",), _SURE)),
        ("oiw ppm content carryover", _speaks(("water_oil_content",), _SURE)),
        ("well onwell testwell", _speaks(("well_on_test",), _SURE)),
        ("test", _speaks(("well_on_test",), _HINT)),
        ("current amps amp anode milliamps", _speaks(("anode_current",), 2.0 * _SURE)),
    )
    for word in words.split()
}
"""Ordinary words in names of tags and the signals they speak for. Common practice, no source."""
LONE: Mapping[str, Mapping[str, float]] = {
    "W": _speaks(_OF_WATER, _LONE) | _speaks(("water_oil_content",), _LONE),
    "O": _speaks(_OF_OIL, _LONE) | _speaks(("oil_water_cut",), _LONE),
    "C": _speaks(_OF_OIL, _LONE) | _speaks(("oil_water_cut",), _LONE),
    "G": _speaks(_OF_GAS, _LONE),
    "H": _speaks(("inlet_pressure",), _LONE),
    "S": _speaks(_OF_SCRUBBER, _LONE),
}
"""Single letters beside a number: water, oil or crude, gas, header, scrubber. Common practice, no source."""


@dataclass(frozen=True)
class Name:
    """A tag's name taken apart."""

    tag: str
    meaningful: frozenset[str] | None = None
    """Parts, in lower case, whose letters are believed to mean something; None believes all."""

    @cached_property
    def parts(self) -> tuple[str, ...]:
        """Return words, letter groups and numbers in order.

        Examples
        --------
        >>> Name("QB1_V-101.PIT-101H").parts
        ('QB', '1', 'V', '101', 'PIT', '101', 'H')
        >>> Name("V-7 waterTotal").parts
        ('V', '7', 'water', 'Total')

        """
        return tuple(_PART.findall(self.tag))

    @cached_property
    def letters(self) -> tuple[int, ...]:
        """Return the place of the first part that is a letter group after ISA-5.1 and no plain word; empty for none."""
        return tuple(
            place
            for place, part in enumerate(self.parts)
            if (part.isupper() or part.islower())
            and part.casefold() not in WORDS
            and _ISA.fullmatch(part.upper())
            and (self.meaningful is None or part.casefold() in self.meaningful)
        )[:1]

    @cached_property
    def says(self) -> tuple[tuple[str, Mapping[str, float]], ...]:
        """Return what in the name speaks for which signals: the part as written, and signals with weights."""
        told = []
        for place, part in enumerate(self.parts):
            word = part.casefold()
            if self.meaningful is not None and word not in self.meaningful:
                continue
            if word in WORDS:
                told.append((part, WORDS[word]))
            elif place in self.letters:
                told.append((part, _ISA_MEANS[_isa_key(part)]))
            elif self._is_lone(place) and part.upper() in LONE and (self.letters or len(told) > 0):
                told.append((part, LONE[part.upper()]))
        return tuple(told)

    @cached_property
    def places(self) -> tuple[int, ...]:
        """Return which parts speak for no signal: numbers and other words, which may say where.

        Examples
        --------
        >>> Name("PIT-101H").places, Name("North pad water meter 07").places
        ((1,), (0, 1, 4))

        """
        return tuple(at for at, part in enumerate(self.parts) if part.isdigit() or not self._is_signal(at))

    def _is_signal(self, place: int) -> bool:
        return self.parts[place].casefold() in WORDS or place in self.letters or self._is_lone(place)

    def _is_lone(self, place: int) -> bool:
        """Return whether the part is one letter behind a number or letter group: what is measured, not where."""
        part = self.parts[place]
        return len(part) == 1 and part.isalpha() and place > 0


def plain(part: str) -> str:
    """Return a part in lower case, a number without leading zeros."""
    return part.lstrip("0") or "0" if part.isdigit() else part.casefold()


def _isa_key(part: str) -> str:
    part = part.upper()
    found = _ISA.fullmatch(part)
    what = part[0]
    if found is None or what not in "FZ":
        return what
    if what == "F" and _TOTAL.search(part[1:]):
        return "FQ"
    if what == "Z" and re.search(r"[SOCLH]", part[1:]):
        return "ZS"
    return what
