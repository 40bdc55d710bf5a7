from dataclasses import replace

import numpy as np
import pytest

from nightgauge.field.settings import Vessel, WaterDump
from nightgauge.physics.gas import Gas, gas_capacity_m3_per_day
from nightgauge.physics.geometry import shell
from nightgauge.physics.liquids import oil_density_kg_m3

FOOT_M, BARREL_M3 = 0.3048, 0.158987294928

VESSEL = Vessel(
    id="T-1",
    service="free-water knockout",
    orientation="horizontal",
    inside_diameter_m=10 * FOOT_M,
    length_m=30 * FOOT_M,
    heads="2:1 ellipsoidal",
    normal_interface_m=3 * FOOT_M,
    normal_oil_level_m=6 * FOOT_M,
    oil_gravity_degapi=27.0,
    gas_specific_gravity=0.75,
    mist_extractor=False,
    temperature_c=35.0,
    water_dump=(WaterDump(action="throttling"),),
)


@pytest.fixture
def at_rates(make_samples, derive):
    """An hour of steady rates in barrels a day."""

    def run(vessel=VESSEL, water=None, oil=None, **levels):
        signals = {"water_rate": water, "oil_rate": oil}
        values = {n: [r * BARREL_M3] * 361 for n, r in signals.items() if r is not None}
        values |= {name: [value] * 361 for name, value in levels.items()}
        return derive(make_samples(**values), vessel, hours=1)

    return run


def test_retention_is_the_volume_there_over_the_load(at_rates):
    """Worked example: 10 ft by 30 ft, 3 ft and 6 ft, 8000 bbl/day of water and 2000 of oil: 20.872 and 127.55 min."""
    row = at_rates(water=8000.0, oil=2000.0).hours.row(0, named=True)
    assert row["water_retention_min"] == pytest.approx(20.872372, rel=1e-6)
    assert row["oil_retention_min"] == pytest.approx(127.554912, rel=1e-6)


def test_the_volume_there_is_the_one_measured_where_it_is_measured(at_rates):
    """Half full holds 233.142312 bbl: 67.144986 min at 5000 bbl/day."""
    row = at_rates(water=5000.0, interface_level=5 * FOOT_M).hours.row(0, named=True)
    assert row["water_retention_min"] == pytest.approx(67.144986, rel=1e-6)
    oil = at_rates(water=5000.0, oil=2000.0, interface_level=3 * FOOT_M, oil_level=5 * FOOT_M).hours.row(0, named=True)
    assert oil["oil_retention_min"] == pytest.approx((233.142312 - 115.957623) / 2000 * 1440, rel=1e-6)


def test_solids_take_room_from_the_water(at_rates):
    clean = at_rates(water=5000.0).hours["water_retention_min"][0]
    silted = at_rates(replace(VESSEL, solids_depth_m=FOOT_M), water=5000.0).hours["water_retention_min"][0]
    # One foot deep: 23.146190 of 115.957623 bbl.
    assert silted / clean == pytest.approx(1 - 23.146190 / 115.957623, rel=1e-6)


def test_without_an_oil_meter_oil_retention_is_not_known(at_rates):
    row = at_rates(water=5000.0).hours.row(0, named=True)
    assert (row["oil_load_m3_per_day"], row["oil_retention_min"]) == (None, None)


def test_a_two_phase_vessel_has_no_oil_of_its_own(at_rates):
    two_phase = replace(VESSEL, normal_interface_m=None)
    row = at_rates(two_phase, water=5000.0, oil=2000.0, oil_level=5 * FOOT_M).hours.row(0, named=True)
    assert row["water_retention_min"] == pytest.approx(67.144986, rel=1e-6)
    assert row["oil_retention_min"] is None


@pytest.mark.parametrize(("temperature_c", "required"), [(40.0, 5.0), (30.0, 10.0), (20.0, 20.0)])
def test_required_retention_follows_the_temperature_measured(at_rates, temperature_c, required):
    """Table of API Spec 12J annex C, from secondary copies: below 35 degAPI at 100, 80 and 60 degF and above."""
    row = at_rates(water=5000.0, temperature=temperature_c).hours.row(0, named=True)
    assert (row["water_required_min"], row["oil_required_min"]) == (required, required)


def test_a_bottle_test_goes_before_the_table(at_rates):
    tested = replace(VESSEL, required_water_retention_min=8.0)
    row = at_rates(tested, water=5000.0, temperature=30.0).hours.row(0, named=True)
    assert (row["water_required_min"], row["oil_required_min"]) == (8.0, 10.0)


def test_hours_short_of_retention_are_counted_among_those_with_inflow(make_samples, derive):
    # 10 min required, 115.96 bbl there: short from 16,698 bbl/day up. Two hours short, one not, one without inflow.
    rate = np.repeat([20000.0, 17000.0, 16000.0, 0.0], 360) * BARREL_M3
    found = derive(make_samples(water_rate=[*rate.tolist(), 0.0]), VESSEL, hours=4).days.row(0, named=True)
    assert found["inflow_h"] == pytest.approx(3.0)
    assert found["water_short_h"] == pytest.approx(2.0)
    assert found["oil_short_h"] is None


def test_gas_load_is_the_gas_against_the_capacity(at_rates):
    row = at_rates(water=5000.0, vessel_pressure=300.0, gas_rate=50_000.0).hours.row(0, named=True)
    inside = shell(VESSEL.inside_diameter_m, VESSEL.length_m, VESSEL.heads, VESSEL.orientation)
    capacity = gas_capacity_m3_per_day(
        inside, 6 * FOOT_M, Gas(0.75, 300.0 + 101.325, 35.0), oil_density_kg_m3(27.0, 35.0), mist_extractor=False
    )
    assert row["gas_load_fraction"] == pytest.approx(50_000.0 / capacity)


@pytest.mark.parametrize("missing", ["inside_diameter_m", "heads", "orientation", "length_m"])
def test_without_dimensions_there_is_no_retention(at_rates, missing):
    row = at_rates(replace(VESSEL, **{missing: None}), water=5000.0, gas_rate=1000.0, vessel_pressure=300.0).hours.row(
        0, named=True
    )
    assert row["water_retention_min"] is None
    assert row["gas_load_fraction"] is None
    assert row["water_required_min"] == 10.0
