"""Views in display units: numbers against definitions of the units, names by their endings."""

from typing import Any

import pytest

from nightgauge.store import Writer, display
from nightgauge.vocabulary import frames
from nightgauge.vocabulary.frames import Frame


def shown(writer: Writer, frame: Frame, row: dict[str, Any], system: str) -> dict[str, Any]:
    """Return a stored row as its view shows it."""
    built = frame.build({name: [value] for name, value in ({"vessel": "V-1"} | row).items()})
    writer._con.register("one_row", built)
    writer._con.execute(f"INSERT INTO {frame.name} BY NAME SELECT * FROM one_row")
    writer.set_display(system)  # type: ignore[arg-type]
    return writer._con.sql(f"FROM {frame.name}_display").pl().row(0, named=True)


def test_a_dump_reads_in_inches_barrels_and_pounds(writer: Writer, make: Any) -> None:
    row = shown(
        writer,
        frames.DUMP_CYCLES,
        {
            "opened_utc": make.at(0), "opening_level_m": 1.1684, "volume_geometry_m3": 1.58987294928,
            "inflow_m3_per_day": 158.987294928, "pressure_kpag": 310.26407819, "pressure_sag_kpa": 6.894757293168361,
            "drain_s": 90.0, "cv_effective": 88.0, "evidence": "switch",
        },
        "oilfield",
    )  # fmt: skip
    # 1 in = 25.4 mm exactly; 1 bbl = 42 US gal of 231 in3 = 0.158987294928 m3 exactly; 1 psi = 6.894757293168361 kPa.
    assert row["opening_level_in"] == pytest.approx(46.0, rel=1e-12)
    assert row["volume_geometry_bbl"] == pytest.approx(10.0, rel=1e-12)
    assert row["inflow_bbl_per_day"] == pytest.approx(1000.0, rel=1e-12)
    assert row["pressure_psig"] == pytest.approx(45.0, rel=1e-9)
    assert row["pressure_sag_psi"] == pytest.approx(1.0, rel=1e-12)
    assert row["drain_min"] == 1.5
    assert (row["cv_effective"], row["evidence"], row["closing_level_in"]) == (88.0, "switch", None)


def test_a_dump_reads_in_millimetres_and_cubic_metres(writer: Writer, make: Any) -> None:
    values = {"opened_utc": make.at(0), "opening_level_m": 1.1684, "volume_geometry_m3": 1.5, "pressure_kpag": 310.0}
    row = shown(writer, frames.DUMP_CYCLES, values, "metric")
    assert row["opening_level_mm"] == pytest.approx(1168.4, rel=1e-12)
    assert (row["volume_geometry_m3"], row["pressure_kpag"]) == (1.5, 310.0)


def test_a_day_shows_shares_in_percent_and_gas_in_its_own_unit(writer: Writer, make: Any) -> None:
    values = {
        "day": make.at(0).date(), "coverage": 0.75, "water_in_oil_fraction": 0.02, "gas_m3": 28.316846592,
        "oil_m3": 28.316846592, "oil_hold_kpag": 310.26407819, "oil_in_water_mg_l": 120.0, "water_short_h": 3.0,
    }  # fmt: skip
    row = shown(writer, frames.VESSEL_DAYS, values, "oilfield")
    assert (row["coverage_percent"], row["water_in_oil_percent"]) == (75.0, 2.0)
    # 1000 ft3 = 28.316846592 m3 exactly (1 ft = 0.3048 m); the same volume of oil is 178.1 bbl.
    assert row["gas_mcf"] == pytest.approx(1.0, rel=1e-12)
    assert row["oil_bbl"] == pytest.approx(178.10760667903527, rel=1e-12)
    assert row["oil_hold_psig"] == pytest.approx(45.0, rel=1e-9)
    assert (row["oil_in_water_mg_l"], row["water_short_h"]) == (120.0, 3.0)


@pytest.mark.parametrize(
    ("signal", "mean", "deviation", "expected"),
    [
        # 20 degC is 68 degF; a deviation of 5 K is 9 degF.
        ("temperature", 20.0, 5.0, (68.0, 9.0, "degF")),
        ("interface_level", 1.1684, 0.0254, (46.0, 1.0, "in")),
        ("gas_rate", 28316.846592, 28.316846592, (1000.0, 1.0, "Mcf/day")),
        ("oil_water_cut", 0.05, 0.01, (5.0, 1.0, "%")),
        ("water_dump_open", 0.25, 0.5, (0.25, 0.5, "")),
        ("anode_current:A1", 0.25, 0.5, (0.25, 0.5, "A")),
    ],
)
def test_an_hour_of_a_signal_reads_in_the_signals_unit(
    writer: Writer, make: Any, signal: str, mean: float, deviation: float, expected: tuple[float, float, str]
) -> None:
    values = {"signal": signal, "hour_utc": make.at(0), "mean": mean, "deviation": deviation, "still_s": 120.0}
    row = shown(writer, frames.SIGNAL_HOURS, values, "oilfield")
    assert (row["mean"], row["deviation"]) == pytest.approx(expected[:2], rel=1e-12)
    assert (row["unit"], row["still_min"]) == (expected[2], 2.0)


def test_samples_stand_beside_their_tag_in_its_unit_while_it_is_in_force(writer: Writer, make: Any) -> None:
    writer.set_display("oilfield")
    writer.land(make.export(), make.parsed([(1, 0, 1.1684, "good"), (3, 0, 1.0, "good")]), make.read_at)
    level, switch = writer._con.sql("FROM sample_display ORDER BY tag").pl().rows(named=True)
    assert (level["tag"], level["signal"], level["unit"]) == ("LI-1", "interface_level", "in")
    assert level["value"] == pytest.approx(46.0, rel=1e-12)
    assert (switch["tag"], switch["value"], switch["unit"]) == ("ZS-1", 1.0, "")
    writer.sync_tags(make.field([make.switch]), make.read_at)
    assert writer._con.sql("SELECT tag FROM sample_display").fetchall() == [("ZS-1",)]


def test_every_table_with_quantities_has_its_view(writer: Writer) -> None:
    writer.set_display("metric")
    tables = {
        "dump_cycle", "vessel_hour", "vessel_day", "well_test", "signal_hour", "sample",
        "vessel_capacity", "back_pressure", "carryover", "anode",
    }  # fmt: skip
    views = writer._con.sql("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall()
    assert {name for (name,) in views} == {f"{table}_display" for table in tables}


@pytest.mark.parametrize("frame", display.PLAIN_FRAMES, ids=lambda frame: frame.name)
@pytest.mark.parametrize("system", ["oilfield", "metric"])
def test_no_column_is_lost_and_no_name_says_an_inside_unit_that_is_converted(
    writer: Writer, frame: Frame, system: str
) -> None:
    writer.set_display(system)  # type: ignore[arg-type]
    names = writer._con.sql(f"FROM {frame.name}_display").columns
    assert len(names) == len(set(names)) == len(frame.columns)
    for column, name in zip(frame.columns, names, strict=True):
        if column.unit in {"kPag", "m3/day", "m", "m3"} and system == "oilfield":
            assert name != column.name
        if column.unit == "":
            assert name == column.name


def test_the_views_follow_when_the_units_change_and_rest_when_they_do_not(writer: Writer) -> None:
    writer.set_display("oilfield")
    kept = writer._con.sql("FROM field_setting ORDER BY name").fetchall()
    writer.set_display("oilfield")
    assert writer._con.sql("FROM field_setting ORDER BY name").fetchall() == kept
    writer.set_display("metric")
    assert "oil_hold_kpag" in writer._con.sql("FROM vessel_day_display").columns
    assert ("display_units", "metric") in writer._con.sql("FROM field_setting").fetchall()


def test_columns_say_in_the_database_what_they_mean(writer: Writer) -> None:
    writer.set_display("metric")
    comment = writer._con.sql(
        "SELECT comment FROM duckdb_columns() WHERE table_name = 'dump_cycle' AND column_name = 'opening_level_m'"
    )
    assert comment.fetchall() == [("interface at opening [m]",)]
