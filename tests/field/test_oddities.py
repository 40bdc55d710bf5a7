"""Settings that are possible and odd.

The rules of thumb (half of the height, 4 ft of downcomer, gas valve above oil valve) are common practice, no source.
"""

from collections.abc import Callable

import pytest

from nightgauge.field.check import warnings_of
from nightgauge.field.settings import Field

Read = Callable[..., Field]
SNAP = '[vessel.water_dump]\naction = "snap"\nopens_at = "46 in"\ncloses_at = "42 in"\n'


def test_an_ordinary_vessel_has_no_warning(read: Read) -> None:
    ordinary = SNAP + (
        '[vessel.oil_valve]\nholds = "45 psig"\nkind = "weight"\ndowncomer = "4 ft"\n'
        '[vessel.gas_valve]\nholds = "49 psig"\n'
    )
    assert warnings_of(read(ordinary)) == []


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (
            SNAP + 'holds = "44 in"\n',
            "opens_at and closes_at are for snap action, holds and band for throttling",
        ),
        ('[vessel.water_dump]\naction = "snap"\nholds = "44 in"\n', "action is snap, but holds and band"),
        ('[vessel.water_dump]\naction = "throttling"\nopens_at = "46 in"\n', "action is throttling, but opens_at"),
        ('[vessel.water_dump]\nholds = "44 in"\n', "action is missing: snap or throttling"),
        (SNAP.replace("42", "45"), "normal_interface lies below closes_at"),
        (SNAP.replace("46", "43"), "normal_interface lies above opens_at"),
        (SNAP.replace("46", "66"), "opens_at is not below normal_oil_level"),
        ('[vessel.water_dump]\naction = "throttling"\nholds = "66 in"\n', "holds is not below normal_oil_level"),
        (SNAP + 'elevation = "9 ft"\n', "water_dump: elevation of the outlet lies above the vessel"),
        (
            SNAP + 'downstream_pressure = "45 psig"\n[vessel.oil_valve]\nholds = "45 psig"\n',
            "downstream_pressure is not below the pressure that oil_valve holds",
        ),
        ('baffle_at = "4 ft"\n', "baffle_at at 20% of the length is far from half-way (common practice, no source)"),
        (f'solids_depth = "43 in"\n{SNAP}', "closes_at lies within the solids"),
        ('solids_depth = "44 in"\n', "solids_depth reaches the interface"),
        ("water_specific_gravity = 0.95\n", "water_specific_gravity of 0.95 is unusual (common practice, no source)"),
        ("water_specific_gravity = 1.3\n", "water_specific_gravity of 1.3 is unusual"),
        ('[vessel.oil_valve]\nkind = "weight"\ndowncomer = "3.9 ft"\n', "more than about 4 ft of downcomer"),
        ('[vessel.oil_valve]\nholds = "125 psig"\n', "oil_valve: holds is at or above max_working_pressure"),
        ('[vessel.gas_valve]\nholds = "113 psig"\n', "gas_valve: holds is within 10 % of max_working_pressure"),
        (
            '[vessel.oil_valve]\nholds = "45 psig"\n[vessel.gas_valve]\nholds = "45 psig"\n',
            "gas_valve holds no more than oil_valve",
        ),
        (
            '[[vessel.oil_valve]]\nholds = "45 psig"\n'
            '[[vessel.oil_valve]]\nholds = "50 psig"\nvalid_from = "2026-05-01"\n'
            '[vessel.gas_valve]\nholds = "49 psig"\n',
            "gas_valve holds no more than oil_valve",
        ),
        (
            '[[vessel.oil_valve]]\n[[vessel.oil_valve]]\nholds = "125 psig"\nvalid_from = "2026-05-01"\n',
            "oil_valve from 2026-05-01 06:00 UTC: holds is at or above",
        ),
    ],
)
def test_an_odd_setting_is_warned_of_once(read: Read, lines: str, says: str) -> None:
    found = warnings_of(read(lines))
    assert len(found) == 1
    assert found[0].startswith("vessel QB-101: ")
    assert says in found[0]


@pytest.mark.parametrize(
    ("level", "is_far"), [("28.7 in", True), ("28.9 in", False), ("67.1 in", False), ("67.3 in", True)]
)
def test_an_interface_far_from_half_of_the_height_is_warned_of(read: Read, level: str, is_far: bool) -> None:
    # 30 % and 70 % of 96 in are 28.8 and 67.2 in
    vessel = (
        '[[vessel]]\nid = "QB-101"\nservice = "separator"\norientation = "horizontal"\ninside_diameter = "96 in"\n'
        f'normal_interface = "{level}"\nnormal_oil_level = "90 in"\n'
    )
    assert any("far from half" in line for line in warnings_of(read(vessel=vessel))) == is_far


@pytest.mark.parametrize(
    ("line", "is_odd"),
    [
        ('baffle_at = "4.9 ft"', True),  # a quarter and three quarters of 20 ft are 5 and 15 ft
        ('baffle_at = "5.1 ft"', False),
        ('baffle_at = "14.9 ft"', False),
        ('baffle_at = "15.1 ft"', True),
        ("water_specific_gravity = 0.989", True),
        ("water_specific_gravity = 0.99", False),
        ("water_specific_gravity = 1.25", False),
        ("water_specific_gravity = 1.251", True),
    ],
)
def test_what_is_usual_has_two_ends(read: Read, line: str, is_odd: bool) -> None:
    assert bool(warnings_of(read(line + "\n"))) == is_odd


def test_in_a_two_phase_vessel_the_dump_rides_on_the_oil_level(read: Read) -> None:
    vessel = '[[vessel]]\nid = "QB-101"\nservice = "separator"\nnormal_oil_level = "44 in"\n'
    assert warnings_of(read(SNAP, vessel=vessel)) == []
    high = SNAP.replace("46", "43")
    assert warnings_of(read(high, vessel=vessel)) == ["vessel QB-101: water_dump: normal_oil_level lies above opens_at"]


def test_an_interface_without_an_oil_level_is_warned_of(read: Read) -> None:
    vessel = '[[vessel]]\nid = "QB-101"\nservice = "separator"\nnormal_interface = "44 in"\n'
    assert "normal_oil_level is missing" in warnings_of(read(vessel=vessel))[0]


def test_a_vessel_and_a_file_without_tags_are_warned_of(read: Read) -> None:
    assert warnings_of(read(tags="tag,vessel,signal,unit\n")) == [
        "vessel QB-101: no tag in tags.csv, so nothing can be judged",
        "tags.csv has no rows, so nothing can be judged",
    ]


HEADER = "tag,vessel,signal,unit,from,to,zero,span\n"


@pytest.mark.parametrize(
    ("rows", "warnings"),
    [
        ("A,QB-101,oil_level,in\nB,QB-101,oil_level,in\n", 1),
        ("A,QB-101,oil_level,in,,2026-05-01\nB,QB-101,oil_level,in,2026-05-01\n", 0),
        ("A,QB-101,oil_level,in\nB,QB-101,interface_level,in\n", 0),
        ("A,QB-101,anode_current,A\nB,QB-101,anode_current,A\n", 0),
        ("A,QB-101,oil_level,%,,,80 in,12 in\n", 1),
        ("A,QB-101,oil_level,%,,,12 in,80 in\n", 0),
    ],
)
def test_tags_whose_samples_would_mix_or_run_backwards_are_warned_of(read: Read, rows: str, warnings: int) -> None:
    assert len(warnings_of(read(tags=HEADER + rows))) == warnings


def test_a_tag_that_is_also_ignored_is_warned_of(read: Read) -> None:
    field = 'name = "A"\ntime_zone = "UTC"\ntags = "tags.csv"\nstreams = ["*.csv"]\nignore = ["*.SPARE", "QB101*"]\n'
    assert warnings_of(read(field=field)) == ["vessel QB-101: QB101_PT is in tags.csv and also under ignore (QB101*)"]
