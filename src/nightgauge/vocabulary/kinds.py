"""The kinds of finding, each declared once: what it says, what it needs, its limits and what to look at on site.

The detectors read their thresholds here, `[limits.<kind>]` in field.toml is checked against them, and
`nightgauge explain` prints them. A limit's default is in the unit used inside.
"""

from dataclasses import dataclass

from nightgauge.vocabulary.limits import Limit

Needs = frozenset[str]
"""A set of signals that is enough together."""

HOUSE = "house choice"
PRACTICE = "common practice, no source"
FORMAT = "fixed by the project's format page"

_PSI = 6.894757293168361
_INCH = 0.0254
_HOUR = 3600.0
_DAY = 86400.0

ISOLATE = (
    "Stored pressure and moving linkage: isolate, bleed down, lock out and gas-test by the site's own procedure "
    "before touching the valve or the float; competent people decide."
)
LOOK_ONLY = "Look and measure only; relief valves and working pressure are never changed to suit a finding."
SOUR = "Treat the stream as holding hydrogen sulphide until a gas test at the place says otherwise."


@dataclass(frozen=True)
class Kind:
    """One kind of finding, as detectors, `explain`, `check` and the README's table know it."""

    name: str
    says: str
    """One line: what the finding says."""
    element: str
    """The part it is told of, in words for people ("water_dump", "oil_valve or gas_valve", "instrument:<signal>")."""
    failure_mode: str | None
    """ISO 14224 code, from secondary copies of the standard."""
    looks_for: str
    """The physical signature and what it is compared with."""
    needs: tuple[Needs, ...]
    """Each set is enough to show the fault; empty: no signal needed."""
    fewer: str
    """What is still said with fewer signals than the best set."""
    limits: tuple[Limit, ...] = ()
    checks: tuple[str, ...] = ()
    """What to look at on site, in order."""
    cautions: tuple[str, ...] = ()

    def limit(self, name: str) -> Limit:
        """Return the limit of this name; KeyError if the kind has none."""
        for limit in self.limits:
            if limit.name == name:
                return limit
        raise KeyError(f"{self.name} has no limit {name!r}; it has {', '.join(self.limit_names) or 'none'}")

    @property
    def limit_names(self) -> tuple[str, ...]:
        """Return the names that `[limits.<kind>]` may set."""
        return tuple(limit.name for limit in self.limits)


def _needs(*sets: str) -> tuple[Needs, ...]:
    """Return sets of signals from texts such as "interface_level water_meter"; a meter is a total or a rate."""
    found: list[Needs] = []
    for text in sets:
        names = text.split()
        if "water_meter" in names:
            rest = [n for n in names if n != "water_meter"]
            found += [frozenset([*rest, "water_total"]), frozenset([*rest, "water_rate"])]
        else:
            found.append(frozenset(names))
    return tuple(found)


_REFERENCE_DAYS = Limit(
    "reference_time",
    "duration",
    14 * _DAY,
    "two weeks hold both the days and the week-ends of a field's routine; shorter past is used, and said, while it is "
    "all there is",
    HOUSE,
)
_SETTLED = Limit(
    "settled_time",
    "duration",
    7 * _DAY,
    "a step that stays for a week was meant: it becomes the reference and is cleared as taken as the new setting",
    FORMAT,
)


_FIVE_SIGMA = Limit(
    "deviations",
    "number",
    5.0,
    "standard deviations of the vessel's own daily scatter; five keeps a fleet of a hundred vessels with a dozen "
    "indicators each below one chance alarm a year if the scatter is near normal",
    HOUSE,
)

_STUCK_CLOSED = Kind(
    "float_stuck_closed",
    "water comes in, the interface passes the opening level, no dump (throttling: flow no longer answers)",
    "water_dump",
    "FTO",
    "no dump for several of the vessel's own periods while water comes in: shown by the level above the opening level, "
    "or by pressure, gas and oil flow that stay as they are when wells produce",
    _needs("interface_level", "water_dump_open vessel_pressure", "water_meter vessel_pressure"),
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
            3 * _HOUR,
            "a vessel that dumps every few minutes is not called stuck over a pause of minutes; half of the six hours "
            "in which a stuck float has to be told",
            HOUSE,
        ),
        Limit(
            "above_opening",
            "length",
            1.0 * _INCH,
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

_STUCK_OPEN = Kind(
    "float_stuck_open",
    "the dump stays open, the interface falls below the closing level",
    "water_dump",
    "FTC",
    "the dump open far longer than it ever takes to drain, with the interface below the closing level or at the outlet",
    _needs("interface_level", "water_dump_open"),
    "with the switch alone a long slug looks alike, so it has to last longer; with the level alone, the interface lying "
    "below the closing level shows it",
    (
        Limit(
            "drains",
            "number",
            4.0,
            "the vessel's own long drains (95th percentile); a slug lengthens a dump but the level recovers",
            HOUSE,
        ),
        Limit("least_time", "duration", 1 * _HOUR, "open with the interface low; shorter is a hand dump", HOUSE),
        Limit(
            "least_time_switch_alone",
            "duration",
            5 * _HOUR,
            "open by the switch alone; inside the six hours in which it has to be told, longer than slugs",
            HOUSE,
        ),
        Limit(
            "below_closing",
            "length",
            1.0 * _INCH,
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

_STICKING = Kind(
    "float_sticking",
    "trips late and uneven: the gap between opening and closing level has grown or scatters",
    "water_dump",
    "DOP",
    "opening level up, closing level down, or both scattering, over many dumps, against the vessel's own past",
    _needs("interface_level"),
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
            0.35 * _INCH,
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

_LEAKING = Kind(
    "dump_leaking",
    "water leaves while the dump valve is shut",
    "water_dump",
    "LCP",
    "the meter moves while the dump is shut, and fills are slower than the water that leaves says",
    _needs("interface_level water_meter", "water_dump_open water_meter"),
    "with the meter and a switch but no level, from the meter while shut alone",
    (
        Limit(
            "leak_share",
            "fraction",
            0.05,
            "share of the water that leaves while shut; 5 % is above a turbine meter's creep and error",
            PRACTICE,
        ),
        _FIVE_SIGMA,
        Limit("least_time", "duration", 12 * _HOUR, "half a day, so that a hand dump past the switch is none", HOUSE),
    ),
    (
        "Meter while the dump is shut: does it turn?",
        "Listen and feel at the shut valve and the line after it.",
        "Seat and trim: cut, scaled, debris; travel reaches the seat.",
        "By-pass valve: shut and tight.",
    ),
    (ISOLATE, SOUR),
)

_RESTRICTED = Kind(
    "dump_restricted",
    "flow through the open valve has fallen for the same pressure drop",
    "water_dump",
    "PLU",
    "effective flow coefficient of the dumps below the vessel's own past; flow alone where there is no pressure",
    _needs("interface_level water_meter"),
    "without a pressure or a downstream pressure: from flow while open, and it says so",
    (
        Limit(
            "coefficient_share",
            "fraction",
            0.8,
            "effective Cv against its past; a fifth less is beyond meter and pressure error together",
            HOUSE,
        ),
        _FIVE_SIGMA,
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

_SHORT_CYCLING = Kind(
    "dump_short_cycling",
    "far more, far smaller dumps than the inflow needs",
    "water_dump",
    "SPO",
    "dumps smaller (gap, volume or time open) than this vessel's past by a factor, and more of them by as much",
    _needs("interface_level", "water_dump_open", "water_meter"),
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

_DUMP_HUNTING = Kind(
    "dump_hunting",
    "a throttling dump swings level and flow of its own",
    "water_dump",
    "FTR",
    "regular swings of level and travel at one period, far above this vessel's past, that the inflow does not show",
    _needs("interface_level water_dump_position"),
    "with level and meter instead of travel: likewise, less sure",
    (
        Limit("swing_growth", "number", 2.5, "swing against its past", HOUSE),
        Limit("least_swing", "length", 0.5 * _INCH, "swing of the level worth telling", PRACTICE),
        Limit(
            "regularity",
            "fraction",
            0.6,
            "evenness of the period; slugs from wells come unevenly, a limit cycle keeps time",
            HOUSE,
        ),
        Limit("least_time", "duration", 6 * _HOUR, "hours with such swings in a day", HOUSE),
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
        _needs("interface_level"),
        "from the level alone a drifting level reading looks the same: both are named, with the reading that settles it",
        (
            Limit(
                "least_move",
                "length",
                0.8 * _INCH,
                "move worth telling; drifts are to be told before 2 in, so half of that less a night's growth",
                FORMAT,
            ),
            _FIVE_SIGMA,
            _REFERENCE_DAYS,
            _SETTLED,
        ),
        (
            "Sight glass or gauge against the level reading: which one moved?",
            "Float, arm, weights and adjustment: slipped, worn, changed by hand.",
            "Density: has water or oil changed (float sits elsewhere)?",
        ),
        (ISOLATE,),
    )


def _valve(valve: str, other: str, shape: str) -> Kind:
    needs = _needs("vessel_pressure") if valve == "oil_valve" else _needs("vessel_pressure gas_rate")
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
                0.75 * _PSI,
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
            _FIVE_SIGMA,
            _REFERENCE_DAYS,
            _SETTLED,
        ),
        (
            "Gauge beside the transmitter: do they agree?",
            f"Spring or weight, seat and diaphragm of the {word} valve; was it adjusted?",
            f"Setting of the {other} valve against it.",
        ),
        (LOOK_ONLY, ISOLATE),
    )


_MARGIN = Kind(
    "back_pressure_margin_lost",
    "gas valve no longer set enough above the oil valve",
    "gas_valve",
    "FTR",
    "pressure at which the gas valve clips the peaks, less the pressure the oil valve holds",
    _needs("vessel_pressure gas_rate"),
    "nothing without a gas rate: then the clip is not seen",
    (
        Limit(
            "margin",
            "pressure difference",
            1.5 * _PSI,
            "below about 1 to 2 psi the valves open together and streams leave by the wrong outlet",
            PRACTICE,
        ),
        Limit("least_time", "duration", 1.5 * _DAY, "days on which it has to show, so that one odd day is none", HOUSE),
    ),
    (
        "Both valves' settings at a gauge, with the same gauge.",
        "Gas valve: spring, seat, leaking.",
        "Scrubber and gas line: liquid?",
    ),
    (LOOK_ONLY, ISOLATE),
)

_PRESSURE_HUNTING = Kind(
    "back_pressure_hunting",
    "vessel pressure swings on a back-pressure valve",
    "oil_valve or gas_valve",
    "FTR",
    "regular swings of pressure, minutes long, far above this vessel's past, not at the period of the dumps",
    _needs("vessel_pressure"),
    "without dump evidence the dumps' own period is not known, so confidence is lower",
    (
        Limit("swing_growth", "number", 2.5, "swing against its past", HOUSE),
        Limit("least_swing", "pressure difference", 1.0 * _PSI, "swing worth telling", PRACTICE),
        Limit("regularity", "fraction", 0.6, "evenness of the period; a limit cycle keeps time, slugs do not", HOUSE),
        Limit("least_time", "duration", 4 * _HOUR, "hours with such swings", HOUSE),
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

_NOT_HELD = Kind(
    "pressure_not_held",
    "pressure falls well below what the valve holds although gas and liquid come in",
    "oil_valve or gas_valve",
    "FTC",
    "vessel pressure far below the held pressure for hours while dumps, meters or gas flow show that wells produce",
    _needs("vessel_pressure"),
    "without meter, switch, level or gas rate inflow cannot be shown, and it is not judged",
    (
        Limit("held_share", "fraction", 0.85, "pressure against the held pressure", HOUSE),
        Limit(
            "least_fall",
            "pressure difference",
            4.0 * _PSI,
            "fall worth telling where little pressure is held",
            PRACTICE,
        ),
        Limit(
            "least_time", "duration", 3 * _HOUR, "longer than a dump or a well switch takes the pressure down", HOUSE
        ),
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

_NEAR_LIMIT = Kind(
    "pressure_near_limit",
    "pressure comes near the working pressure (outlet blocked or shut)",
    "vessel",
    None,
    "vessel pressure against max_working_pressure of field.toml",
    _needs("vessel_pressure"),
    "nothing without max_working_pressure",
    (
        Limit("share", "fraction", 0.9, "share of the working pressure; within 10 % of it is high", FORMAT),
        Limit("least_time", "duration", 0.1 * _HOUR, "a tenth of an hour, so that a single spike is none", HOUSE),
    ),
    (
        "Gauge at the vessel, from a safe place.",
        "Outlets: block valves, gas line, oil line, downstream shut-in.",
        "Oil and gas valve: open when they should?",
    ),
    ("High pressure: follow the site's own procedure for it first.", LOOK_ONLY),
)

_UNDERSIZED = Kind(
    "vessel_undersized",
    "retention, gas capacity or dump valve short of what the load it really sees requires",
    "vessel (water_dump where the dump valve is too small)",
    None,
    "hours with inflow in which retention is below the required one, over seven days",
    _needs("water_meter", "interface_level", "water_dump_open"),
    "without dimensions nothing; without an oil meter oil retention is not judged; without solids depth retention is an "
    "upper bound",
    (
        Limit("short_share", "fraction", 0.1, "share of the hours with inflow that are short", FORMAT),
        Limit("over", "duration", 7 * _DAY, "time over which the share is taken", FORMAT),
        Limit(
            "least_inflow_time",
            "duration",
            72 * _HOUR,
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
        _needs(signal),
        "without a load it is compared with the vessel's past alone",
        (
            *limits,
            _FIVE_SIGMA,
            Limit("least_time", "duration", 12 * _HOUR, "half a day, so that one upset is none", HOUSE),
        ),
        checks,
        (ISOLATE, SOUR),
    )


_GAS_IN_LIQUID = Kind(
    "gas_in_liquid",
    "gas leaves by a liquid outlet (blow-by)",
    "vessel",
    None,
    "the dump open at low level, pressure sagging with the dump far more than ever before, the meter racing",
    _needs("interface_level vessel_pressure", "water_dump_open vessel_pressure", "water_meter vessel_pressure"),
    "without a level from sag and meter alone",
    (
        Limit("sag_growth", "number", 4.0, "pressure sag of a dump against the usual one", HOUSE),
        Limit("least_sag", "pressure difference", 5.0 * _PSI, "sag worth telling", PRACTICE),
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

_FROZEN = Kind(
    "instrument_frozen",
    "the reading stands still while the process moves",
    "instrument:<signal>",
    "AIR",
    "identical values far longer than this signal ever stays still, while another signal shows that the process moves",
    _needs(
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
        Limit("least_time", "duration", 4 * _HOUR, "stillness worth telling", HOUSE),
        Limit("dumps", "number", 3.0, "dumps that the reading should have shown and did not", HOUSE),
    ),
    (
        "Transmitter against gauge or sight glass.",
        "Impulse lines: plugged, frozen, valve shut.",
        "Signal path: input card, radio, historian point.",
    ),
    (LOOK_ONLY, ISOLATE),
)

_INSTRUMENT_DRIFT = Kind(
    "instrument_drift",
    "the reading moves, the vessel does not",
    "instrument:<signal>",
    "AIR",
    "pressure that moves while the header does not; level whose dumps by geometry part from the meter or whose other "
    "witnesses (cut, spill, second level) stay as they were",
    _needs("vessel_pressure inlet_pressure", "interface_level water_meter"),
    "where it cannot be told from a moved setpoint one finding names both",
    (
        Limit("least_move", "pressure difference", 0.75 * _PSI, "as for the oil valve's setpoint", FORMAT),
        Limit(
            "follow_share",
            "fraction",
            0.5,
            "share of the move that the header makes too; above it the valve moved, below it the transmitter",
            HOUSE,
        ),
        _FIVE_SIGMA,
    ),
    (
        "Transmitter against a test gauge or sight glass.",
        "Zero and span; impulse lines; diaphragm.",
    ),
    (LOOK_ONLY, ISOLATE),
)

_NOISY = Kind(
    "instrument_noisy",
    "the reading scatters as it never did",
    "instrument:<signal>",
    "AIR",
    "scatter within the hour, or the share of bad samples, far above this signal's past without a like change elsewhere",
    _needs("interface_level", "vessel_pressure", "water_meter"),
    "each signal is judged by its own past",
    (
        Limit("growth", "number", 4.0, "scatter against its past", HOUSE),
        Limit("bad_share", "fraction", 0.3, "share of bad samples", HOUSE),
        Limit("least_time", "duration", 12 * _HOUR, "hours in a day that show it", HOUSE),
    ),
    (
        "Wiring, grounding, radio path.",
        "Transmitter damping; vibration; gas in the impulse line.",
    ),
    (LOOK_ONLY,),
)

_DATA_GAP = Kind(
    "data_gap",
    "too little data to judge",
    "instrument:<signal>, or vessel if all are silent",
    None,
    "a signal that used to come and is not known for most of a day or longer",
    (),
    "says since when, and what cannot be judged without it",
    (
        Limit(
            "least_time", "duration", 18 * _HOUR, "most of a day; shorter gaps are caught up by the next export", HOUSE
        ),
        Limit(
            "coverage",
            "fraction",
            0.5,
            "share of an hour in which the value is known, below which the hour is a gap",
            HOUSE,
        ),
        Limit("visit_time", "duration", 2 * _DAY, "a gap that stays this long is worth a visit (medium)", HOUSE),
    ),
    (
        "Is the export complete, was a tag renamed (nightgauge check)?",
        "Historian point, input, radio, transmitter supply.",
    ),
    (LOOK_ONLY,),
)

_UNUSUAL = Kind(
    "unusual_day",
    "unlike this vessel's other days, and none of the other kinds explains it",
    "vessel",
    None,
    "all daily indicators of the vessel together, robustly scaled by its own past",
    _needs("interface_level", "vessel_pressure", "water_meter", "water_dump_open"),
    "uses whatever indicators the vessel has; fewer than four: not judged",
    (
        Limit(
            "chance", "fraction", 0.002, "share of ordinary days that may be called unusual: under one a year", HOUSE
        ),
        Limit("days", "number", 14.0, "other days to compare with", HOUSE),
    ),
    ("What was done at the vessel or its wells that day?",),
    (LOOK_ONLY,),
)

_WELL_TEST = Kind(
    "well_test_decline",
    "a well's test record has changed enough to look at the well",
    "well:<id>",
    None,
    "accepted tests of the well against its own earlier tests",
    _needs("well_on_test water_meter", "well_on_test oil_total", "well_on_test oil_rate"),
    "liquid from whatever meters there are; without an oil meter water alone",
    (
        Limit("least_fall", "fraction", 0.15, "fall of the liquid rate worth telling", PRACTICE),
        Limit(
            "deviations", "number", 3.0, "standard deviations of the well's own tests, confirmed by two in a row", HOUSE
        ),
        Limit("tests", "number", 4.0, "earlier accepted tests needed to know the scatter", HOUSE),
    ),
    (
        "Test again with a longer purge.",
        "Pump current, fluid level, tubing pressure of the well.",
    ),
    (LOOK_ONLY,),
)

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        _STUCK_CLOSED,
        _STUCK_OPEN,
        _STICKING,
        _LEAKING,
        _RESTRICTED,
        _SHORT_CYCLING,
        _DUMP_HUNTING,
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
        _valve("oil_valve", "gas", "drift"),
        _valve("oil_valve", "gas", "step"),
        _valve("gas_valve", "oil", "drift"),
        _valve("gas_valve", "oil", "step"),
        _MARGIN,
        _PRESSURE_HUNTING,
        _NOT_HELD,
        _NEAR_LIMIT,
        _UNDERSIZED,
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
        _GAS_IN_LIQUID,
        _FROZEN,
        _INSTRUMENT_DRIFT,
        _NOISY,
        _DATA_GAP,
        _UNUSUAL,
        _WELL_TEST,
    )
}
"""Every kind of the findings format, by name."""
