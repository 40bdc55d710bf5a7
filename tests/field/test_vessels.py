"""Vessels, their dated controls, wells and outages."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from nightgauge.field.settings import Field

Read = Callable[..., Field]
Problems = Callable[..., list[str]]

INCH_M = 0.0254
DATED = """
[[vessel.water_dump]]
opens_at = "50 in"
valid_from = "2026-05-20"
[[vessel.water_dump]]
opens_at = "46 in"
[[vessel.water_dump]]
opens_at = "48 in"
valid_from = "2026-05-10T12:00"
"""


def test_dated_settings_are_sorted_and_hold_from_their_date(read: Read) -> None:
    vessel = read(DATED).vessels[0]

    def opens_in(*when: int) -> float:
        level_m = vessel.water_dump_at(datetime(*when, tzinfo=UTC)).opens_at_m  # type: ignore[misc]
        assert level_m is not None
        return round(level_m / INCH_M, 6)

    assert opens_in(2026, 1, 1) == 46
    assert opens_in(2026, 5, 10, 17, 59) == 46
    assert opens_in(2026, 5, 10, 18) == 48
    assert opens_in(2026, 5, 20, 6) == 50


def test_a_setting_that_is_dated_alone_is_the_best_guess_before_its_date(read: Read) -> None:
    vessel = read('[vessel.gas_valve]\nholds = "49 psig"\nvalid_from = "2026-05-10"\n').vessels[0]
    assert vessel.gas_valve_at(datetime(2020, 1, 1, tzinfo=UTC)).holds_kpag == pytest.approx(49 * 6.894757293168361)


def test_two_settings_of_one_date_are_told(problems: Problems) -> None:
    twice = '[[vessel.oil_valve]]\nholds = "45 psig"\n' * 2
    assert problems(twice) == [
        "field.toml, vessel QB-101, oil_valve 2, valid_from: found nothing, expected a date of its own for each table, "
        "and at most one table without; give the later settings the date from which they hold"
    ]
    dated = '[[vessel.oil_valve]]\nholds = "45 psig"\nvalid_from = "2026-05-02"\n' * 2
    assert problems(dated)[0].startswith('field.toml, vessel QB-101, oil_valve 2, valid_from: found "2026-05-02"')


def test_a_mistake_in_one_of_several_settings_names_which(problems: Problems) -> None:
    found = problems(DATED + '[[vessel.water_dump]]\nopens_at = "9 ft"\nvalid_from = "2026-05-21"\n')
    assert found[0].startswith("field.toml, vessel QB-101, water_dump 4, opens_at: found 2.743 m")


def test_a_control_of_the_wrong_shape_is_told(problems: Problems) -> None:
    found = problems("water_dump = 'snap'\noil_valve = []\ngas_valve = [3]\nrequired_retention = '8 min'\n")
    assert [line.split(",")[2].split(":")[0].strip() for line in found] == [
        "required_retention", "water_dump", "oil_valve", "gas_valve",
    ]  # fmt: skip


def test_required_retention_of_one_phase_is_enough(read: Read) -> None:
    vessel = read('required_retention = { water = "0.5 h" }\n').vessels[0]
    assert (vessel.required_water_retention_min, vessel.required_oil_retention_min) == (30.0, None)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("required_retention = { gas = '3 min' }", "required_retention, gas: found an unknown key"),
        ("required_retention = { water = '8 psi' }", "required_retention, water: found"),
        ("required_retention = { water = '-8 min' }", "more than 0"),
        ("mist_extractor = 'no'", "write it without quotes"),
        ("mist_extractor = 0", "true or false"),
        ("water_specific_gravity = '1.08'", "write it without quotes"),
        ("water_specific_gravity = 1080", "between 0.9 and 2.5"),
        ("water_specific_gravity = true", "a number without a unit"),
        ("gas_specific_gravity = nan", "a number without a unit"),
        (f"gas_specific_gravity = {10**400}", "a number without a unit"),
        ("gas_specific_gravity = inf", "a number without a unit"),
        ("oil_gravity = '270 degAPI'", "between 0 and 150 degAPI"),
        ("temperature = '95'", "has no unit"),
        ("temperature = '35 K'", "between -60 and 374 degC"),
        ("baffle_at = '-1 ft'", "0 or more"),
        ("settling_length = '21 ft'", "which is more than the length of 6.096 m"),
        ("baffle_at = '21 ft'", "which is more than the length of 6.096 m"),
        ("solids_depth = '8.1 ft'", "above the vessel's top at 2.438 m"),
        ("lenght = '20 ft'", "did you mean length?"),
        ("'water\\ndump' = 1", "found an unknown key"),
    ],
)
def test_a_wrong_value_of_a_vessel_is_told_with_its_key(problems: Problems, line: str, says: str) -> None:
    found = problems(line + "\n")
    assert len(found) == 1
    assert found[0].startswith("field.toml, vessel QB-101, ")
    assert says in found[0]
    assert "\n" not in found[0]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"8 ft"', '"-8 ft"', 'inside_diameter: found "-8 ft"'),
        ('"8 ft"', '"0 ft"', "more than 0"),
        ('"8 ft"', "8", "write number and unit between quotes"),
        ('"horizontal"', '"Horizontal"', "did you mean horizontal?"),
        ('"2:1 ellipsoidal"', '"elliptical"', 'heads: found "elliptical"'),
        ('"free-water knockout"', '"FWKO"', 'service: found "FWKO"'),
        ('"125 psig"', '"5 psia"', "more than 0"),
        ('"44 in"', '"97 in"', "normal_interface: found 2.464 m, which is above the vessel's top at 2.438 m"),
        ('"66 in"', '"44 in"', "which is not below normal_oil_level"),
    ],
)
def test_a_wrong_value_in_the_builders_vessel_is_told(problems: Problems, old: str, new: str, says: str) -> None:
    from_builder = (
        '[[vessel]]\nid = "QB-101"\nservice = "free-water knockout"\norientation = "horizontal"\n'
        'inside_diameter = "8 ft"\nlength = "20 ft"\nheads = "2:1 ellipsoidal"\nnormal_interface = "44 in"\n'
        'normal_oil_level = "66 in"\nmax_working_pressure = "125 psig"\n'
    )
    assert from_builder.count(old) == 1
    assert any(says in line for line in problems(vessel=from_builder.replace(old, new)))


def test_ids_that_come_twice_are_told_once_each(problems: Problems) -> None:
    vessel = '[[vessel]]\nid = "QB-101"\nservice = "separator"\n'
    found = problems('[[well]]\nid = "W"\n' * 2, vessel=vessel * 3)
    assert [line.split(";")[0] for line in found] == [
        "field.toml, vessel QB-101, id: found 3 times, expected each id of a vessel once",
        "field.toml, well W, id: found 2 times, expected each id of a well once",
    ]


def test_a_vessel_without_an_id_is_named_by_its_number(problems: Problems) -> None:
    found = problems(
        '[[vessel]]\nservice = "separator"\n[[vessel]]\nid = ""\nservice = "separator"\n[[vessel]]\nid = 4\n'
    )
    assert [line.split(":")[0] for line in found] == [
        "field.toml, vessel 2, id",
        "field.toml, vessel 3, id",
        "field.toml, vessel 4, id",
        "field.toml, vessel 4, service",
    ]


def test_wells_and_outages_name_vessels_that_are_there(problems: Problems) -> None:
    found = problems(
        '[[well]]\nid = "W"\nvessel = "QB-11"\n[[outage]]\nvessel = "east"\nfrom = "2026-05-01"\nto = "2026-05-02"\n'
    )
    assert [line.split(":")[0] for line in found] == ["field.toml, well W, vessel", "field.toml, outage 1, vessel"]


def test_a_vessel_with_mistakes_is_still_a_vessel_to_wells_and_tags(problems: Problems) -> None:
    found = problems('colour = "red"\n[[well]]\nid = "W"\nvessel = "QB-101"\n')
    assert [line.split(":")[0] for line in found] == ["field.toml, vessel QB-101, colour"]


def test_an_outage_is_from_one_time_to_a_later_one(problems: Problems) -> None:
    found = problems('[[outage]]\nvessel = "QB-101"\nfrom = "2026-05-01"\nto = 2026-05-01T00:00:00\n')
    assert found[0].startswith(
        'field.toml, outage 1, to: found 2026-05-01 00:00:00, expected a time after "2026-05-01";'
    )
    missing = problems('[[outage]]\nvessel = "QB-101"\nfrom = "2026-05-01"\n')
    assert missing[0].startswith("field.toml, outage 1, to: found nothing")
