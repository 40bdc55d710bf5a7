"""The table "What each kind needs, at the least" of the project's format page, line by line."""

import pytest

from nightgauge.vocabulary.kinds import KINDS
from nightgauge.vocabulary.showable import is_showable

NAMES = {
    "p": "vessel_pressure",
    "l": "interface_level",
    "s": "water_dump_open",
    "m": "water_total",
    "x": "water_dump_position",
    "h": "inlet_pressure",
    "c": "oil_water_cut",
    "g": "gas_rate",
    "d": "scrubber_dump_open",
}
FORMAT = {
    "float_stuck_closed": "l sp mp",
    "float_stuck_open": "l s",
    "float_sticking": "l",
    "dump_leaking": "lm",
    "dump_restricted": "lm",
    "dump_short_cycling": "l s m",
    "dump_hunting": "lx",
    "interface_setpoint_drift": "l",
    "interface_setpoint_step": "l",
    "oil_valve_setpoint_drift": "p",
    "oil_valve_setpoint_step": "p",
    "gas_valve_setpoint_drift": "pg",
    "gas_valve_setpoint_step": "pg",
    "back_pressure_margin_lost": "pg",
    "back_pressure_hunting": "p",
    "vessel_undersized": "m",
    "water_in_oil": "c",
    "liquid_in_gas": "d",
    "instrument_frozen": "ls lm ph",
    "instrument_drift": "l ph",
}


@pytest.mark.parametrize(("kind", "sets"), FORMAT.items())
def test_a_kind_shows_with_each_of_its_sets_and_not_with_less(kind, sets):
    for letters in sets.split():
        signals = {NAMES[letter] for letter in letters}
        assert is_showable(kind, signals)
        for signal in signals:
            fewer = signals - {signal}
            enough = any({NAMES[x] for x in other} <= fewer for other in sets.split())
            assert is_showable(kind, fewer) is enough


@pytest.mark.parametrize("kind", sorted(set(KINDS) - set(FORMAT)))
def test_a_kind_that_the_table_leaves_out_is_not_said_to_show(kind):
    assert is_showable(kind, NAMES.values()) is None


def test_a_rate_is_a_meter_as_well():
    assert is_showable("vessel_undersized", ["water_rate"])


def test_the_instrument_that_is_named_decides():
    level_and_switch = ["interface_level", "water_dump_open"]
    assert is_showable("instrument_frozen", level_and_switch, "interface_level")
    assert not is_showable("instrument_frozen", level_and_switch, "vessel_pressure")
