"""How each number of the pages is computed, in the words of the trade, and the caution that stands on each page."""

CAUTION = (
    "These are things to look at, from recorded data. Stored pressure, hot fluids, flammable gas, hydrogen sulphide "
    "and moving linkages hurt people: isolate, bleed down, lock out and gas-test by the site’s own procedure. "
    "Nothing here says that a vessel may be opened."
)
METHODS: tuple[tuple[str, str], ...] = (
    (
        "Dumps",
        "A dump runs from the opening of the water dump to its shutting: by the open/shut switch where there is one, "
        "else by the outlet meter, else by the saw-tooth of the interface level. “Usual” is the range that held eight "
        "days of ten of the same vessel in the weeks before.",
    ),
    (
        "Inflow and load",
        "Water that came in between two shuttings, taken as constant over that time and spread over the hours. The oil "
        "load is the whole stream of the oil outlet; without an oil meter it is not known.",
    ),
    (
        "Retention",
        "Volume of the phase in the vessel, from its dimensions and levels, divided by its load. The requirement is "
        "the bottle test’s where the field gives one, else the lower end of the published table’s range for the oil’s "
        "gravity and temperature. An hour is short when retention is below it while water or oil comes in.",
    ),
    (
        "Held pressure",
        "The pressure at the vessel’s own reference load, so that a busier day does not read as a drifting spring. "
        "The oil valve’s hold lies on the lower branch of pressure against load, the gas valve’s is the level that "
        "clips the peaks. On a day when pressure visits neither, nothing is shown.",
    ),
    (
        "Back pressure",
        "Pressure that the oil valve holds above what is needed (or above its setting, where field.toml does not say "
        "what is needed), times the productivity indices of the wells that flow there on the day, with the slope of a "
        "pump’s curve where it is given. It is the most that the wells can be held back. The oil of it follows from "
        "each well’s latest accepted test, else from the water cut set for it.",
    ),
    (
        "Price of carryover",
        "Heat for the water that leaves with the oil: its volume, density and rise in temperature with the specific "
        "heat of fresh water, which is an upper bound for brine; fuel at the heater’s stated efficiency. Oil that "
        "leaves with the water: its mass over its density at 60 °F. Money only where field.toml gives prices.",
    ),
    (
        "Effective flow coefficient",
        "Flow while the dump is open, divided by the root of the pressure drop over the specific gravity (gpm, psi). "
        "The drop counts gas pressure and liquid head less the pressure downstream.",
    ),
    (
        "What it costs",
        "Told only where its numbers are measured or set; “how this was reckoned” shows them. “Up to” is the most "
        "that it can be, where a part is not known: how much of the water of a shut dump goes to the oil side, how "
        "much of a rise in pressure the wells feel.",
    ),
    (
        "What the vessel can take",
        "Retention: the load at which the volume there gives the time required. Settling: the load at which drops of "
        "the stated size still cross the layer, at even flow. Dump and oil valve: the flow of the rated coefficient, "
        "wide open all day. Levels and pressures are medians of the last four weeks, else the settings. The load is "
        "that which nine days of ten lie below. On the picture gas is told as oil: the rate of oil whose gas takes all "
        "of the gas capacity, at the gas-oil ratio of the last four weeks. Limits far beyond the days are said and not "
        "drawn.",
    ),
    (
        "Anodes",
        "Mass that a current takes by Faraday’s law, with the practical capacity of the metal, from the last known "
        "mass on; without a current, the loss between inspections carried on. Usable is what the anode’s shape lets it "
        "give before it fails. Look by: a year after the last look, or half of the shortest likely life, whichever is "
        "sooner.",
    ),
    (
        "How sure",
        "Sure from 90 %, likely from 70 %, possible below: how well the evidence fits this explanation and no other. "
        "It rises or falls as nights pass.",
    ),
    (
        "Priority",
        "◆ high: fluid leaves by the wrong outlet now, or no dump while water comes in, or pressure within 10 % of the "
        "working pressure. ◇ medium: needs a visit within about two weeks. • low: worth knowing.",
    ),
    (
        "Coverage",
        "Share of the time in which at least one source of dumps (switch, meter or level) is known. A gap is a gap: "
        "nothing is filled in, and “nothing found” is said beside how much could be seen.",
    ),
)
"""Pairs of heading and explanation."""
