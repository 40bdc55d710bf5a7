"""What would give more: each piece of advice is followed, and the vessel then is as the advice says."""

import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl
import pytest

from nightgauge.capacity import Change, what_if, what_would_give_more
from nightgauge.field.settings import BackPressureValve, Vessel, WaterDump
from nightgauge.vocabulary.frames import WELL_TESTS

from .made import BBL_M3, FIELD, NO_HOURS, PSI_KPA, UNTIL, VESSEL, days, limit, number


def more(frame: pl.DataFrame, tests: pl.DataFrame | None = None, vessel: Vessel = VESSEL) -> str:
    given = WELL_TESTS.empty() if tests is None else tests
    return "\n".join(what_would_give_more(vessel, FIELD, frame, NO_HOURS, UNTIL, given))


def found(pattern: str, text: str) -> re.Match[str]:
    match = re.search(pattern, text)
    assert match is not None, text
    return match


def followed(change: Change, frame: pl.DataFrame, vessel: Vessel = VESSEL) -> pl.DataFrame:
    return what_if(vessel, FIELD, frame, NO_HOURS, UNTIL, change).after


def test_the_interface_that_is_advised_shares_the_vessel_evenly() -> None:
    advice = found(
        r"Interface up from 36\.0 in to ([0-9.]+) in: water and oil would each use (\d+)%", more(days(16000))
    )
    after = followed(Change(interface_m=float(advice[1]) * 0.0254), days(16000))
    water, oil = (number(limit(after, f"{name} retention"), "used_fraction") for name in ("water", "oil"))
    assert water == pytest.approx(oil, abs=0.01)  # the level is told to a tenth of an inch
    assert round(100 * water) == pytest.approx(float(advice[2]), abs=1)


def test_it_is_said_what_binds_once_the_interface_is_moved() -> None:
    advice = found(r"in to ([0-9.]+) in: .*; then (.*) binds, (\d+)% used\.", more(days(16000)))
    after = followed(Change(interface_m=float(advice[1]) * 0.0254), days(16000))
    (binding,) = after.filter("binds").iter_rows(named=True)
    assert binding["limit"] == advice[2] == "water dump"
    assert round(100 * binding["used_fraction"]) == pytest.approx(float(advice[3]), abs=1)


def test_an_even_interface_that_is_not_enough_is_said_to_be_not_enough() -> None:
    assert "Both would still be too small." in more(days(40000, 12000))
    assert "Both would still be too small." not in more(days(16000))


def test_the_trim_that_is_advised_is_open_half_the_day() -> None:
    advice = found(r"A trim of Cv (\d+) for the water dump \(now 21\) would be open half the day", more(days()))
    # 21 passes 4402.208 bbl/day; half the day at 8000 needs 16000 / 4402.208 of it, 76.3, and no less.
    assert float(advice[1]) == 77


def test_a_throttling_dump_is_half_open_and_not_open_half_the_day() -> None:
    throttling = replace(VESSEL, water_dump=(replace(VESSEL.water_dump[0], action="throttling"),))
    assert "would be half open at 8,000 bbl/day" in more(days(), vessel=throttling)


def test_the_pressure_that_is_advised_does_what_the_trim_would() -> None:
    wider = replace(VESSEL, water_dump=(replace(VESSEL.water_dump[0], cv=65.0),))
    advice = found(
        r"Pressure up from 45\.0 psig to ([0-9.]+) psig would have the water dump", more(days(), vessel=wider)
    )
    after = followed(Change(pressure_kpag=float(advice[1]) * PSI_KPA), days(), wider)
    assert number(limit(after, "water dump"), "used_fraction") == pytest.approx(0.5, abs=0.001)


def test_no_pressure_near_the_working_pressure_is_advised() -> None:
    # Cv 21 would need 40 psi x (8000 x 2 / 4402.208)^2 = 528.4 psi and 5 psi behind it: 533.4 psig in the vessel.
    assert "Pressure is no way to it: 533.4 psig would be needed, and the working pressure is 125.0 psig." in more(
        days()
    )
    unknown = replace(VESSEL, max_working_pressure_kpag=None)
    assert "if the working pressure on the nameplate allows it" in more(days(), vessel=unknown)


def test_the_gas_valve_goes_up_with_a_pressure_it_would_not_hold() -> None:
    dump = (replace(VESSEL.water_dump[0], cv=65.0),)
    guarded = replace(VESSEL, water_dump=dump, gas_valve=(BackPressureValve(49 * PSI_KPA),))
    assert "back pressure on every well, and the gas valve has to go up with it." in more(days(), vessel=guarded)


def test_the_pressure_advised_for_gas_lets_the_gas_through() -> None:
    gas = number(limit(followed(Change(), days()), "gas"), "capacity_m3_per_day")
    much = days(coverage_gas_rate=1.0, gas_m3=1.2 * gas)
    advice = found(r"Pressure up from 45\.0 psig to ([0-9.]+) psig would have the gas within", more(much))
    after = followed(Change(pressure_kpag=float(advice[1]) * PSI_KPA), much)
    assert number(limit(after, "gas"), "used_fraction") == pytest.approx(1.0, abs=0.001)


def accepted(*rows: tuple[str, int, float]) -> pl.DataFrame:
    """Accepted tests: well, days before the night, water in bbl/day."""
    columns: dict[str, list[Any]] = {
        "well": [well for well, _, _ in rows], "vessel": ["T"] * len(rows), "state": ["accepted"] * len(rows),
        "start_utc": [UNTIL - timedelta(days=before) for _, before, _ in rows],
        "water_m3_per_day": [rate * BBL_M3 for _, _, rate in rows],
    }  # fmt: skip
    return WELL_TESTS.build(columns)


@pytest.mark.parametrize(
    ("tests", "said"),
    [  # 20000 bbl/day on a water retention limit of 16698 (worked examples): 3302 are too many
        (
            accepted(("W1", 9, 100), ("W1", 2, 3400), ("W2", 3, 6000), ("W3", 4, 3310)),  # W3 is another vessel's
            "3,302 bbl/day of water are too much for its retention: W1 alone, 3,400 bbl/day by its latest test, would",
        ),
        (
            accepted(("W1", 2, 1500), ("W2", 3, 2000)),
            "W2 and W1 together, 3,500 bbl/day by their latest test, would do if sent elsewhere.",
        ),
        (accepted(("W1", 2, 100)), "all its tested wells bring 100 bbl/day by their latest tests."),
        (accepted(("W3", 2, 9000)), "which wells to send elsewhere is not known without their tests."),
    ],
)  # fmt: skip
def test_the_wells_that_are_named_are_the_fewest_whose_going_is_enough(tests: pl.DataFrame, said: str) -> None:
    assert said in more(days(20000), tests)


def test_a_valve_that_is_too_small_moves_no_well() -> None:
    assert "sent elsewhere" not in more(days(8000), accepted(("W1", 2, 6000)))


def test_a_vessel_with_room_is_left_in_peace() -> None:
    assert more(days(800, 500)) == ""
    nothing_known = replace(VESSEL, inside_diameter_m=None, water_dump=(WaterDump(),), oil_valve=())
    assert more(days(), vessel=nothing_known) == ""
