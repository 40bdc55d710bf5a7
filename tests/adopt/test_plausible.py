from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from nightgauge.adopt import Readings
from nightgauge.adopt.measured import Measured, measured
from nightgauge.adopt.plausible import plausible_units

Fleet = Mapping[str, tuple[str, str, Any]]


def test_pressures_of_a_metric_fleet_are_metric_and_so_are_its_volumes() -> None:
    # 300 kPag is 43.5 psig (1 psi = 6.894757 kPa): the same vessels, the other unit.
    assert plausible_units({"vessel_pressure": [300.0]})["water_total"] == "m3"
    assert plausible_units({"vessel_pressure": [43.5]})["water_total"] == "bbl"


def test_a_vessel_without_tags_has_no_settings(make_readings: Callable[..., Readings]) -> None:
    assert measured(make_readings({"A": np.zeros(3)}), {}, {}) == Measured()


def test_trip_levels_are_those_of_the_float(fleet: Fleet, make_readings: Callable[..., Readings]) -> None:
    # The float of `conftest` trips at 48 and 40; a minute's rise or fall, 0.3 or 1.2, and noise lie beyond.
    found = measured(make_readings({"L": fleet["LIT-101A"][2]}), {"interface_level": 0}, {0: -1.0})
    assert found.action == "snap"
    assert found.opens_at == pytest.approx(48.0, abs=0.6)
    assert found.closes_at == pytest.approx(40.0, abs=1.5)
