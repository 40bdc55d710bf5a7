"""What can be judged on a vessel, against the field format's table of what each kind needs at the least."""

from itertools import chain, combinations

import pytest

from nightgauge.field.check import Judgeable, judgeable, missing_of
from nightgauge.field.settings import BackPressureValve, Heating, Vessel, WaterDump
from nightgauge.vocabulary.kinds import KINDS

LETTERS = {
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
# "What each kind needs, at the least", formats.md §2, row by row; a fault is showable with any of these sets.
SHOWABLE = {
    "float_stuck_closed": ["l", "sp", "mp"],
    "float_stuck_open": ["l", "s"],
    "float_sticking": ["l"],
    "dump_leaking": ["lm"],
    "dump_restricted": ["lm"],
    "dump_short_cycling": ["l", "s"],
    "dump_hunting": ["lx"],
    "interface_setpoint_drift": ["l"],
    "interface_setpoint_step": ["l"],
    "oil_valve_setpoint_drift": ["p"],
    "oil_valve_setpoint_step": ["p"],
    "gas_valve_setpoint_drift": ["pg"],
    "gas_valve_setpoint_step": ["pg"],
    "back_pressure_margin_lost": ["pg"],
    "back_pressure_hunting": ["p"],
    "vessel_undersized": ["m"],
    "water_in_oil": ["c"],
    "liquid_in_gas": ["d"],
    "instrument_frozen": ["ls", "lm", "ph"],
    "instrument_drift": ["ph"],
}
SETTINGS = {
    "orientation": "horizontal",
    "inside_diameter_m": 2.4,
    "length_m": 6.0,
    "heads": "flat",
    "normal_interface_m": 1.1,
    "normal_oil_level_m": 1.6,
    "max_working_pressure_kpag": 800.0,
    "required_water_retention_min": 8.0,
}


def vessel(**settings: object) -> Vessel:
    return Vessel(**({"id": "V", "service": "separator"} | SETTINGS | settings))  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", SHOWABLE)
def test_a_fault_that_the_format_calls_showable_can_be_judged(kind: str) -> None:
    every = chain.from_iterable(combinations(LETTERS, n) for n in range(len(LETTERS) + 1))
    for letters in every:
        signals = {LETTERS[letter] for letter in letters}
        if any(set(need) <= set(letters) for need in SHOWABLE[kind]):
            assert judgeable(vessel(), signals)[kind].can, (kind, letters)


def test_without_signals_only_missing_data_is_judged() -> None:
    assert [kind for kind, judged in judgeable(vessel(), set()).items() if judged.can] == ["data_gap"]


def test_every_kind_gets_an_answer_that_says_why() -> None:
    for signals in (set(), set(LETTERS.values())):
        answers = judgeable(vessel(), signals)
        assert list(answers) == list(KINDS)
        assert all(answer.why for answer in answers.values())


@pytest.mark.parametrize(
    ("signals", "kind", "why"),
    [
        ({"interface_level"}, "dump_leaking", "no tag for water_total or water_rate"),
        ({"vessel_pressure"}, "gas_valve_setpoint_step", "no tag for gas_rate"),
        (set(), "gas_valve_setpoint_step", "no tag for gas_rate and vessel_pressure"),
        ({"water_total"}, "float_stuck_closed", "no tag for interface_level or vessel_pressure"),
    ],
)
def test_the_fewest_signals_that_are_lacking_are_named(signals: set[str], kind: str, why: str) -> None:
    assert judgeable(vessel(), signals)[kind].why == why


def test_the_smallest_set_that_suffices_is_named() -> None:
    assert judgeable(vessel(), {"interface_level", "vessel_pressure"})["float_stuck_closed"].why == "by interface_level"


def test_wells_are_judged_on_test_vessels_with_a_meter() -> None:
    of_tests = vessel(service="test vessel")
    assert judgeable(of_tests, {"water_total"})["well_test_decline"] == Judgeable(can=True, why="by water_total")
    assert not judgeable(of_tests, {"vessel_pressure"})["well_test_decline"].can
    assert not judgeable(vessel(), {"water_total"})["well_test_decline"].can


def test_trips_are_for_snap_dumps_and_hunting_for_throttling_ones() -> None:
    signals = {"interface_level", "water_dump_position"}
    snap = judgeable(vessel(water_dump=(WaterDump(action="snap"),)), signals)
    throttling = judgeable(vessel(water_dump=(WaterDump(action="throttling"),)), signals)
    unknown = judgeable(vessel(), signals)
    for kind, of_snap in (("float_sticking", True), ("dump_short_cycling", True), ("dump_hunting", False)):
        assert (snap[kind].can, throttling[kind].can, unknown[kind].can) == (of_snap, not of_snap, True)


def test_in_a_two_phase_vessel_the_oil_level_is_the_level_of_the_dump() -> None:
    two_phase = vessel(normal_interface_m=None)
    assert judgeable(two_phase, {"oil_level"})["float_stuck_closed"].why == "by oil_level"
    assert not judgeable(vessel(), {"oil_level"})["float_stuck_closed"].can


@pytest.mark.parametrize(
    ("settings", "kind", "why"),
    [
        ({"heads": None}, "vessel_undersized", "field.toml lacks heads"),
        ({"heads": None, "length_m": None}, "vessel_undersized", "field.toml lacks length; heads"),
        ({"max_working_pressure_kpag": None}, "pressure_near_limit", "field.toml lacks max_working_pressure"),
        (
            {"required_water_retention_min": None},
            "vessel_undersized",
            "field.toml lacks required_retention, or oil_gravity and temperature",
        ),
        (
            {"required_water_retention_min": None, "oil_gravity_degapi": 27.0},
            "vessel_undersized",
            "field.toml lacks required_retention, or oil_gravity and temperature",
        ),
    ],
)
def test_a_setting_that_a_kind_cannot_do_without_is_named(settings: dict[str, object], kind: str, why: str) -> None:
    answer = judgeable(vessel(**settings), {"water_total", "vessel_pressure"})[kind]
    assert (answer.can, answer.why) == (False, why)


@pytest.mark.parametrize(
    "settings",
    [
        {"oil_gravity_degapi": 36.0},  # above 35 degAPI the published table has one row for all temperatures
        {"oil_gravity_degapi": 27.0, "temperature_c": 35.0},
        {"required_oil_retention_min": 10.0},
    ],
)
def test_the_published_table_stands_in_for_a_bottle_test(settings: dict[str, object]) -> None:
    made = vessel(required_water_retention_min=None, **settings)
    assert judgeable(made, {"water_total"})["vessel_undersized"].can


def test_a_bare_vessel_lacks_everything_that_would_allow_more() -> None:
    keys = [missing.key for missing in missing_of(Vessel("V", "separator"), set())]
    for key in ("inside_diameter", "normal_interface", "oil_gravity", "water_dump.cv", "oil_valve.holds"):
        assert key in keys
    assert "tag for oil_water_cut" in keys
    assert len(keys) == len(set(keys))


def test_what_is_there_is_not_missing() -> None:
    made = vessel(
        mist_extractor=False, solids_depth_m=0.0, oil_gravity_degapi=27.0, water_specific_gravity=1.08,
        gas_specific_gravity=0.75,
        water_dump=(WaterDump("throttling", holds_m=1.1, cv=90.0),),
        oil_valve=(BackPressureValve(310.0, 290.0),), gas_valve=(BackPressureValve(330.0),),
        heating=Heating(60.0, 0.7),
    )  # fmt: skip
    signals = {
        "oil_total",
        "anode_current",
        *LETTERS.values(),
        "temperature",
        "water_downstream_pressure",
        "water_oil_content",
    }
    assert missing_of(made, signals) == []


def keys_of(signals: set[str], **settings: object) -> list[str]:
    return [missing.key for missing in missing_of(vessel(**settings), signals)]


def test_heating_is_asked_for_where_water_in_the_oil_is_known_as_a_volume() -> None:
    for meter in ("oil_rate", "oil_total"):
        assert "heating" in keys_of({"oil_water_cut", meter})
        assert "heating" not in keys_of({"oil_water_cut", meter}, heating=Heating(60.0, 0.7))
    assert "heating" not in keys_of({"oil_water_cut"})
    assert "heating" not in keys_of({"oil_total"})


def test_the_pressure_needed_is_asked_for_where_one_is_held_and_measured() -> None:
    valve = (BackPressureValve(310.0),)
    assert "oil_valve.needs" in keys_of({"vessel_pressure"}, oil_valve=valve)
    assert "oil_valve.needs" not in keys_of({"interface_level"}, oil_valve=valve)
    assert "oil_valve.needs" not in keys_of({"vessel_pressure"})
    assert "oil_valve.needs" not in keys_of({"vessel_pressure"}, oil_valve=(BackPressureValve(310.0, 290.0),))


def test_a_current_of_one_anode_is_enough_to_judge_anodes() -> None:
    judged = judgeable(vessel(), {"anode_current:A1"})
    assert judged["anode_current_lost"].can
    assert not judgeable(vessel(), {"temperature"})["anode_current_lost"].can
