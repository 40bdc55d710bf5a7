import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightgauge.physics.geometry import Shell
from nightgauge.physics.retention import (
    THREE_PHASE,
    Band,
    RetentionRow,
    RetentionTable,
    effective_volume_m3,
    liquid_capacity_m3_per_day,
    required_retention_min,
    retention_min,
)

FT, BBL = 0.3048, 0.158987294928


def celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


@pytest.fixture
def ten_by_thirty():
    return Shell(10 * FT, 30 * FT, "2:1 ellipsoidal", "horizontal")


@pytest.mark.parametrize(
    # t = 1440 V / Q; volumes are vessels half full, by fluids
    ("bbl", "bbl_per_day", "minutes"),
    [(233.142312, 5000.0, 67.144986), (101.463534, 2000.0, 73.053744), (12.682942, 500.0, 36.526873)],
)
def test_retention_is_volume_over_inflow(bbl, bbl_per_day, minutes):
    assert retention_min(bbl * BBL, bbl_per_day * BBL) == pytest.approx(minutes, rel=1e-7)


def test_water_and_oil_of_one_vessel_are_retained_together(ten_by_thirty):
    # Interface 3 ft, oil to 6 ft, 8000 bwpd and 2000 bopd: volumes by fluids' TANK.V_from_h.
    water = effective_volume_m3(ten_by_thirty, 0.0, 3 * FT)
    oil = effective_volume_m3(ten_by_thirty, 3 * FT, 6 * FT)
    assert (water / BBL, oil / BBL) == (pytest.approx(115.957623, rel=1e-7), pytest.approx(177.159600, rel=1e-7))
    assert retention_min(water, 8000 * BBL) == pytest.approx(20.872372, rel=1e-7)
    assert retention_min(oil, 2000 * BBL) == pytest.approx(127.554912, rel=1e-7)


def test_no_inflow_has_no_retention():
    found = retention_min(np.array([1.0, 1.0, 1.0]), np.array([0.0, -5.0, np.nan]))
    assert np.isnan(found).all()


def test_capacity_is_the_inflow_at_which_retention_is_required():
    # API 12J form W = 1440 V / t, as worked by hand: 100 bbl held 10 min pass 14,400 bbl/day.
    assert liquid_capacity_m3_per_day(100.0 * BBL, 10.0) / BBL == pytest.approx(14400.0, rel=1e-12)


@pytest.mark.parametrize(
    # Rows of API Spec 12J's three-phase table, from secondary copies; GPSA section 7 has the same rows.
    # Gaps between the listed temperatures are filled on the longer side, as field folders are documented.
    ("degapi", "degf", "lower", "upper"),
    [
        (35.1, 60.0, 3.0, 5.0),
        (35.0, 100.0, 5.0, 10.0),
        (27.0, 150.0, 5.0, 10.0),
        (27.0, 100.0, 5.0, 10.0),
        (27.0, 99.9, 10.0, 20.0),
        (27.0, 80.0, 10.0, 20.0),
        (27.0, 79.9, 20.0, 30.0),
        (27.0, 60.0, 20.0, 30.0),
        (27.0, 40.0, 20.0, 30.0),
    ],
)
def test_required_retention_follows_the_published_table(degapi, degf, lower, upper):
    assert required_retention_min(degapi, celsius(degf)) == Band(lower, upper)


def test_light_oil_needs_no_temperature_and_heavy_oil_does():
    unknown = np.array([np.nan, 40.0])
    np.testing.assert_array_equal(required_retention_min(40.0, unknown).lower, [3.0, 3.0])
    np.testing.assert_array_equal(required_retention_min(20.0, unknown).lower, [np.nan, 5.0])


def test_the_table_names_its_source_and_the_temperatures_it_lists():
    assert "API Spec 12J" in THREE_PHASE.source
    listed = [row.from_temperature_c for row in THREE_PHASE.rows]
    assert listed == pytest.approx([celsius(60.0), celsius(80.0), celsius(100.0)], rel=1e-12)


def test_the_table_may_be_replaced():
    own = RetentionTable("bottle tests", 50.0, Band(1.0, 2.0), (RetentionRow(0.0, 7.0, 9.0),))
    assert required_retention_min(40.0, 20.0, own) == Band(7.0, 9.0)


def test_a_settling_length_leaves_out_heads_and_the_rest_of_the_shell(ten_by_thirty):
    # Straight shell of 16 of 30 ft at 3 ft: 594.505069 ft3 x 16/30 by the table of partial volumes, flat heads.
    found = effective_volume_m3(ten_by_thirty, 0.0, 3 * FT, settling_length_m=16 * FT)
    assert found / FT**3 == pytest.approx(594.505069 * 16 / 30, rel=1e-8)


def test_in_a_vertical_vessel_the_settling_length_starts_at_the_bottom_seam():
    # 4 ft bore with 1 ft deep heads: 5 ft of level are 4 ft of straight shell, of which 3 count.
    vessel = Shell(4 * FT, 10 * FT, "2:1 ellipsoidal", "vertical")
    bore = np.pi / 4 * (4 * FT) ** 2
    assert effective_volume_m3(vessel, 0.0, 5 * FT, settling_length_m=3 * FT) == pytest.approx(bore * 3 * FT, rel=1e-12)
    assert effective_volume_m3(vessel, 0.0, 0.9 * FT, settling_length_m=3 * FT) == 0.0


def test_solids_come_off_the_water_and_not_off_the_oil(ten_by_thirty):
    # 1 ft of solids: 129.956214 ft3 of the table.
    water = effective_volume_m3(ten_by_thirty, 0.0, 3 * FT, solids_depth_m=1 * FT)
    assert water / FT**3 == pytest.approx(651.053737 - 129.956214, rel=1e-8)
    oil = effective_volume_m3(ten_by_thirty, 3 * FT, 6 * FT, solids_depth_m=1 * FT)
    assert oil == effective_volume_m3(ten_by_thirty, 3 * FT, 6 * FT)


def test_water_below_the_solids_is_none(ten_by_thirty):
    assert effective_volume_m3(ten_by_thirty, 0.0, 0.5 * FT, solids_depth_m=1 * FT) == 0.0


def test_an_unknown_level_leaves_the_volume_unknown(ten_by_thirty):
    levels = np.array([np.nan, 1.0])
    assert np.isnan(effective_volume_m3(ten_by_thirty, np.zeros(2), levels)).tolist() == [True, False]
    assert np.isnan(effective_volume_m3(ten_by_thirty, levels, np.full(2, 2.0))).tolist() == [True, False]


@given(st.floats(0.0, 3.0), st.floats(0.0, 3.0), st.floats(0.0, 1.0), st.floats(1.0, 9.0))
def test_water_and_oil_add_up_to_what_lies_below_the_oil_level(interface, oil_level, solids, length):
    vessel = Shell(10 * FT, 30 * FT, "2:1 ellipsoidal", "horizontal")
    low, high = sorted((interface, oil_level))
    parts = effective_volume_m3(vessel, 0.0, low, length, solids) + effective_volume_m3(
        vessel, low, high, length, solids
    )
    assert parts == pytest.approx(effective_volume_m3(vessel, 0.0, high, length, solids), abs=1e-12)
