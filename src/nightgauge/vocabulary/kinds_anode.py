"""The kinds told of sacrificial anodes."""

from nightgauge.vocabulary.kind import DAY, FIVE_DEVIATIONS, HOUSE, LOOK_ONLY, PRACTICE, STORED_PRESSURE, Kind, any_of
from nightgauge.vocabulary.limits import Limit

_PULLED = (
    "An anode is only pulled from a vessel that is out of service, drained, isolated and gas-tested by the site's own "
    "procedure."
)
_CAUTIONS = (LOOK_ONLY, _PULLED, STORED_PRESSURE)
_ELEMENT = "anode:<id>"

SPENT = Kind(
    "anode_spent",
    "the usable mass of an anode is nearly gone",
    _ELEMENT,
    None,
    "mass left by Faraday's law from the current since the last known mass, or by the loss between inspections, and "
    "the time it lasts at the current of the last weeks",
    any_of("anode_current"),
    "without a current from inspections alone, two of them or one and the mass when new",
    (
        Limit(
            "least_left",
            "fraction",
            0.20,
            "of the usable mass: about what the error of a practical capacity comes to over a whole life",
            HOUSE,
        ),
        Limit(
            "least_life",
            "duration",
            90 * DAY,
            "a quarter of a year to order an anode and to plan the vessel's next outage",
            PRACTICE,
        ),
    ),
    (
        "Current of every anode of the vessel, at the shunt.",
        "Records: when was it put in, what did the last inspection find?",
        "Order the anode; plan its change with the vessel's next outage.",
    ),
    _CAUTIONS,
)

LOST = Kind(
    "anode_current_lost",
    "the current of an anode has fallen to nothing: it is spent, or its lead is broken",
    _ELEMENT,
    None,
    "hours in which the current is next to nothing of what it was before, while the reading comes and the vessel holds "
    "water; what should be left of the mass says which of the two it is",
    any_of("anode_current"),
    "without a known mass one finding names both",
    (
        Limit(
            "share",
            "fraction",
            0.05,
            "of its own past: a worn bar still gives several times that, the offset of a shunt is less",
            HOUSE,
        ),
        Limit("least_time", "duration", DAY, "a lead is taken off for an hour or a shift to be measured", HOUSE),
    ),
    (
        "Lead, lug and shunt: loose, corroded, cut; voltage across the shunt with the lead on and off.",
        "Transmitter and input: do they read the other anodes?",
        "Potential of the anode against the steel, by the people who look after corrosion.",
    ),
    _CAUTIONS,
)

JUMPED = Kind(
    "anode_current_jumped",
    "an anode gives far more current than it did: bare steel, a short, or another water",
    _ELEMENT,
    None,
    "daily current far above that of the two weeks before, with what moves with temperature and water rate taken out",
    any_of("anode_current"),
    "without a temperature a hotter vessel cannot be told from bare steel, and is named beside it",
    (
        Limit(
            "growth",
            "number",
            2.0,
            "against its own past: warmer or saltier water brings about half as much again, twice is another surface",
            HOUSE,
        ),
        FIVE_DEVIATIONS,
        Limit("least_time", "duration", 3 * DAY, "a slug of other water or an acid job is over in a day or two", HOUSE),
        Limit("reference_time", "duration", 14 * DAY, "days that are its own past", HOUSE),
    ),
    (
        "Has the water changed: a new well, salinity, temperature, an acid or solvent job?",
        "Shunt and resistor: bypassed, wrong range?",
        "Other anodes of the vessel: all up is bare steel or water, one up alone is more like a short.",
        "Coating, at the next inspection.",
    ),
    _CAUTIONS,
)

ANODES = (SPENT, LOST, JUMPED)
