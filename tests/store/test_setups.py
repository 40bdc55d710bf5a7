"""A changed field.toml marks what it concerns and nothing else."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from nightgauge.field.settings import (
    BackPressureValve,
    Field,
    Gauge,
    Heating,
    Outage,
    Routing,
    ScheduledTest,
    Tank,
    Vessel,
    WaterDump,
    Well,
)
from nightgauge.store import Writer
from nightgauge.store.ranges import TICK

FIRST, LAST = 0, 100_000


@pytest.fixture
def filled(writer: Writer, make: Any) -> Writer:
    """Return a writer with samples of both vessels from the first to the last minute, all derived."""
    rows = [(tag, minute, 1.0, "good") for tag in (1, 4) for minute in (FIRST, LAST)]
    writer.land(make.export(), make.parsed(rows), make.read_at)
    writer._con.execute("DELETE FROM changed_range")
    return writer


def with_vessel(make: Any, vessel: Vessel, **others: Any) -> Field:
    """Return the field with another V-1."""
    field: Field = make.field(vessels=(vessel, make.field().vessels[1]), **others)
    return field


def marked(writer: Writer, field: Field) -> list[Any]:
    writer.sync_setup(field)
    return writer.changed_ranges().rows()


def test_the_same_settings_mark_nothing(filled: Writer, make: Any) -> None:
    assert marked(filled, make.field()) == []


def test_a_name_a_finding_limit_or_a_heater_marks_nothing(filled: Writer, make: Any) -> None:
    renamed = Vessel(
        "V-1", "free-water knockout", name="East", limits={"data_gap": {"share": 0.5}}, heating=Heating(60.0, 0.7)
    )
    assert marked(filled, with_vessel(make, renamed)) == []


def test_an_undated_setting_marks_all_samples_of_its_vessel(filled: Writer, make: Any) -> None:
    wider = Vessel("V-1", "free-water knockout", inside_diameter_m=2.4)
    assert marked(filled, with_vessel(make, wider)) == [("V-1", make.at(FIRST), make.at(LAST) + TICK)]
    filled._con.execute("DELETE FROM changed_range")
    assert marked(filled, with_vessel(make, wider)) == []


def test_the_fields_air_pressure_marks_every_vessel(filled: Writer, make: Any) -> None:
    assert [row[0] for row in marked(filled, make.field(atmospheric_pressure_kpa=85.0))] == ["V-1", "V-2"]


def test_a_control_set_anew_marks_from_its_date_on(filled: Writer, make: Any) -> None:
    vessel = Vessel("V-1", "free-water knockout", water_dump=(WaterDump("snap", opens_at_m=1.2),))
    marked(filled, with_vessel(make, vessel))
    filled._con.execute("DELETE FROM changed_range")
    reset = WaterDump("snap", opens_at_m=1.3, valid_from=make.at(50_000))
    found = marked(filled, with_vessel(make, replace(vessel, water_dump=(*vessel.water_dump, reset))))
    assert found == [("V-1", make.at(50_000), make.at(LAST) + TICK)]


def test_an_earlier_date_marks_only_between_the_dates(filled: Writer, make: Any) -> None:
    def valve_set_at(minute: float) -> Vessel:
        reset = BackPressureValve(320.0, valid_from=make.at(minute))
        return Vessel("V-1", "free-water knockout", oil_valve=(BackPressureValve(310.0), reset))

    marked(filled, with_vessel(make, valve_set_at(60_000)))
    filled._con.execute("DELETE FROM changed_range")
    found = marked(filled, with_vessel(make, valve_set_at(40_000)))
    assert found == [("V-1", make.at(40_000), make.at(60_000))]


def test_the_first_settings_hold_before_their_own_date_too(filled: Writer, make: Any) -> None:
    dump = WaterDump("snap", opens_at_m=1.2, valid_from=make.at(50_000))
    vessel = Vessel("V-1", "free-water knockout", water_dump=(dump,))
    assert marked(filled, with_vessel(make, vessel)) == [("V-1", make.at(FIRST), make.at(LAST) + TICK)]


def test_an_outage_marks_its_own_hours(filled: Writer, make: Any) -> None:
    outage = Outage("V-2", make.at(10_000), make.at(11_000), note="inspection")
    assert marked(filled, make.field(outages=(outage,))) == [("V-2", make.at(10_000), make.at(11_000))]


def test_a_change_outside_the_samples_marks_nothing(filled: Writer, make: Any) -> None:
    later = datetime(2030, 1, 1, tzinfo=UTC)
    assert marked(filled, make.field(outages=(Outage("V-2", later, datetime(2030, 1, 2, tzinfo=UTC)),))) == []


def test_a_vessel_taken_out_of_the_field_loses_what_was_derived_and_gets_it_back(filled: Writer, make: Any) -> None:
    start, end = make.at(0), make.at(60)
    hours = filled.derived("V-2", start, end)
    hour = {"vessel": ["V-2"], "hour_utc": [start]}
    filled.replace_derived("V-2", start, end, replace(hours, hours=make.frames.VESSEL_HOURS.build(hour)))
    both = make.field()
    assert marked(filled, make.field(vessels=both.vessels[:1])) == []
    assert filled.hours(start, end).is_empty()
    assert [row[0] for row in marked(filled, both)] == ["V-2"]


def on_test(make: Any, **lists: Any) -> Field:
    """Return the field with V-1 a test vessel, and lists."""
    return with_vessel(make, Vessel("V-1", "test vessel"), wells=(Well("A", "V-2"), Well("B", "V-2")), **lists)


@pytest.fixture
def synced(filled: Writer, make: Any) -> Writer:
    """Return a writer that knows V-1 as a test vessel, with nothing owed."""
    filled.sync_setup(on_test(make))
    filled._con.execute("DELETE FROM changed_range")
    return filled


def test_a_line_of_the_schedule_marks_its_own_time_on_its_own_vessel(synced: Writer, make: Any) -> None:
    line = ScheduledTest("A", "V-1", make.at(10_000), make.at(11_000))
    assert marked(synced, on_test(make, tests=(line,))) == [("V-1", make.at(10_000), make.at(11_000))]
    synced._con.execute("DELETE FROM changed_range")
    longer = replace(line, end_utc=make.at(11_500))
    assert marked(synced, on_test(make, tests=(longer,))) == [("V-1", make.at(11_000), make.at(11_500))]


def test_one_test_cut_into_two_marks_the_second(synced: Writer, make: Any) -> None:
    whole = ScheduledTest("A", "V-1", make.at(10_000), make.at(11_000))
    marked(synced, on_test(make, tests=(whole,)))
    synced._con.execute("DELETE FROM changed_range")
    parts = (replace(whole, end_utc=make.at(10_400)), replace(whole, start_utc=make.at(10_400)))
    assert marked(synced, on_test(make, tests=parts)) == [("V-1", make.at(10_400), make.at(11_000))]


def test_a_line_of_routing_marks_from_its_time_to_the_line_that_ends_it(synced: Writer, make: Any) -> None:
    away, there = Routing(make.at(50_000), "A", None), Routing(make.at(20_000), "A", "V-1")
    assert marked(synced, on_test(make, routings=(away,))) == []
    assert marked(synced, on_test(make, routings=(there, away))) == [("V-1", make.at(20_000), make.at(50_000))]
    synced._con.execute("DELETE FROM changed_range")
    assert marked(synced, on_test(make, routings=(there,))) == [("V-1", make.at(50_000), make.at(LAST) + TICK)]


def test_the_order_of_lines_marks_nothing(synced: Writer, make: Any) -> None:
    lines = (Routing(make.at(20_000), "A", "V-1"), Routing(make.at(20_000), "B", "V-2"))
    marked(synced, on_test(make, routings=lines))
    synced._con.execute("DELETE FROM changed_range")
    assert marked(synced, on_test(make, routings=lines[::-1])) == []


def test_a_gauge_and_a_strapping_set_right_mark_the_gauges_time(synced: Writer, make: Any) -> None:
    gauge = Gauge("A", "K", make.at(10_000), make.at(10_700), 1.0, 2.0)
    tank = Tank("K", (0.0, 3.0), (0.0, 30.0))
    told = [(vessel, make.at(10_000), make.at(10_700)) for vessel in ("V-1", "V-2")]
    assert marked(synced, on_test(make, gauges=(gauge,), tanks=(tank,))) == told
    synced._con.execute("DELETE FROM changed_range")
    right = replace(tank, volume_m3=(0.0, 33.0))
    assert marked(synced, on_test(make, gauges=(gauge,), tanks=(right,))) == told


def test_a_meter_factor_marks_all_samples_of_its_vessel(filled: Writer, make: Any) -> None:
    for vessel in (
        Vessel("V-1", "free-water knockout", oil_meter_factor=1.002),
        Vessel("V-1", "free-water knockout", oil_shrinkage=0.98),
    ):
        filled._con.execute("DELETE FROM changed_range")
        assert marked(filled, with_vessel(make, vessel)) == [("V-1", make.at(FIRST), make.at(LAST) + TICK)]
