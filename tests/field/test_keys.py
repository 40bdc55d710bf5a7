"""What a value can be at all: facts of nature and of the trade just inside each bound, slips of the pen outside."""

import math
import re

import pytest

from nightgauge.field.keys import (
    ATMOSPHERE,
    GAS_GRAVITY,
    LIQUID_WATER,
    NOT_NEGATIVE,
    OIL_GRAVITY,
    POSITIVE,
    WATER_GRAVITY,
    Bounds,
)


@pytest.mark.parametrize(
    ("bounds", "possible"),
    [
        # ISO 2533: 101.325 (1 - 2.25577e-5 h)^5.25588 kPa; La Rinconada at 5100 m, the Dead Sea shore at -430 m
        (ATMOSPHERE, 101.325 * (1 - 2.25577e-5 * 5100) ** 5.25588),
        (ATMOSPHERE, 101.325 * (1 - 2.25577e-5 * -430) ** 5.25588),
        (LIQUID_WATER, -20.0),  # a brine still liquid; NaCl freezes at -21.1 degC at the earliest
        (LIQUID_WATER, 373.9),  # critical point 373.946 degC, IAPWS R7-97
        # API gravity by its definition from specific gravities: bitumen at 1.07, liquid propane at 0.508
        (OIL_GRAVITY, 141.5 / 1.07 - 131.5),
        (OIL_GRAVITY, 141.5 / 0.508 - 131.5),
        (WATER_GRAVITY, 0.96),  # fresh water close to boiling, 958 kg/m3
        (WATER_GRAVITY, 1.2),  # saturated sodium chloride
        (GAS_GRAVITY, 2.016 / 28.96),  # hydrogen
        (GAS_GRAVITY, 16.043 / 28.96),  # methane
        (GAS_GRAVITY, 44.01 / 28.96),  # carbon dioxide
        (POSITIVE, 1e-9),
        (NOT_NEGATIVE, 0.0),
    ],
)
def test_what_occurs_is_possible(bounds: Bounds, possible: float) -> None:
    assert bounds.hold(possible)


@pytest.mark.parametrize(
    ("bounds", "slip"),
    [
        (ATMOSPHERE, 12.3),  # psi taken for kPa
        (ATMOSPHERE, 12.3 * 6.894757 + 101.325),  # gauge taken for absolute
        (LIQUID_WATER, 35 - 273.15),  # degC called K
        (LIQUID_WATER, 400.0),
        (OIL_GRAVITY, 0.89 * 1000),  # a density
        (OIL_GRAVITY, -5.0),
        (WATER_GRAVITY, 1080.0),  # a density
        (WATER_GRAVITY, 0.75),  # the gas
        (GAS_GRAVITY, 0.0),
        (GAS_GRAVITY, 28.96),  # a molar mass
        (POSITIVE, 0.0),
        (NOT_NEGATIVE, -1e-9),
    ],
)
def test_a_slip_of_the_pen_is_not(bounds: Bounds, slip: float) -> None:
    assert not bounds.hold(slip)


@pytest.mark.parametrize("bounds", [ATMOSPHERE, LIQUID_WATER, OIL_GRAVITY, WATER_GRAVITY, GAS_GRAVITY])
def test_bounds_are_those_that_the_message_tells_both_included(bounds: Bounds) -> None:
    least, most = (float(number) for number in re.findall(r"-?[0-9.]+", bounds.says)[:2])
    assert bounds.hold(least)
    assert bounds.hold(most)
    assert not bounds.hold(math.nextafter(least, -math.inf))
    assert not bounds.hold(math.nextafter(most, math.inf))
