import pytest

from nightgauge.physics.retention import retention_min
from nightgauge.physics.valve import flow_coefficient
from nightgauge.simulate.design import BARREL, PSI, Design, physics, rated_cv, settings, water_volume_m3
from nightgauge.simulate.faults import added_wells
from nightgauge.simulate.plan import Fault


def test_rated_cv_passes_the_dump_flow_at_the_drop():
    design = Design("A", water_bpd=3000.0, dump_factor=5.0, water_drop_psi=30.0, water_gravity=1.05)
    needed = flow_coefficient(5.0 * 3000.0 * BARREL, 30.0 * PSI, 1.05)
    assert rated_cv(design) == pytest.approx(needed, rel=0.05)  # makers' two figures


def test_throttling_dump_has_a_held_level_and_a_snap_dump_two_marks():
    throttling = settings(Design("A", action="throttling")).water_dump[0]
    assert (throttling.opens_at_m, throttling.closes_at_m) == (None, None)
    assert throttling.band_m == pytest.approx(4.0 * 0.0254)
    snap = settings(Design("A", gap_in=4.0)).water_dump[0]
    assert snap.opens_at_m - snap.closes_at_m == pytest.approx(4.0 * 0.0254)


def test_what_is_written_differs_from_what_is_by_the_shifts():
    design = Design("A", gap_in=4.0, shifts=(0.5, -0.4))
    written, real = settings(design), physics(design)
    assert real.opens_at_m - written.water_dump[0].opens_at_m == pytest.approx(0.5 * 0.0254)
    assert real.oil_holds_kpag - written.oil_valve[0].holds_kpag == pytest.approx(-0.4 * PSI)


def test_an_added_well_brings_retention_to_the_faults_share_of_what_is_required(make_vessel):
    design = Design("A", water_bpd=9000.0, water_minutes=10.0)
    wells = added_wells(make_vessel(design).wells, Fault("vessel_undersized", 86400.0, size=0.7), design)
    load = sum(w.water_m3_per_day for w in wells)
    assert retention_min(water_volume_m3(design), load) == pytest.approx(7.0)
    assert wells[-1].starts_s == 86400.0
