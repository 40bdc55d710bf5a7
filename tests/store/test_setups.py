"""A changed field.toml marks what it concerns and nothing else."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from nightgauge.field.settings import BackPressureValve, Field, Heating, Outage, Vessel, WaterDump
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
