import math

import numpy as np
import pytest
from fluids.control_valve import convert_flow_coefficient, size_control_valve_l

from nightgauge.physics.valve import flow_coefficient, flow_m3_per_day, liquid_head_kpa

PSI, BBL, GPM = 6.894757293168361, 0.158987294928, 5.450992968960000  # [kPa], [m3], [m3/day]

# Q [gpm] = Cv sqrt(dP [psi] / SG), worked by hand: Cv, dP, SG, gpm, bbl/day
WORKED = [
    (10.0, 20.0, 1.00, 44.721360, 1533.30376),
    (25.0, 30.0, 1.05, 133.630621, 4581.62129),
    (50.0, 25.0, 0.85, 271.163072, 9297.01962),
    (21.0, 40.0, 1.07, 128.397747, 4402.20845),
]


@pytest.mark.parametrize(("cv", "psi", "gravity", "gpm", "bbl_per_day"), WORKED)
def test_flow_agrees_with_the_worked_examples(cv, psi, gravity, gpm, bbl_per_day):
    flow = flow_m3_per_day(cv, psi * PSI, gravity)
    assert flow / GPM == pytest.approx(gpm, rel=2e-8)
    assert flow / BBL == pytest.approx(bbl_per_day, rel=2e-8)


def test_flow_agrees_with_the_metric_form_of_the_standard():
    # Kv is the flow [m3/h] at 1 bar on water; its factor to Cv is fluids' own.
    cv = convert_flow_coefficient(100.0, "Kv", "Cv")
    assert flow_m3_per_day(cv, 100.0) == pytest.approx(2400.0, rel=1e-9)


def test_flow_coefficient_agrees_with_sizing_by_iec_60534():
    # Example 1 of IEC 60534-2-1: 360 m3/h of water of 965.4 kg/m3 from 680 to 220 kPa needs Kv 165 (fluids 164.9955).
    sized = size_control_valve_l(
        rho=965.4, Psat=70.1e3, Pc=22120e3, mu=3.1472e-4, P1=680e3, P2=220e3, Q=360 / 3600.0, D1=0.15, D2=0.15, d=0.15,
        FL=0.9, Fd=0.46,
    )  # fmt: skip
    assert sized == pytest.approx(164.9955, rel=1e-5)
    # The standard refers density to 999.1 or 1000 kg/m3, depending on its edition: 5e-4 between them.
    found = flow_coefficient(360.0 * 24.0, 460.0) * np.sqrt(965.4 / 1000.0)
    assert found == pytest.approx(convert_flow_coefficient(sized, "Kv", "Cv"), rel=1e-3)


def test_flow_coefficient_undoes_flow_over_arrays():
    drops = np.array([1.0, 50.0, 400.0])
    np.testing.assert_allclose(flow_coefficient(flow_m3_per_day(37.0, drops, 1.08), drops, 1.08), 37.0, rtol=1e-14)


def test_without_a_pressure_drop_nothing_flows_and_no_coefficient_is_known():
    drops = np.array([-10.0, 0.0, np.nan])
    np.testing.assert_array_equal(flow_m3_per_day(50.0, drops), [0.0, 0.0, np.nan])
    assert np.isnan(flow_coefficient(np.full(3, 100.0), drops)).all()


@pytest.mark.parametrize(
    # [psi/ft], with 999.016 kg/m3 at 60 degF and standard gravity
    ("gravity", "psi_per_ft"),
    [(1.00, 0.433101), (0.85, 0.368136), (1.05, 0.454756), (1.07, 0.463418), (1.10, 0.476411)],
)
def test_a_foot_of_liquid_has_its_head(gravity, psi_per_ft):
    assert liquid_head_kpa(0.3048, gravity) / PSI == pytest.approx(psi_per_ft, abs=1e-6)


def test_ten_feet_of_downcomer_hold_4_634_psi():
    assert liquid_head_kpa(3.048, 1.07) / PSI == pytest.approx(4.634180, abs=5e-6)


def test_a_metre_of_water_is_the_foot_of_water_of_60_degf():
    # ftH2O_60F of pint: 0.433094410 psi with 999.001 kg/m3; ours refers to 999.016.
    assert liquid_head_kpa(0.3048) / PSI == pytest.approx(0.433094410 * 999.016 / 999.001, rel=1e-6)


def test_oil_on_a_water_leg_balances():
    # Arnold and Stewart's bucket and weir: 24 in of oil of 0.85 equal 24 - 4.571429 in of water of 1.05.
    assert liquid_head_kpa(24.0, 0.85) == pytest.approx(liquid_head_kpa(24.0 - 4.571429, 1.05), rel=1e-7)


def test_flow_follows_the_square_root_of_the_drop():
    assert flow_m3_per_day(10.0, 200.0) / flow_m3_per_day(10.0, 100.0) == pytest.approx(math.sqrt(2.0), rel=1e-12)
