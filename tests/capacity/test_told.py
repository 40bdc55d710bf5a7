"""What a change comes to, in words: the numbers in the sentences are those of the frames or worked by hand."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from nightgauge.capacity import Added, Change, what_if
from nightgauge.field.settings import BackPressureValve, Vessel

from .made import BBL_M3, FIELD, FOOT_M, NO_HOURS, PSI_KPA, UNTIL, VESSEL, days

# No valve has a Cv, so that the vessel itself binds.
NO_DUMP = replace(VESSEL, water_dump=(), oil_valve=(BackPressureValve(45 * PSI_KPA),))


def told(change: Change, vessel: Vessel = NO_DUMP, water_bbl: float = 8000.0, oil_bbl: float | None = 2000.0) -> str:
    outlook = what_if(vessel, FIELD, days(water_bbl, oil_bbl), NO_HOURS, UNTIL, change)
    return "\n".join(outlook.sentences)


def test_a_limit_that_becomes_too_small_is_named_with_what_is_too_much() -> None:
    # Water retention takes 8000 x 20.872372 / 10 = 16698 bbl/day (see the worked examples): 20000 are 3302 too many.
    said = told(Change(water_rate_m3_per_day=20000 * BBL_M3))
    assert "Water retention binds now and then: 48% used, then 120%." in said
    assert "Water retention would be too small: 120% used, 3,302 bbl/day too much." in said


def test_a_limit_that_stays_large_enough_is_not_called_too_small() -> None:
    assert (
        told(Change(water_rate_m3_per_day=9000 * BBL_M3)) == "Water retention binds now and then: 48% used, then 54%."
    )


def test_a_limit_that_is_large_enough_again_is_named() -> None:
    said = told(Change(interface_m=5 * FOOT_M), water_bbl=20000.0)
    # 5 ft holds 233.142312 bbl of the 115.957623 bbl at 3 ft: 119.77 % / 2.0106 = 59.6 %.
    assert "Water retention would no longer be too small: 60% used instead of 120%." in said
    assert "The interface 24.0 in higher holds 117 bbl more water and as much less oil." in said


def test_another_limit_that_then_binds_is_named() -> None:
    said = told(Change(oil_rate_m3_per_day=17500 * BBL_M3))
    # Oil retention takes 2000 x 127.554912 / 15 = 17007 bbl/day.
    assert "Water retention binds now, 48% used; then " in said
    assert "Oil retention would be too small: 103% used, 493 bbl/day too much." in said


def test_a_pressure_is_told_with_what_it_does_to_wells_and_valves() -> None:
    guarded = replace(NO_DUMP, gas_valve=(BackPressureValve(49 * PSI_KPA),))
    said = told(Change(pressure_kpag=55 * PSI_KPA), guarded)
    assert "Every well that flows to it would have 10.0 psi more back pressure." in said
    assert "The gas valve is set to 49.0 psig and would open first" in said
    less = told(Change(pressure_kpag=40 * PSI_KPA), guarded)
    assert "would have 5.0 psi less back pressure." in less
    assert "gas valve" not in less


@pytest.mark.parametrize(
    ("most_psig", "asked_psig", "said"),
    [
        (125.0, 113.0, "113.0 psig is within 10 % of the working pressure, 125.0 psig."),
        (None, 60.0, "max_working_pressure is not in field.toml: read the nameplate before anything else."),
    ],
)
def test_the_working_pressure_is_minded(most_psig: float | None, asked_psig: float, said: str) -> None:
    limited = replace(NO_DUMP, max_working_pressure_kpag=None if most_psig is None else most_psig * PSI_KPA)
    assert said in told(Change(pressure_kpag=asked_psig * PSI_KPA), limited)
    assert "working pressure" not in told(Change(pressure_kpag=112.0 * PSI_KPA))


def test_a_well_is_told_by_its_test_and_by_what_the_test_does_not_say() -> None:
    tested = datetime(2026, 5, 20, 12, tzinfo=UTC)
    said = told(Change(added=(Added("W3", 1000 * BBL_M3, None, None, tested),)))
    assert "W3 brings by its test of 2026-05-20: 1,000 bbl/day water, oil not known, counted as none" in said
    assert "counted twice" not in said  # W3 flows elsewhere
    assert "W1 normally flows to V already: it is counted twice" in told(Change(added=(Added("W1", 1.0, 1.0),)))


def test_what_a_well_brings_of_a_load_that_nobody_knows_is_not_passed_over() -> None:
    said = told(Change(added=(Added("W3", 1.0, 2.0),)), oil_bbl=None)
    assert "The load of oil is not known, so what W3 brings of it is not counted." in said
