"""A vessel that the simulator gives one well too many is told by its water retention; the same without it is not."""

from dataclasses import replace
from datetime import UTC, datetime

import polars as pl
import pytest

from nightgauge.capacity import capacities, what_would_give_more
from nightgauge.derive import derive_vessel
from nightgauge.simulate.design import BARREL, Design, physics, settings, water_volume_m3, wells
from nightgauge.simulate.faults import added_wells
from nightgauge.simulate.plan import ExportGroup, Fault, Plan, Slugs, VesselPlan
from nightgauge.simulate.suites import Quality, instrument
from nightgauge.vocabulary.frames import VESSEL_DAYS, WELL_TESTS

DAYS, SHARE = 3, 0.7
DESIGN = Design(
    "A", diameter_ft=6.0, length_ft=15.0, interface_in=32.0, oil_level_in=50.0, gap_in=4.0, water_bpd=1800.0
)
READ = ("vessel_pressure", "interface_level", "water_dump_open", "water_total", "oil_total")


def plan_of(*, is_undersized: bool) -> Plan:
    """Plan one vessel, with a well that leaves it 70 % of the retention it needs, or without."""
    flowing = tuple(replace(well, wander=0.0) for well in wells(DESIGN, (1.0,), "A-W", Slugs()))
    fault = Fault("vessel_undersized", 0.0, size=SHARE)
    flowing = added_wells(flowing, fault, DESIGN) if is_undersized else flowing
    instruments = tuple(replace(instrument(s, DESIGN, "A", Quality()), scan_s=30.0) for s in READ)
    faults = (fault,) if is_undersized else ()
    vessel = VesselPlan(settings(DESIGN), physics(DESIGN), flowing, instruments, faults)
    groups = (ExportGroup("all", ("A",), per="day"),)
    start = datetime(2026, 4, 6, 6, tzinfo=UTC)
    return Plan("Invented", "America/Denver", start, DAYS, 11, (vessel,), groups, step_s=10.0)


@pytest.fixture(scope="module", params=["undersized", "sound"])
def made(request, planted):
    plan = plan_of(is_undersized=request.param == "undersized")
    field, samples = planted(plan)
    (vessel,) = field.vessels
    derived = derive_vessel(vessel, field, samples, plan.start, plan.end, VESSEL_DAYS.empty())
    asked = (vessel, field, derived.days, derived.signal_hours, plan.end)
    return request.param, capacities(*asked), what_would_give_more(*asked, WELL_TESTS.empty())


def test_the_planted_well_makes_water_retention_bind_by_as_much_as_was_planted(made) -> None:
    name, rows, _ = made
    (water,) = rows.filter(pl.col("limit") == "water retention").iter_rows(named=True)
    planted = 1.0 / SHARE
    if name == "sound":
        planted = DESIGN.water_bpd * BARREL * DESIGN.water_minutes / 1440.0 / water_volume_m3(DESIGN)
    # The vessel holds the mean level of its sawtooth, not the designed one, and the load is that of its busier days.
    assert water["used_fraction"] == pytest.approx(planted, rel=0.08)
    assert water["binds"]
    assert (water["used_fraction"] > 1.0) == (name == "undersized")


def test_only_the_undersized_vessel_is_offered_a_larger_one(made) -> None:
    name, _, more = made
    assert any("vessel that would do" in one for one in more) == (name == "undersized")
    assert any("of water are too much for its retention" in one for one in more) == (name == "undersized")
