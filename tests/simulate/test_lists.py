"""The lists beside the exports, read back as the field folder reads them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from nightgauge.field.read import read_field
from nightgauge.field.settings import Anode, Heating, Inspection, Prices
from nightgauge.simulate import simulate_field
from nightgauge.simulate.anodes import anode_instrument
from nightgauge.simulate.design import BARREL, PSI, Design
from nightgauge.simulate.lists import lists
from nightgauge.simulate.plan import DAY_S, HOUR_S, AnodePlan, ExportGroup, Interval

TURN = Interval(8 * HOUR_S, 30 * HOUR_S)


@pytest.fixture
def tested(make_vessel):
    """Return a test vessel whose one well is on test for 22 hours."""

    def make(*signals):
        made = make_vessel(Design("T", service="test vessel"), signals=("water_total", *signals))
        well = replace(made.wells[0], on_test=(TURN,), test_vessel="T")
        return replace(made, wells=(well,))

    return make


def test_a_test_vessel_that_does_not_say_its_well_has_a_schedule(tested, make_plan):
    rows = lists(make_plan(tested(), days=2))["tests.csv"].splitlines()
    assert rows == ["well,vessel,start,end", "T-W1,T,2026-04-06T08:00,2026-04-07T06:00"]


def test_a_test_vessel_that_says_its_well_has_none(tested, make_plan):
    assert "tests.csv" not in lists(make_plan(tested("well_on_test"), days=2))


def test_routing_tells_wells_turned_in_and_off_but_no_tests(make_vessel, tested, make_plan):
    made = make_vessel(Design("A"), signals=("water_total",))
    old, new = replace(made.wells[0], off=(Interval(DAY_S, 1.5 * DAY_S),)), replace(made.wells[0], starts_s=DAY_S)
    new = replace(new, settings=replace(new.settings, id="N"))
    plan = replace(make_plan(replace(made, wells=(old, new)), tested(), days=2), has_routing=True)
    assert lists(plan)["routing.csv"].splitlines()[1:] == [
        "2026-04-06T00:00,N,", "2026-04-07T00:00,A-W1,", "2026-04-07T00:00,N,A", "2026-04-07T12:00,A-W1,A",
    ]  # fmt: skip
    assert "routing.csv" not in lists(replace(plan, has_routing=False))


def test_everything_that_is_written_is_read_again(make_vessel, tested, make_plan, tmp_path):
    when = datetime(2025, 6, 10, 6, tzinfo=UTC)
    seen = Inspection(when + timedelta(days=200), "A", "A1", left_fraction=0.8, note="looked at")
    anode = Anode("A1", "A", "zinc", 10.0, "IIT-AA1", when)
    vessel = make_vessel(Design("A"), signals=("vessel_pressure",))
    written = replace(
        vessel.settings,
        heating=Heating(60.0, 0.7),
        oil_valve=(replace(vessel.settings.oil_valve[0], needs_kpag=38 * PSI),),
    )
    vessel = replace(
        vessel,
        settings=written,
        anodes=(AnodePlan(anode, instrument=anode_instrument("A", "A1"), inspections=(seen,)),),
    )
    groups = (ExportGroup("all", ("A", "T")), ExportGroup("anodes", ("A",), holds="anodes"))
    plan = make_plan(vessel, tested(), days=2, exports=groups, prices=Prices("USD", oil_per_m3=62.0 / BARREL))
    slow = (replace(v, instruments=tuple(replace(i, scan_s=60.0) for i in v.instruments)) for v in plan.vessels)
    field = read_field(simulate_field(tmp_path, replace(plan, vessels=tuple(slow), step_s=30.0)))
    (found,) = field.anodes
    assert (found.id, found.material, found.tag, found.installed_utc) == ("A1", "zinc", "IIT-AA1", when)
    assert found.mass_kg == pytest.approx(10.0, rel=5e-3)
    assert [(one.anode, one.left_fraction, one.note) for one in field.inspections] == [("A1", 0.8, "looked at")]
    assert "anode_current:A1" in field.signals_of("A")
    assert [(t.well, t.vessel) for t in field.tests] == [("T-W1", "T")]
    assert field.vessels[0].heating == Heating(pytest.approx(60.0), pytest.approx(0.7))
    assert field.vessels[0].oil_valve[0].needs_kpag == pytest.approx(38 * PSI)
    assert field.prices.oil_per_m3 == pytest.approx(62.0 / BARREL)
