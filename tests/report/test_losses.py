"""Back pressure and carryover on the weekly page, sentence by sentence against arithmetic by hand."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from nightgauge.field.settings import Heating, Prices
from nightgauge.report.losses import losses
from nightgauge.report.weekly import weekly_page
from nightgauge.vocabulary.frames import BACK_PRESSURE, CARRYOVER, FINDINGS

PSI_KPA = 6.894757293168361
BARREL_M3 = 0.158987294928
INDEX = BARREL_M3 / PSI_KPA
MJ_PER_MMBTU = 1055.05585262
"""A million International Table Btu, exactly. [MJ]"""
MONDAY = date(2026, 5, 18)
SUNDAY = date(2026, 5, 24)


def held(
    vessel: str,
    psig: list[float | None],
    needed: float | None = 38.0,
    by: str | None = "needs",
    index: float | None = 10.0,
    price: float | None = None,
    **over: object,
) -> pl.DataFrame:
    """Days up to Sunday that hold these pressures, with wells of together `index` bbl/day/psi, a quarter of it oil."""
    rows = []
    for at, pressure in enumerate(psig):
        excess = None if pressure is None or needed is None else max(pressure - needed, 0.0)
        liquid = None if excess is None or index is None else excess * index * BARREL_M3
        oil = None if liquid is None else liquid / 4
        rows.append({
            "vessel": vessel, "day": SUNDAY - timedelta(days=len(psig) - 1 - at),
            "held_kpag": None if pressure is None else pressure * PSI_KPA,
            "needed_kpag": None if needed is None else needed * PSI_KPA, "needed_by": by,
            "excess_kpa": None if excess is None else excess * PSI_KPA, "wells": 2,
            "wells_without_index": "[]", "wells_without_water_cut": "[]",
            "liquid_m3_per_day_per_kpa": None if index is None else index * INDEX,
            "oil_m3_per_day_per_kpa": None if index is None else index * INDEX / 4,
            "liquid_loss_m3_per_day": liquid, "oil_loss_m3_per_day": oil,
            "oil_loss_money": None if oil is None or price is None else oil * price / BARREL_M3,
        } | over)  # fmt: skip
    return BACK_PRESSURE.build(pl.DataFrame(rows, infer_schema_length=None))


def carried(vessel: str, **over: object) -> pl.DataFrame:
    """A week in which 100 bbl/day of water leave with the oil and take 1.4 million Btu of heat each day."""
    row = {
        "vessel": vessel, "water_with_oil_m3": 100 * BARREL_M3, "temperature_c": 37.7777777778,
        "heat_mj": 1.4 * MJ_PER_MMBTU, "fuel_mj": 2.8 * MJ_PER_MMBTU,
    } | over  # fmt: skip
    return CARRYOVER.build(pl.DataFrame([row | {"day": MONDAY + timedelta(days=at)} for at in range(7)]))


@pytest.fixture(scope="module")
def section(make_view):
    """Return the section of a field with these rows; no findings unless given."""
    bare = make_view(findings=FINDINGS.empty())

    def build(*pressure: pl.DataFrame, carryover: pl.DataFrame | None = None, **over: object):
        frames = {
            "back_pressure": pl.concat([BACK_PRESSURE.empty(), *pressure]),
            "carryover": CARRYOVER.empty() if carryover is None else carryover,
        }
        return losses(replace(bare, **(frames | over)))

    return build


def test_each_psi_and_all_that_it_has_cost_so_far_are_told(section):
    """By hand: 4 psi x 10 bbl/day/psi = 40 bbl/day; over 12 days 480 bbl, 120 of them oil."""
    (line,) = section(held("TB-1", [38.0] * 8 + [42.0] * 12)).lines
    assert line.sentences == (
        "Each psi that TB-1’s oil valve holds costs up to 10 bbl/day of liquid (2.5 bbl/day of oil).",
        "It holds 4.0 psi above what is needed (38.0 psig) and has stood above it since 13 May: "
        "so far up to 480 bbl of liquid (120 bbl of oil).",
    )


def test_money_stands_beside_the_oil_where_prices_are_set(section, make_field):
    field = make_field(prices=Prices("USD", oil_per_m3=60 / BARREL_M3))
    (line,) = section(held("TB-1", [38.0] * 8 + [42.0] * 12, price=60.0), field=field).lines
    assert "(120 bbl of oil, 7,200 USD)" in line.sentences[1]


def test_a_run_as_long_as_the_record_is_said_to_be_at_least_that_long(section):
    (line,) = section(held("TB-1", [42.0] * 12)).lines
    assert "since at least 13 May" in line.sentences[1]


def test_days_that_are_not_known_are_said_and_not_counted_and_an_odd_day_does_not_break_the_run(section):
    """12 days, of which one is not known and one holds nothing above: 10 x 40 bbl."""
    (line,) = section(held("TB-1", [38.0] * 8 + [42.0] * 4 + [None] + [42.0] * 2 + [38.0] + [42.0] * 4)).lines
    assert (
        "since 13 May: so far up to 400 bbl of liquid (100 bbl of oil), one day not known and not counted."
        in (line.sentences[1])
    )


def test_over_a_setting_a_sound_valves_droop_is_not_told(section):
    """The drift that the format of findings has told is 1.5 psi or 3 %, 1.35 psi of 45."""
    assert section(held("TB-1", [46.0] * 9, needed=45.0, by="holds")).lines == ()
    (line,) = section(held("TB-1", [47.0] * 9, needed=45.0, by="holds")).lines
    assert "2.0 psi above its setting (45.0 psig)" in line.sentences[1]
    (line,) = section(held("TB-1", [39.0] * 9)).lines
    assert "1.0 psi above what is needed" in line.sentences[1]


def test_a_missing_index_is_said_plainly(section):
    both = held("TB-1", [42.0] * 9, wells_without_index='["W1", "W2"]')
    (line,) = section(both).lines
    assert line.sentences[2] == "Productivity index missing for wells W1 and W2: their part is not in."
    (line,) = section(held("TB-1", [42.0] * 9, index=None, wells_without_index='["W1"]')).lines
    assert line.sentences == (
        "It holds 4.0 psi above what is needed (38.0 psig) and has stood above it since at least 16 May: "
        "what that costs is not known.",
        "Productivity index missing for well W1: its part is not in.",
    )


def test_a_well_without_a_water_cut_is_named(section):
    (line,) = section(held("TB-1", [42.0] * 9, wells_without_water_cut='["W3"]')).lines
    assert line.sentences[2] == "Water cut not known for well W3: its oil is not in."


def finding(make_findings, **over: object) -> pl.DataFrame:
    drift = {"kind": "oil_valve_setpoint_drift", "element": "oil_valve", "onset": datetime(2026, 5, 14, 12, tzinfo=UTC)}
    return make_findings(drift | over)


def test_what_a_drifting_spring_has_cost_counts_from_what_was_held_before(section, make_findings):
    """Held 45 psig before, then 1, 2, ... 11 psi more from 14 to 24 May: 66 psi x days x 10 = 660 bbl, 165 of oil.

    What is held now is the middle of the last three days.
    """
    rows = held("TB-1", [45.0] * 20 + [45.0 + day for day in range(1, 12)])
    (line,) = section(rows, findings=finding(make_findings)).lines
    assert line.sentences[2] == (
        "Since its spring began to drift on 14 May it has come to hold 10.0 psi more than before: "
        "that alone has cost up to 660 bbl of liquid (165 bbl of oil)."
    )


def test_a_drift_counts_above_what_is_needed_only(section, make_findings):
    """Held 36 before, needs 38: of the 4 psi more each day 2 cost, 11 x 2 x 10 = 220 bbl."""
    rows = held("TB-1", [36.0] * 20 + [40.0] * 11)
    (line,) = section(rows, findings=finding(make_findings, kind="oil_valve_setpoint_step")).lines
    assert "Since its hold moved on 14 May" in line.sentences[2]
    assert "up to 220 bbl of liquid" in line.sentences[2]


def test_the_day_of_the_onset_is_none_of_the_days_before(section, make_findings):
    """Held 45 on the one day before, 49 from the onset's day on: 11 days x 4 psi x 10 = 440 bbl."""
    (line,) = section(held("TB-1", [45.0] + [49.0] * 11), findings=finding(make_findings)).lines
    assert "up to 440 bbl of liquid" in line.sentences[2]


def test_a_drift_of_which_nothing_is_known_before_has_no_cost_of_its_own(section, make_findings):
    (line,) = section(held("TB-1", [45.0] * 11), findings=finding(make_findings)).lines
    assert len(line.sentences) == 2


@pytest.mark.parametrize(
    "over",
    [
        {"state": "cleared"}, {"mark": json.dumps({"as": "wrong"})}, {"vessel": "TB-2"}, {"kind": "dump_leaking"},
        {"kind": "gas_valve_setpoint_drift"},
    ],
)  # fmt: skip
def test_a_finding_that_does_not_stand_here_has_cost_nothing(section, make_findings, over):
    rows = held("TB-1", [45.0] * 20 + [47.0] * 11)
    (line,) = section(rows, findings=finding(make_findings, **over)).lines
    assert len(line.sentences) == 2


def test_a_spring_that_sinks_costs_nothing(section, make_findings):
    """Its first days stand a little higher by chance; what it holds now is less."""
    rows = held("TB-1", [38.0] * 20 + [38.2, 38.3, 37.5] + [36.0] * 8)
    assert section(rows, findings=finding(make_findings)).lines == ()


def test_carryover_is_told_by_the_day_with_its_arithmetic(section, make_field, make_vessel):
    """By hand: 1.4 million Btu of heat at 50 % are 2.8 of fuel, at 4 USD a million 11.2 USD; 2 bbl of oil are 120."""
    field = make_field(
        vessels=(make_vessel("TB-1", heating=Heating(60.0, 0.5)),),
        prices=Prices("USD", 60 / BARREL_M3, None, 4 / MJ_PER_MMBTU),
    )
    rows = carried("TB-1", fuel_money=11.2, oil_with_water_m3=2 * BARREL_M3, oil_money=120.0)
    (line,) = section(carryover=rows, field=field).lines
    assert line.sentences == (
        "100 bbl/day of water leaves with the oil: heating it to 140 degF takes up to 1.4 MMBtu of heat a day, "
        "2.8 MMBtu of fuel (11.2 USD a day).",
        "2 bbl/day of oil leaves with the water (120 USD a day).",
    )
    assert dict(line.heat_terms)["temperature at which it leaves"] == "100 degF"


def test_a_past_week_tells_nothing_of_the_days_after_it(section):
    """The page of the week before, from the same rows: 12 - 7 days of 40 bbl."""
    rows = held("TB-1", [38.0] * 8 + [42.0] * 12)
    (line,) = section(rows, monday=MONDAY - timedelta(days=7)).lines
    assert "up to 200 bbl of liquid" in line.sentences[1]


def test_carryover_is_that_of_the_week_alone(section, make_field, make_vessel):
    field = make_field(vessels=(make_vessel("TB-1", heating=Heating(60.0, 0.5)),))
    week = carried("TB-1")
    before = carried("TB-1", water_with_oil_m3=900.0).with_columns(day=pl.col("day") - timedelta(days=7))
    (line,) = section(carryover=pl.concat([before, week]), field=field).lines
    assert line.sentences[0].startswith("100 bbl/day of water")


def test_water_that_needs_no_heat_is_not_told_as_a_cost(section, make_field, make_vessel):
    field = make_field(vessels=(make_vessel("TB-1", heating=Heating(60.0, 0.5)),))
    assert section(carryover=carried("TB-1", heat_mj=0.0, fuel_mj=0.0), field=field) is None


def test_the_most_costly_stands_first(section, make_field, make_vessel):
    field = make_field(vessels=tuple(make_vessel(name) for name in ("TB-1", "TB-2", "TB-3")))
    found = section(
        held("TB-1", [40.0] * 9), held("TB-2", [44.0] * 9), held("TB-3", [42.0] * 9, index=None), field=field
    )
    assert [line.vessel for line in found.lines] == ["TB-2", "TB-1", "TB-3"]


def test_what_is_missing_for_a_price_is_one_sentence(section, make_field, make_vessel):
    field = make_field(vessels=tuple(make_vessel(name) for name in ("TB-1", "TB-2", "TB-3", "TB-4")))
    found = section(
        held("TB-1", [40.0] * 9), held("TB-2", [37.0] * 9, index=None, wells_without_index='["W1"]'),
        held("TB-3", [37.0] * 9, index=None, wells_without_index='["W2"]'),
        carryover=carried("TB-4", heat_mj=None, fuel_mj=None), field=field,
    )  # fmt: skip
    assert [line.vessel for line in found.lines] == ["TB-1"]
    assert found.missing == (
        "No price, or only a part of it, is known where something is missing: TB-2 and TB-3 lack productivity indices "
        "of wells that flow there; TB-4 lacks the heater that follows (heating)."
    )


def test_a_vessel_that_holds_nothing_above_says_what_each_psi_would_cost(section):
    found = section(held("TB-1", [37.0] * 9))
    assert found.lines == ()
    assert found.each == (
        "Where nothing above need or setting is seen to be held, each psi costs: "
        "TB-1 up to 10 bbl/day of liquid (2.5 bbl/day of oil)."
    )


def test_metric_fields_read_of_kilopascals(section, make_field):
    (line,) = section(held("TB-1", [42.0] * 9), field=make_field(display_units="metric")).lines
    assert line.sentences[0].startswith("Each kPa that TB-1’s oil valve holds costs up to 0.231 m3/day")


def test_nothing_known_is_no_section(section, make_view, read_page):
    assert section() is None
    assert section(held("TB-1", [45.0] * 9, needed=None, by=None, index=None)) is None
    assert not read_page(weekly_page(make_view())).all("section", id="losses")


def test_the_arithmetic_and_the_months_stand_in_the_fold(section):
    rows = held(
        "TB-1", [40.0] * 20 + [42.0] * 24, header_kpag=50 * PSI_KPA, line_loss_kpa=3 * PSI_KPA,
        droop_kpa_per_m3_per_day=0.5 * PSI_KPA / (100 * BARREL_M3),
    )  # fmt: skip
    (line,) = section(rows).lines
    terms = dict(line.pressure_terms)
    assert terms["pressure held, median of the week"] == "42.0 psig"
    assert terms["productivity indices of its wells together"] == "10 bbl/day/psi"
    assert terms["header less vessel pressure (line loss)"] == "3.0 psi"
    assert terms["rise of the vessel pressure with 100 bbl/day more load (droop)"] == "0.5 psi"
    # 11 to 30 April at 2 psi above: 20 x 20 bbl; 1 to 24 May at 4 psi above: 24 x 40 bbl.
    assert line.months == (
        ("April 2026", "40.0 psig", "2.0 psi", "400 bbl"),
        ("May 2026", "42.0 psig", "4.0 psi", "960 bbl"),
    )


def test_the_page_holds_the_section_with_its_picture(make_view, make_field, make_vessel, read_page):
    field = make_field(vessels=(make_vessel("TB-1", heating=Heating(60.0, 0.5)),))
    view = make_view(
        field=field, back_pressure=held("TB-1", [38.0] * 8 + [42.0] * 5 + [None] + [42.0] * 6),
        carryover=carried("TB-1"),
    )  # fmt: skip
    page = read_page(weekly_page(view))
    assert page.unclosed == []
    found = page.one("section", id="losses")
    assert "Each psi that TB-1’s oil valve holds costs up to 10 bbl/day" in found.text
    assert "100 bbl/day of water leaves with the oil" in found.text
    (chart,) = [one for one in page.charts if "Pressure" not in str(one) and "pressure, psig" in str(one)
                and "area" in str(one["layer"])]  # fmt: skip
    lines = [columns["y"] for name, columns in chart["datasets"].items() if name.startswith("layer")]
    assert [pytest.approx(38.0)] * 20 in lines  # needed, unbroken
    (drawn,) = [y for y in lines if y.count(None) == 1]  # held, broken at the day not known
    assert drawn[13] is None
    assert drawn[0] == pytest.approx(38.0)


def test_lines_beyond_the_tenth_are_folded(make_view, make_field, make_vessel, read_page):
    names = [f"TB-{at}" for at in range(12)]
    field = make_field(vessels=tuple(make_vessel(name) for name in names))
    rows = pl.concat([held(name, [40.0 + at] * 9) for at, name in enumerate(names)])
    page = read_page(weekly_page(make_view(field=field, back_pressure=rows)))
    lists = [[one for one in ul.children if "loss" in (one.attributes.get("class") or "")] for ul in page.all("ul")]
    assert [len(lines) for lines in lists if lines] == [10, 2]


@settings(max_examples=50, deadline=None)
@example([45.0, 38.0, 45.0])
@given(st.lists(st.none() | st.floats(30.0, 60.0), min_size=1, max_size=40))
def test_whatever_was_held_no_sentence_has_a_cost_below_zero_or_an_unknown_number(section, psig):
    found = section(held("TB-1", psig))
    told = " ".join((*(one for line in found.lines for one in line.sentences), found.each)) if found else ""
    assert "−" not in told
    assert "nan" not in told.lower()
    assert "not known" not in told.replace("not known and not counted", "")
