"""The kinds told of the water dump."""

from nightgauge.vocabulary.kind import (
    FIVE_DEVIATIONS,
    FORMAT,
    HOUR,
    HOUSE,
    INCH,
    ISOLATE,
    PRACTICE,
    REFERENCE_TIME,
    SETTLED_TIME,
    SOUR,
    Kind,
    any_of,
)
from nightgauge.vocabulary.limits import Limit

STUCK_CLOSED = Kind(
    "float_stuck_closed",
    "water comes in, the interface passes the opening level, no dump (throttling: flow no longer answers)",
    "water_dump",
    "FTO",
    "no dump for several of the vessel's own periods while water comes in: shown by the level above the opening level, "
    "or by pressure, gas and oil flow that stay as they are when wells produce",
    any_of("interface_level", "water_dump_open vessel_pressure", "water_meter vessel_pressure"),
    "without a level: told from silence of switch or meter while pressure holds; a shut-in shows as sagging pressure",
    (
        Limit(
            "periods",
            "number",
            3.0,
            "own periods without a dump; one or two long fills are slugs and routing of wells",
            FORMAT,
        ),
        Limit(
            "least_time",
            "duration",
            3 * HOUR,
            "a vessel that dumps every few minutes is not called stuck over a pause of minutes; half of the six hours "
            "in which a stuck float has to be told",
            HOUSE,
        ),
        Limit(
            "above_opening",
            "length",
            1.0 * INCH,
            "interface above the usual opening level; an inch is more than a sound float's scatter",
            PRACTICE,
        ),
        Limit(
            "pressure_held",
            "fraction",
            0.9,
            "pressure of the silent time against the held pressure, above which wells are taken to produce; a shut-in "
            "vessel bleeds down through its valves",
            HOUSE,
        ),
    ),
    (
        "Sight glass against the level reading: is the interface really above the opening level?",
        "Float arm, trunnion and linkage: free to move, not broken, no scale or paraffin on the float.",
        "Dump valve: does the stem move when the linkage asks; supply gas and pilot, if there are any.",
        "Outlet line and block valves: open, not plugged.",
    ),
    (ISOLATE, SOUR),
)

STUCK_OPEN = Kind(
    "float_stuck_open",
    "the dump stays open, the interface falls below the closing level",
    "water_dump",
    "FTC",
    "the dump open far longer than it ever takes to drain, with the interface below the closing level or at the outlet",
    any_of("interface_level", "water_dump_open"),
    "with the switch alone a long slug looks alike, so it has to last longer; with the level alone, an interface "
    "that lies below the closing level shows it",
    (
        Limit(
            "drains",
            "number",
            4.0,
            "the vessel's own long drains (95th percentile); a slug lengthens a dump but the level recovers",
            HOUSE,
        ),
        Limit("least_time", "duration", 1 * HOUR, "open with the interface low; shorter is a hand dump", HOUSE),
        Limit(
            "least_time_switch_alone",
            "duration",
            5 * HOUR,
            "open by the switch alone; inside the six hours in which it has to be told, longer than slugs",
            HOUSE,
        ),
        Limit(
            "below_closing",
            "length",
            1.0 * INCH,
            "interface below the usual closing level; an inch is more than a sound float's scatter",
            PRACTICE,
        ),
    ),
    (
        "Sight glass: is the interface really low, is oil or gas leaving by the water outlet?",
        "Float arm and linkage: jammed down, float flooded or broken off.",
        "Dump valve: trim washed out, debris in the seat, stem stuck open.",
        "Downstream tank: gas or oil arriving there.",
    ),
    (ISOLATE, "Gas blown through the water outlet can overpressure a tank: keep clear of vents.", SOUR),
)

STICKING = Kind(
    "float_sticking",
    "trips late and uneven: the gap between opening and closing level has grown or scatters",
    "water_dump",
    "DOP",
    "opening level up, closing level down, or both scattering, over many dumps, against the vessel's own past",
    any_of("interface_level"),
    "nothing without a level",
    (
        Limit(
            "gap_growth",
            "number",
            1.25,
            "gap against its past; a quarter more is beyond what temperature and load do to a sound trip",
            HOUSE,
        ),
        Limit(
            "scatter_growth",
            "number",
            2.0,
            "scatter of the trip levels against its past; twice is 4 times the variance, sure over 12 dumps by the F "
            "ratio at 1 %",
            "F distribution, 11 and 60 degrees of freedom, 1 %: 2.6",
        ),
        Limit(
            "least_scatter",
            "length",
            0.35 * INCH,
            "scatter that is worth a visit; below it a transmitter's own noise",
            PRACTICE,
        ),
        Limit("dumps", "number", 8.0, "dumps in the judged window, so that one odd trip does not decide", HOUSE),
    ),
    (
        "Watch some trips: does the float hesitate, does the valve jump?",
        "Trunnion, packing and linkage: dry, worn, scaled, paraffin.",
        "Valve stem and packing: tight.",
    ),
    (ISOLATE, SOUR),
)

LEAKING = Kind(
    "dump_leaking",
    "water leaves while the dump valve is shut",
    "water_dump",
    "LCP",
    "the meter moves while the dump is shut, and fills are slower than the water that leaves says",
    any_of("interface_level water_meter", "water_dump_open water_meter"),
    "with the meter and a switch but no level, from the meter while shut alone",
    (
        Limit(
            "leak_share",
            "fraction",
            0.05,
            "share of the water that leaves while shut; 5 % is above a turbine meter's creep and error",
            PRACTICE,
        ),
        FIVE_DEVIATIONS,
        Limit("least_time", "duration", 12 * HOUR, "half a day, so that a hand dump past the switch is none", HOUSE),
    ),
    (
        "Meter while the dump is shut: does it turn?",
        "Listen and feel at the shut valve and the line after it.",
        "Seat and trim: cut, scaled, debris; travel reaches the seat.",
        "By-pass valve: shut and tight.",
    ),
    (ISOLATE, SOUR),
)

RESTRICTED = Kind(
    "dump_restricted",
    "flow through the open valve has fallen for the same pressure drop",
    "water_dump",
    "PLU",
    "effective flow coefficient of the dumps below the vessel's own past; flow alone where there is no pressure",
    any_of("interface_level water_meter"),
    "without a pressure or a downstream pressure: from flow while open, and it says so",
    (
        Limit(
            "coefficient_share",
            "fraction",
            0.8,
            "effective Cv against its past; a fifth less is beyond meter and pressure error together",
            HOUSE,
        ),
        FIVE_DEVIATIONS,
        Limit("dumps", "number", 6.0, "dumps in the judged window", HOUSE),
    ),
    (
        "Block valves and strainer on the water outlet: fully open, clean.",
        "Valve trim and outlet line: scale, sand.",
        "Travel of the valve: does it open fully?",
        "Downstream pressure at a gauge: has the system after it changed?",
    ),
    (ISOLATE, SOUR),
)

SHORT_CYCLING = Kind(
    "dump_short_cycling",
    "far more, far smaller dumps than the inflow needs",
    "water_dump",
    "SPO",
    "dumps smaller (gap, volume or time open) than this vessel's past by a factor, and more of them by as much",
    any_of("interface_level", "water_dump_open", "water_meter"),
    "with the switch alone from the time open; with a meter only if its pulse is fine enough to see one dump",
    (
        Limit(
            "size_share",
            "fraction",
            0.5,
            "size of a dump against its past; more inflow never makes dumps smaller",
            HOUSE,
        ),
        Limit("rate_growth", "number", 1.8, "dumps per hour against the past, about the inverse of the size", HOUSE),
        Limit("dumps", "number", 10.0, "dumps in the judged window", HOUSE),
    ),
    (
        "Snap mechanism: spring, latch and stops, gap between trips.",
        "Float arm and linkage: slack, loose pin.",
        "Foam or emulsion at the float.",
    ),
    (ISOLATE,),
)

DUMP_HUNTING = Kind(
    "dump_hunting",
    "a throttling dump swings level and flow of its own",
    "water_dump",
    "FTR",
    "regular swings of level and travel at one period, far above this vessel's past; or swings of whole days above all "
    "days of the past that the inflow does not show",
    any_of("interface_level water_dump_position"),
    "with level and meter instead of travel: likewise, less sure",
    (
        Limit("swing_growth", "number", 2.5, "swing against its past", HOUSE),
        Limit(
            "lasting_growth",
            "number",
            1.5,
            "swing of whole days against all days of the past at the same load; days are far more alike than hours",
            HOUSE,
        ),
        Limit("least_swing", "length", 0.5 * INCH, "swing of the level worth telling", PRACTICE),
        Limit(
            "regularity",
            "fraction",
            0.6,
            "evenness of the period; slugs from wells come unevenly, a limit cycle keeps time",
            HOUSE,
        ),
        Limit("least_time", "duration", 6 * HOUR, "hours with such swings in a day", HOUSE),
    ),
    (
        "Watch level and stem through two swings: does the stem wait, then jump?",
        "Packing, positioner and linkage: tight, slack or sticking.",
        "Proportional band of the controller, if there is one.",
    ),
    (ISOLATE,),
)


def _interface(name: str, says: str, looks_for: str) -> Kind:
    return Kind(
        name,
        says,
        "water_dump",
        "FTR",
        looks_for,
        any_of("interface_level"),
        "from the level alone a drifting level reading looks the same: both are named, with what settles it",
        (
            Limit(
                "least_move",
                "length",
                0.8 * INCH,
                "move worth telling; drifts are to be told before 2 in, so half of that less a night's growth",
                FORMAT,
            ),
            FIVE_DEVIATIONS,
            REFERENCE_TIME,
            SETTLED_TIME,
        ),
        (
            "Sight glass or gauge against the level reading: which one moved?",
            "Float, arm, weights and adjustment: slipped, worn, changed by hand.",
            "Density: has water or oil changed (float sits elsewhere)?",
        ),
        (ISOLATE,),
    )


INTERFACE = (
    _interface(
        "interface_setpoint_drift",
        "the held interface moves slowly",
        "opening and closing level (throttling: held level) moving together, slowly, against the vessel's own past",
    ),
    _interface(
        "interface_setpoint_step",
        "the held interface moved at once",
        "opening and closing level (throttling: held level) moved together at once and steady since",
    ),
)
"""The held interface: drift and step."""
