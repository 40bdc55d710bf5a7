"""Settings that contradict each other, at the very edge of what can be."""

from collections.abc import Callable

import pytest

from nightgauge.field.possible import find_impossible, height_m
from nightgauge.field.problems import Scope
from nightgauge.field.settings import Vessel, WaterDump


def vessel(**settings: object) -> Vessel:
    return Vessel("V", "separator", **settings)  # type: ignore[arg-type]


def contradictions(made: Vessel) -> list[str]:
    scope = Scope("field.toml")
    find_impossible(made, scope)
    return [problem.place for problem in scope.problems]


@pytest.mark.parametrize(
    ("settings", "height"),
    [
        # geometry by hand: a lying shell is as high as its diameter; a standing one as long as its shell and two heads,
        # each D/4 deep (2:1 ellipsoidal), D/2 (hemispherical) or 0 (flat)
        ({"orientation": "horizontal", "inside_diameter_m": 2.0}, 2.0),
        ({"orientation": "vertical", "inside_diameter_m": 2.0, "length_m": 3.0, "heads": "2:1 ellipsoidal"}, 4.0),
        ({"orientation": "vertical", "inside_diameter_m": 2.0, "length_m": 3.0, "heads": "hemispherical"}, 5.0),
        ({"orientation": "vertical", "inside_diameter_m": 2.0, "length_m": 3.0, "heads": "flat"}, 3.0),
        ({"orientation": "vertical", "inside_diameter_m": 2.0, "length_m": 3.0}, 5.0),
        ({"orientation": "vertical", "inside_diameter_m": 2.0}, None),
        ({"orientation": "horizontal"}, None),
        ({"inside_diameter_m": 2.0, "length_m": 3.0}, None),
    ],
)
def test_the_inside_height_is_that_of_the_shell_and_its_heads(
    settings: dict[str, object], height: float | None
) -> None:
    assert height_m(vessel(**settings)) == (None if height is None else pytest.approx(height))


LYING = {"orientation": "horizontal", "inside_diameter_m": 2.0, "length_m": 6.0}


def test_a_level_at_the_very_top_can_be_and_above_it_cannot() -> None:
    assert contradictions(vessel(**LYING, normal_oil_level_m=2.0)) == []
    assert contradictions(vessel(**LYING, normal_oil_level_m=2.0 + 1e-12)) == []
    assert contradictions(vessel(**LYING, normal_oil_level_m=2.001)) == ["normal_oil_level"]
    assert contradictions(vessel(normal_oil_level_m=2.001)) == []


def test_the_interface_lies_below_the_oil_level() -> None:
    assert contradictions(vessel(normal_interface_m=1.0, normal_oil_level_m=1.01)) == []
    assert contradictions(vessel(normal_interface_m=1.0, normal_oil_level_m=1.0)) == ["normal_interface"]
    assert contradictions(vessel(normal_interface_m=1.0)) == []


def test_lengths_along_the_shell_are_within_it() -> None:
    assert contradictions(vessel(**LYING, baffle_at_m=6.0, settling_length_m=6.0 + 1e-12)) == []
    assert contradictions(vessel(**LYING, baffle_at_m=6.1, settling_length_m=6.1)) == ["baffle_at", "settling_length"]


@pytest.mark.parametrize(
    ("dump", "place"),
    [
        (WaterDump(opens_at_m=1.0, closes_at_m=0.9), None),
        (WaterDump(opens_at_m=1.0, closes_at_m=1.0), "water_dump, closes_at"),
        (WaterDump(opens_at_m=1.0, closes_at_m=1.1), "water_dump, closes_at"),
        (WaterDump(closes_at_m=1.1), None),
        (WaterDump(opens_at_m=2.1), "water_dump, opens_at"),
        (WaterDump(holds_m=2.1), "water_dump, holds"),
        (WaterDump(band_m=2.1), "water_dump, band"),
        (WaterDump(holds_m=1.0, band_m=0.1), None),
    ],
)
def test_a_dump_opens_above_where_it_closes_and_within_the_vessel(dump: WaterDump, place: str | None) -> None:
    assert contradictions(vessel(**LYING, water_dump=(dump,))) == ([] if place is None else [place])


def test_a_dump_of_a_vessel_of_unknown_size_is_only_held_against_itself() -> None:
    assert contradictions(vessel(water_dump=(WaterDump(opens_at_m=9.0, closes_at_m=8.0, band_m=9.0),))) == []


def test_levels_in_a_dated_dump_count_too(problems: Callable[..., list[str]]) -> None:
    found = problems(
        '[[vessel.water_dump]]\ncv = 90\n[[vessel.water_dump]]\nvalid_from = "2026-05-01"\nholds = "3 m"\n'
    )
    assert [line.split(":")[0] for line in found] == ["field.toml, vessel QB-101, water_dump 2, holds"]
