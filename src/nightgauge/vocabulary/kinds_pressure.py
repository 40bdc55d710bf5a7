"""The kinds told of the pressure and of the valves that hold it."""

from nightgauge.vocabulary.kind import (
    DAY,
    FIVE_DEVIATIONS,
    FORMAT,
    HOUR,
    HOUSE,
    ISOLATE,
    LOOK_ONLY,
    PRACTICE,
    PSI,
    REFERENCE_TIME,
    SETTLED_TIME,
    Kind,
    any_of,
)
from nightgauge.vocabulary.limits import Limit


def _valve(valve: str, other: str, shape: str) -> Kind:
    needs = any_of("vessel_pressure") if valve == "oil_valve" else any_of("vessel_pressure gas_rate")
    word = "oil" if valve == "oil_valve" else "gas"
    how = "moves slowly" if shape == "drift" else "moved at once"
    return Kind(
        f"{valve}_setpoint_{shape}",
        f"the pressure held by the {word} valve {how}",
        valve,
        "FTR",
        f"pressure held by the {word} valve, with the load taken out, against the vessel's own past; the header has to "
        "move with it, else it is the transmitter",
        needs,
        "without a header pressure a drifting transmitter looks the same, and is named as the other explanation",
        (
            Limit(
                "least_move",
                "pressure difference",
                0.75 * PSI,
                "move worth telling; drifts are to be told before 1.5 psi, so half of that",
                FORMAT,
            ),
            Limit(
                "least_share",
                "fraction",
                0.015,
                "the same as a share of the held pressure; drifts are to be told before 3 %",
                FORMAT,
            ),
            FIVE_DEVIATIONS,
            REFERENCE_TIME,
            SETTLED_TIME,
        ),
        (
            "Gauge beside the transmitter: do they agree?",
            f"Spring or weight, seat and diaphragm of the {word} valve; was it adjusted?",
            f"Setting of the {other} valve against it.",
        ),
        (LOOK_ONLY, ISOLATE),
    )


MARGIN = Kind(
    "back_pressure_margin_lost",
    "gas valve no longer set enough above the oil valve",
    "gas_valve",
    "FTR",
    "pressure at which the gas valve clips the peaks, less the pressure the oil valve holds",
    any_of("vessel_pressure gas_rate"),
    "nothing without a gas rate: then the clip is not seen",
    (
        Limit(
            "margin",
            "pressure difference",
            1.5 * PSI,
            "below about 1 to 2 psi the valves open together and streams leave by the wrong outlet",
            PRACTICE,
        ),
        Limit("least_time", "duration", 1.5 * DAY, "days on which it has to show, so that one odd day is none", HOUSE),
    ),
    (
        "Both valves' settings at a gauge, with the same gauge.",
        "Gas valve: spring, seat, leaking.",
        "Scrubber and gas line: liquid?",
    ),
    (LOOK_ONLY, ISOLATE),
)

PRESSURE_HUNTING = Kind(
    "back_pressure_hunting",
    "vessel pressure swings on a back-pressure valve",
    "oil_valve or gas_valve",
    "FTR",
    "regular swings of pressure, minutes long, far above this vessel's past, not at the period of the dumps; or swings "
    "of three days and more above all days of the past at the same load",
    any_of("vessel_pressure"),
    "without dump evidence the dumps' own period is not known, so confidence is lower",
    (
        Limit("swing_growth", "number", 2.5, "swing against its past", HOUSE),
        Limit(
            "lasting_growth",
            "number",
            1.7,
            "swing of whole days against all days of the past at the same load; days are far more alike than hours",
            HOUSE,
        ),
        Limit("least_swing", "pressure difference", 1.0 * PSI, "swing worth telling", PRACTICE),
        Limit("regularity", "fraction", 0.6, "evenness of the period; a limit cycle keeps time, slugs do not", HOUSE),
        Limit("least_time", "duration", 4 * HOUR, "hours with such swings", HOUSE),
        Limit(
            "unlike_dumps",
            "fraction",
            0.25,
            "how far the period has to lie from the dumps' own, as dumps move the pressure too",
            HOUSE,
        ),
    ),
    (
        "Watch the valve through two swings: stem moves with the pressure?",
        "Diaphragm, spring, packing, pilot and its supply gas.",
        "Downstream pressure: steady?",
    ),
    (LOOK_ONLY, ISOLATE),
)

NOT_HELD = Kind(
    "pressure_not_held",
    "pressure falls well below what the valve holds although gas and liquid come in",
    "oil_valve or gas_valve",
    "FTC",
    "vessel pressure far below the held pressure for hours while dumps, meters or gas flow show that wells produce",
    any_of("vessel_pressure"),
    "without meter, switch, level or gas rate inflow cannot be shown, and it is not judged",
    (
        Limit("held_share", "fraction", 0.85, "pressure against the held pressure", HOUSE),
        Limit(
            "least_fall",
            "pressure difference",
            4.0 * PSI,
            "fall worth telling where little pressure is held",
            PRACTICE,
        ),
        Limit("least_time", "duration", 6 * HOUR, "longer than a dump or a well switch takes the pressure down", HOUSE),
        Limit(
            "inflow_share", "fraction", 0.5, "inflow against its past, above which wells are taken to produce", HOUSE
        ),
    ),
    (
        "Gauge beside the transmitter.",
        "Which valve passes: gas rate or oil rate above usual?",
        "Valve stuck open, seat, by-pass valve open.",
    ),
    (LOOK_ONLY, ISOLATE),
)

NEAR_LIMIT = Kind(
    "pressure_near_limit",
    "pressure comes near the working pressure (outlet blocked or shut)",
    "vessel",
    None,
    "vessel pressure against max_working_pressure of field.toml",
    any_of("vessel_pressure"),
    "nothing without max_working_pressure",
    (
        Limit("share", "fraction", 0.9, "share of the working pressure; within 10 % of it is high", FORMAT),
        Limit("least_time", "duration", 0.1 * HOUR, "a tenth of an hour, so that a single spike is none", HOUSE),
    ),
    (
        "Gauge at the vessel, from a safe place.",
        "Outlets: block valves, gas line, oil line, downstream shut-in.",
        "Oil and gas valve: open when they should?",
    ),
    ("High pressure: follow the site's own procedure for it first.", LOOK_ONLY),
)

HELD_PRESSURE = (
    _valve("oil_valve", "gas", "drift"),
    _valve("oil_valve", "gas", "step"),
    _valve("gas_valve", "oil", "drift"),
    _valve("gas_valve", "oil", "step"),
)
"""The pressures that the two valves hold: drift and step."""
