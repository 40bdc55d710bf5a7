"""The kinds told of the vessel as a whole, of its instruments and of its wells."""

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
    SOUR,
    STORED_PRESSURE,
    Kind,
    any_of,
)
from nightgauge.vocabulary.limits import Limit

UNDERSIZED = Kind(
    "vessel_undersized",
    "retention, gas capacity or dump valve short of what the load it really sees requires",
    "vessel (water_dump where the dump valve is too small)",
    None,
    "hours with inflow in which retention is below the required one, over seven days",
    any_of("water_meter", "interface_level", "water_dump_open"),
    "without dimensions nothing; without an oil meter oil retention is not judged; without solids depth it is an "
    "upper bound",
    (
        Limit("short_share", "fraction", 0.1, "share of the hours with inflow that are short", FORMAT),
        Limit("over", "duration", 7 * DAY, "time over which the share is taken", FORMAT),
        Limit(
            "least_inflow_time",
            "duration",
            72 * HOUR,
            "hours with inflow needed among the seven days, so that three days are the least proof",
            HOUSE,
        ),
        Limit("open_share", "fraction", 0.8, "share of time open, above which the dump valve is too small", HOUSE),
    ),
    (
        "Which wells feed it: can one go elsewhere?",
        "Bottle test at today's temperature: is the required retention right?",
        "Solids in the vessel at the next inspection.",
        "Chemical and temperature.",
    ),
    (LOOK_ONLY,),
)


def _carryover(name: str, says: str, signal: str, checks: tuple[str, ...], limits: tuple[Limit, ...]) -> Kind:
    return Kind(
        name,
        says,
        "vessel",
        None,
        "above this vessel's own normal at the same load; at high load it is size, at low load it is not",
        any_of(signal),
        "without a load it is compared with the vessel's past alone",
        (
            *limits,
            FIVE_DEVIATIONS,
            Limit("least_time", "duration", 12 * HOUR, "half a day, so that one upset is none", HOUSE),
        ),
        checks,
        (ISOLATE, SOUR),
    )


CARRYOVER = (
    _carryover(
        "water_in_oil",
        "water leaves with the oil above this vessel's normal",
        "oil_water_cut",
        (
            "Sample of the oil outlet: shake-out against the analyser.",
            "Interface against the weir; water dump working?",
            "Temperature, chemical, wells just turned in.",
        ),
        (
            Limit("growth", "number", 1.6, "cut against its past at the same load", HOUSE),
            Limit("least_rise", "fraction", 0.04, "rise of the cut worth telling", PRACTICE),
        ),
    ),
    _carryover(
        "oil_in_water",
        "oil leaves with the water above this vessel's normal",
        "water_oil_content",
        (
            "Sample of the water outlet.",
            "Interface: too low, dump shuts too late?",
            "Chemical, solids, skim layer.",
        ),
        (
            Limit("growth", "number", 2.0, "content against its past at the same load", HOUSE),
            Limit("least_rise", "concentration", 50.0, "rise of the content worth telling", PRACTICE),
        ),
    ),
    _carryover(
        "liquid_in_gas",
        "liquid leaves with the gas",
        "scrubber_dump_open",
        (
            "Scrubber dump: sound, not leaking through?",
            "Oil level and foam in the vessel; gas rate against its capacity.",
            "Mist extractor: plugged, torn.",
        ),
        (
            Limit("growth", "number", 2.0, "scrubber dumps for the same gas against the past", HOUSE),
            Limit("least_dumps", "number", 4.0, "scrubber dumps a day more than usual, worth telling", HOUSE),
        ),
    ),
)
"""Water in oil, oil in water, liquid in gas."""

GAS_IN_LIQUID = Kind(
    "gas_in_liquid",
    "gas leaves by a liquid outlet (blow-by)",
    "vessel",
    None,
    "the dump open at low level, pressure sagging with the dump far more than ever before, the meter racing",
    any_of("interface_level vessel_pressure", "water_dump_open vessel_pressure", "water_meter vessel_pressure"),
    "without a level from sag and meter alone",
    (
        Limit("sag_growth", "number", 4.0, "pressure sag of a dump against the usual one", HOUSE),
        Limit("least_sag", "pressure difference", 5.0 * PSI, "sag worth telling", PRACTICE),
        Limit("dumps", "number", 2.0, "dumps that show it, so that one well switch is none", HOUSE),
    ),
    (
        "Sight glasses: interface and oil level.",
        "Tank or skim vessel after the dump: gas arriving?",
        "Dump valve and float: shuts at its level?",
    ),
    (
        "Gas blown through a liquid outlet can overpressure a tank: keep clear of vents.",
        ISOLATE,
        SOUR,
    ),
)

FROZEN = Kind(
    "instrument_frozen",
    "the reading stands still while the process moves",
    "instrument:<signal>",
    "AIR",
    "identical values far longer than this signal ever stays still, while another signal shows that the process moves",
    any_of(
        "interface_level water_dump_open",
        "interface_level water_meter",
        "vessel_pressure inlet_pressure",
        "vessel_pressure water_dump_open",
        "vessel_pressure water_meter",
        "vessel_pressure interface_level",
    ),
    "a quiet process with a wide dead band repeats nothing for hours: without another moving signal nothing is said",
    (
        Limit("still_growth", "number", 4.0, "stillness against the longest of this signal's own past", HOUSE),
        Limit("least_time", "duration", 4 * HOUR, "stillness worth telling", HOUSE),
        Limit("dumps", "number", 3.0, "dumps that the reading should have shown and did not", HOUSE),
    ),
    (
        "Transmitter against gauge or sight glass.",
        "Impulse lines: plugged, frozen, valve shut.",
        "Signal path: input card, radio, historian point.",
    ),
    (LOOK_ONLY, ISOLATE),
)

INSTRUMENT_DRIFT = Kind(
    "instrument_drift",
    "the reading moves, the vessel does not",
    "instrument:<signal>",
    "AIR",
    "pressure that moves while the header does not; level whose dumps by geometry part from the meter or whose other "
    "witnesses (cut, spill, second level) stay as they were",
    any_of("vessel_pressure inlet_pressure", "interface_level water_meter"),
    "where it cannot be told from a moved setpoint one finding names both",
    (
        Limit("least_move", "pressure difference", 0.75 * PSI, "as for the oil valve's setpoint", FORMAT),
        Limit(
            "follow_share",
            "fraction",
            0.5,
            "share of the move that the header makes too; above it the valve moved, below it the transmitter",
            HOUSE,
        ),
        FIVE_DEVIATIONS,
    ),
    (
        "Transmitter against a test gauge or sight glass.",
        "Zero and span; impulse lines; diaphragm.",
    ),
    (LOOK_ONLY, ISOLATE),
)

NOISY = Kind(
    "instrument_noisy",
    "the reading scatters as it never did",
    "instrument:<signal>",
    "AIR",
    "scatter within the hour, or the share of bad samples, far above this signal's past",
    any_of("interface_level", "vessel_pressure", "water_meter"),
    "each signal is judged by its own past",
    (
        Limit("growth", "number", 4.0, "scatter against its past", HOUSE),
        Limit("bad_share", "fraction", 0.3, "share of bad samples", HOUSE),
        Limit("least_time", "duration", 12 * HOUR, "hours in a day that show it", HOUSE),
    ),
    (
        "Wiring, grounding, radio path.",
        "Transmitter damping; vibration; gas in the impulse line.",
    ),
    (LOOK_ONLY,),
)

DATA_GAP = Kind(
    "data_gap",
    "too little data to judge",
    "instrument:<signal>, or vessel if all are silent",
    None,
    "a signal that used to come and is not known for most of a day or longer",
    (),
    "says since when, and what cannot be judged without it",
    (
        Limit(
            "least_time", "duration", 18 * HOUR, "most of a day; shorter gaps are caught up by the next export", HOUSE
        ),
        Limit(
            "coverage",
            "fraction",
            0.5,
            "share of an hour in which the value is known, below which the hour is a gap",
            HOUSE,
        ),
        Limit("visit_time", "duration", 2 * DAY, "a gap that stays this long is worth a visit (medium)", HOUSE),
    ),
    (
        "Is the export complete, was a tag renamed (nightgauge check)?",
        "Historian point, input, radio, transmitter supply.",
    ),
    (LOOK_ONLY,),
)

UNUSUAL = Kind(
    "unusual_day",
    "unlike this vessel's other days, and none of the other kinds explains it",
    "vessel",
    None,
    "the indicators of a day together (levels, gap, dumps, pressures, carryover), each against the two weeks before "
    "and with the load taken out: what the principal components of the six weeks before leave of them, where no other "
    "finding touches the day or the day beside it",
    any_of("interface_level", "vessel_pressure", "water_meter", "water_dump_open"),
    "uses whatever indicators the vessel has; a day with fewer than four, with wells shut in for a quarter of it or in "
    "an outage is not judged; on a test vessel each well has its own past",
    (
        Limit(
            "chance", "fraction", 0.002, "share of ordinary days that may be called unusual: under one a year", HOUSE
        ),
        Limit(
            "deviations",
            "number",
            4.0,
            "least residue of all indicators together, in the vessel's own deviations, each taken as no finer than "
            "its instrument: a very even vessel would have small things told else",
            HOUSE,
        ),
        Limit(
            "days",
            "number",
            21.0,
            "earlier days to learn from, each with a week before it: of fewer the scatter is a guess",
            HOUSE,
        ),
        Limit("indicators", "number", 4.0, "indicators known on the day: of fewer, the other kinds say all", HOUSE),
    ),
    (
        "What was done at the vessel or its wells that day: pigging, chemical, hands on a valve, a well turned in?",
        "The three indicators named, against gauges and sight glasses.",
        "The same day on vessels of the same header.",
    ),
    (LOOK_ONLY,),
)

WELL_TEST = Kind(
    "well_test_decline",
    "a well's test record has changed enough to look at the well",
    "well:<id>",
    None,
    "accepted tests of the well against its own earlier tests, as ratios; two or three in a row together, one that is "
    "far out, or a fall of the whole record",
    any_of("water_meter", "oil_total", "oil_rate"),
    "which well is on test is known from well_on_test, tests.csv, routing.csv or gauges.csv; liquid from whatever "
    "meters there are; without an oil meter water alone; a fall that most wells of the vessel share is its meter's, "
    "and no well is told",
    (
        Limit("least_fall", "fraction", 0.15, "fall of the liquid or oil rate worth telling", PRACTICE),
        Limit(
            "deviations",
            "number",
            3.5,
            "standard deviations of the well's own tests, confirmed by two in a row; as rare as of a normal law "
            "however few are known, so that of 100 wells of plain scatter fewer than one is told in a dozen tests",
            HOUSE,
        ),
        Limit(
            "deviations_alone",
            "number",
            4.0,
            "the same for a test that no other confirms yet: tests go wrong now and then, and the next one is awaited",
            HOUSE,
        ),
        Limit("tests", "number", 4.0, "earlier accepted tests needed to know the scatter", HOUSE),
    ),
    (
        "Test again with a longer purge.",
        "Pump current, fluid level, tubing pressure of the well.",
        "Meter of the test vessel, against a tank gauge or the other wells' tests.",
        "What was done at the well: speed, choke, chemical, a stop.",
    ),
    (LOOK_ONLY, STORED_PRESSURE),
)
