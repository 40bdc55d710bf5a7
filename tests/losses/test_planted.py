"""A spring that the simulator lets drift costs more each day; one that stays costs nothing."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from nightgauge.derive import derive_vessel
from nightgauge.losses import WaterCuts, back_pressure
from nightgauge.simulate.design import Design, physics, settings, wells
from nightgauge.simulate.plan import ExportGroup, Fault, Plan, Slugs, VesselPlan
from nightgauge.simulate.suites import Quality, instrument
from nightgauge.vocabulary.frames import VESSEL_DAYS

PSI_KPA = 6.894757293168361
DAY_S = 86400.0
SIGNALS_READ = ("vessel_pressure", "inlet_pressure", "water_total", "oil_total")
DAYS, SOUND, RISE_PSI = 9, 3, 6.0
DRIFT = Fault("oil_valve_setpoint_drift", SOUND * DAY_S, size=RISE_PSI * PSI_KPA, ramp_s=(DAYS - SOUND) * DAY_S)
DESIGN = Design("A", water_bpd=2500.0, margin_psi=12.0)  # the gas valve far above, so that it does not clip the drift


def plan_of(faults: tuple[Fault, ...]) -> Plan:
    instruments = (replace(instrument(s, DESIGN, "A", Quality()), scan_s=60.0) for s in SIGNALS_READ)
    steady = tuple(replace(well, wander=0.0) for well in wells(DESIGN, (1.0,), "A-W", Slugs()))
    vessel = VesselPlan(settings(DESIGN), physics(DESIGN), steady, tuple(instruments), faults)
    start = datetime(2026, 4, 6, 6, tzinfo=UTC)
    groups = (ExportGroup("all", ("A",), per="day"),)
    return Plan("Invented", "America/Denver", start, DAYS, 11, (vessel,), groups, step_s=30.0)


@pytest.fixture(scope="module", params=["drift", "sound"])
def made(request, planted):
    plan = plan_of((DRIFT,) if request.param == "drift" else ())
    field, samples = planted(plan)
    field = replace(
        field, wells=tuple(replace(well, productivity_index_m3_per_day_per_kpa=0.1) for well in field.wells)
    )
    (vessel,) = field.vessels
    derived = derive_vessel(vessel, field, samples, plan.start, plan.end, VESSEL_DAYS.empty())
    return request.param, back_pressure(vessel, field, derived.days, derived.signal_hours, WaterCuts(derived.tests))


def test_the_excess_grows_as_the_spring_moves(made):
    """Each day's middle stands for it; a gauge is not read closer than half a psi."""
    name, losses = made
    assert losses.height == DAYS
    excess = losses["excess_kpa"] / PSI_KPA
    # A sound valve stands above its setting by part of its droop, which the design puts at 1.5 psi.
    sound = excess[:SOUND].mean()
    assert 0.0 <= sound <= DESIGN.oil_droop_psi
    middle = [max(0.0, day + 0.5 - SOUND) / (DAYS - SOUND) * RISE_PSI * (name == "drift") for day in range(DAYS)]
    assert (excess - sound).to_list() == pytest.approx(middle, abs=0.5)


def test_its_cost_grows_with_it_and_the_header_stands_above_the_vessel(made):
    name, losses = made
    cost = losses["liquid_loss_m3_per_day"]
    assert cost.to_list() == pytest.approx((losses["excess_kpa"] * 0.1).to_list())
    if name == "drift":
        assert all(later > earlier for earlier, later in zip(cost[SOUND:], cost[SOUND + 1 :], strict=False))
    assert losses["line_loss_kpa"].min() > 0
    assert (losses["needed_by"] == "holds").all()
