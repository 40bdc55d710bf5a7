"""The kinds of finding, each declared once: what it says, what it needs, its limits and what to look at on site.

The detectors read their thresholds here, `[limits.<kind>]` in field.toml is checked against them, and
`nightgauge explain` prints them. A limit's default is in the unit used inside.
"""

from nightgauge.vocabulary.kind import Kind, Needs
from nightgauge.vocabulary.kinds_anode import ANODES
from nightgauge.vocabulary.kinds_dump import (
    DUMP_HUNTING,
    INTERFACE,
    LEAKING,
    RESTRICTED,
    SHORT_CYCLING,
    STICKING,
    STUCK_CLOSED,
    STUCK_OPEN,
)
from nightgauge.vocabulary.kinds_pressure import HELD_PRESSURE, MARGIN, NEAR_LIMIT, NOT_HELD, PRESSURE_HUNTING
from nightgauge.vocabulary.kinds_vessel import (
    CARRYOVER,
    DATA_GAP,
    FROZEN,
    GAS_IN_LIQUID,
    INSTRUMENT_DRIFT,
    NOISY,
    UNDERSIZED,
    UNUSUAL,
    WELL_TEST,
)

__all__ = ["KINDS", "Kind", "Needs"]

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        STUCK_CLOSED,
        STUCK_OPEN,
        STICKING,
        LEAKING,
        RESTRICTED,
        SHORT_CYCLING,
        DUMP_HUNTING,
        *INTERFACE,
        *HELD_PRESSURE,
        MARGIN,
        PRESSURE_HUNTING,
        NOT_HELD,
        NEAR_LIMIT,
        UNDERSIZED,
        *CARRYOVER,
        GAS_IN_LIQUID,
        FROZEN,
        INSTRUMENT_DRIFT,
        NOISY,
        DATA_GAP,
        UNUSUAL,
        WELL_TEST,
        *ANODES,
    )
}
"""Every kind of the findings format, by name."""
