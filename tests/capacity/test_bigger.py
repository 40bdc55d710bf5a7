"""Which vessel would do: the sizes of the textbook's examples, in the lengths that are made."""

from dataclasses import replace

import pytest

from nightgauge.capacity import limits, what_would_give_more
from nightgauge.field.settings import BackPressureValve, Vessel
from nightgauge.vocabulary.frames import WELL_TESTS

from .made import FIELD, FOOT_M, NO_HOURS, PSI_KPA, UNTIL, VESSEL, days

# Arnold and Stewart, Surface Production Operations 1, 3rd ed., three-phase examples: 3000 bbl/day of water and 5000
# bbl/day of oil, 30 degAPI, 1.07, 10 cP and 1 cP, 10 min each.
BOOK = replace(
    VESSEL, inside_diameter_m=5 * FOOT_M, length_m=10 * FOOT_M, normal_interface_m=1 * FOOT_M,
    normal_oil_level_m=2.5 * FOOT_M, temperature_c=(60 - 32) / 1.8, required_water_retention_min=10.0,
    required_oil_retention_min=10.0, water_dump=(), oil_valve=(BackPressureValve(45 * PSI_KPA),),
)  # fmt: skip


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(limits, "dead_oil_viscosity_cp", lambda *_: 10.0)
    monkeypatch.setattr(limits, "water_viscosity_cp", lambda *_: 1.0)

    def say(vessel: Vessel, water_bbl: float = 3000.0, oil_bbl: float | None = 5000.0, **columns: object) -> str:
        frame = days(water_bbl, oil_bbl, **columns)
        (sentence,) = (
            one
            for one in what_would_give_more(vessel, FIELD, frame, NO_HOURS, UNTIL, WELL_TESTS.empty())
            if "vessel" in one
        )
        return sentence

    return say


def test_lying_vessels_are_those_of_the_worked_example(said) -> None:
    # The book's 72 in by 29.2 ft and 84 in by 21.5 ft are of 3 to 5 diameters (60 in: 8.4; 96 in: 2.1); up to whole
    # steps of 2.5 ft they are 30 ft and 22.5 ft. All are below its largest diameter of 241.6 in.
    assert "A horizontal vessel that would do, half full of liquid: 72 in by 30 ft, 84 in by 22.5 ft (" in said(BOOK)


STANDING = replace(BOOK, orientation="vertical", normal_interface_m=2 * FOOT_M, normal_oil_level_m=4 * FOOT_M)


def test_standing_vessels_are_those_of_the_worked_example(said) -> None:
    # The book has 84 in by 18.2 ft and 96 in by 17.4 ft. Its 0.12 is 2.9 % high (exact 0.116571): 96 in are
    # 74.4 + 96 + 40 in, 17.53 ft, so 20 ft like 84 in, and 108 in are 58.8 + 108 + 40 in, 17.2 ft.
    assert "with room for gas above the liquid: 84 in by 20 ft, 108 in by 17.5 ft (" in said(STANDING)


def test_standing_vessels_are_wide_enough_for_the_drops(said) -> None:
    # The book asks 83.0 in for water drops to fall through its oil and 50.8 in for oil drops to rise through its water,
    # however long they are held. At half the time 72 in would be slender enough, 66.2 + 72 + 40 in, 14.8 ft.
    hasty = replace(STANDING, required_water_retention_min=5.0, required_oil_retention_min=5.0)
    assert "above the liquid: 84 in by 15 ft (" in said(hasty)
    # With 3000 bbl/day of oil it asks 83.0 x sqrt(3000 / 5000) = 64.3 in, and 5000 bbl/day of water 65.6 in.
    assert "above the liquid: 72 in by 15 ft (" in said(hasty, 5000.0, 3000.0)


def test_lying_vessels_have_pads_that_the_drops_can_cross(said, monkeypatch: pytest.MonkeyPatch) -> None:
    # Oil of ten times the viscosity makes 24.2 in of the book's largest diameter of 241.6 in. Of such water oil drops
    # cross 0.00128 x 10 x 0.194 x 200^2 / 10 = 9.9 in, and 72 in have (0.5 - 0.2573) x 72 = 17.5 in of it.
    monkeypatch.setattr(limits, "dead_oil_viscosity_cp", lambda *_: 100.0)
    assert "No horizontal vessel of common size" in said(BOOK)
    monkeypatch.setattr(limits, "dead_oil_viscosity_cp", lambda *_: 10.0)
    monkeypatch.setattr(limits, "water_viscosity_cp", lambda *_: 10.0)
    assert "No horizontal vessel of common size" in said(BOOK)


def test_what_is_not_known_is_left_out_and_said(said) -> None:
    assert said(BOOK).endswith("Not known and left out: gas.")
    assert said(BOOK, 10000.0, None).endswith("Not known and left out: oil and gas.")
    assert "left out" not in said(BOOK, gas_m3=1000.0, coverage_gas_rate=1.0)


def test_gas_asks_for_a_wider_vessel(said) -> None:
    # Souders-Brown by hand, in field units: 0.40 x (L / 10)^0.56 ft/s, gas of 0.75 at 59.696 psia and 519.67 degR of
    # 0.23254 lb/ft3, oil of 54.642. Half of 72 in by 29.42 ft passes 55.55 million ft3/day, 1.573 million m3/day; half
    # of 84 in by 21.61 ft passes 1.802.
    assert "72 in by 30 ft" in said(BOOK, gas_m3=1.56e6, coverage_gas_rate=1.0)
    wider = said(BOOK, gas_m3=1.59e6, coverage_gas_rate=1.0)
    assert "72 in" not in wider
    assert "84 in by 22.5 ft" in wider
    assert "84 in" not in said(BOOK, gas_m3=1.82e6, coverage_gas_rate=1.0)


def test_a_load_beyond_all_common_sizes_is_said_to_be(said) -> None:
    assert "No horizontal vessel of common size, up to 144 in, would do by itself." in said(BOOK, 90000.0, 90000.0)


def test_metric_fields_read_millimetres(said) -> None:
    metric = replace(FIELD, display_units="metric")
    told = what_would_give_more(BOOK, metric, days(3000, 5000), NO_HOURS, UNTIL, WELL_TESTS.empty())
    assert any("1,829 mm by 9,144 mm, 2,134 mm by 6,858 mm" in one for one in told)
