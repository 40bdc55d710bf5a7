import csv
import math
from pathlib import Path

import numpy as np
import pytest
from fluids.geometry import TANK
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from nightgauge.errors import ProgrammerError
from nightgauge.physics.geometry import Shell, circle_segment_area, shell

FT, FT3, BBL = 0.3048, 0.3048**3, 0.158987294928
HEADS = ("flat", "2:1 ellipsoidal", "hemispherical", "torispherical")
ORIENTATIONS = ("horizontal", "vertical")

# Of volumes: fluids prints 1e-9 for closed forms, and integrates torispherical heads numerically.
RELATIVE = {"flat": 1e-8, "2:1 ellipsoidal": 1e-8, "hemispherical": 1e-8, "torispherical": 1e-7}


def tabled():
    lines = (Path(__file__).parent / "volumes.csv").read_text(encoding="utf-8").splitlines()[1:]
    for row in csv.DictReader(lines):
        for heads in HEADS:
            if row[heads]:
                level = float(row["level_ft"]) if row["level_ft"] else None
                yield row["orientation"], float(row["diameter_ft"]), float(row["length_ft"]), level, heads, row[heads]


def fluids_tank(vessel):
    side, depth = {
        "flat": (None, None),
        "2:1 ellipsoidal": ("ellipsoidal", 0.25),
        "hemispherical": ("spherical", 0.5),
        "torispherical": ("torispherical", None),
    }[vessel.heads]
    ends = {"sideA": side, "sideB": side}
    if depth is not None:
        ends |= {"sideA_a": depth * vessel.inside_diameter_m, "sideB_a": depth * vessel.inside_diameter_m}
    if side == "torispherical":
        ends |= {"sideA_f": 1.0, "sideA_k": 0.06, "sideB_f": 1.0, "sideB_k": 0.06}
    lies = vessel.orientation == "horizontal"
    return TANK(D=vessel.inside_diameter_m, L=vessel.length_m, horizontal=lies, **ends)


def any_vessel():
    return st.builds(
        Shell, st.floats(0.2, 5.0), st.floats(0.3, 30.0), st.sampled_from(HEADS), st.sampled_from(ORIENTATIONS)
    )


def test_volumes_agree_with_the_table_of_five_vessels():
    for orientation, diameter, length, level, heads, expected in tabled():
        vessel = Shell(diameter * FT, length * FT, heads, orientation)
        found = vessel.total_volume_m3 if level is None else vessel.volume_m3(level * FT)
        # The table prints six decimals of a cubic foot.
        assert found / FT3 == pytest.approx(float(expected), rel=RELATIVE[heads], abs=6e-7), (vessel, level)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("heads", HEADS)
def test_volumes_agree_with_fluids_on_a_vessel_of_odd_dimensions(heads, orientation):
    vessel = Shell(1.83, 6.04, heads, orientation)
    tank = fluids_tank(vessel)
    levels = np.linspace(0.0, vessel.height_m, 37)[1:]
    expected = [tank.V_from_h(level) for level in levels[:-1]] + [tank.V_total]
    assert vessel.height_m == pytest.approx(tank.h_max, rel=1e-12)
    np.testing.assert_allclose(vessel.volume_m3(levels), expected, rtol=RELATIVE[heads])


def test_a_handbook_tank_with_torispherical_heads_holds_2028_627_gallons():
    # D. Jones, "Computing Fluid Tank Volumes", Chemical Processing: D 108 in, L 156 in, h 36 in (by fluids 1.3.1).
    vessel = Shell(108 * 0.0254, 156 * 0.0254, "torispherical", "horizontal")
    assert vessel.volume_m3(36 * 0.0254) / 3.785411784e-3 == pytest.approx(2028.626671, rel=1e-7)


def test_a_standing_torispherical_bottom_holds_904_069_gallons_at_24_inches():
    # The same article's bottom heads, D 132 in, h 24 in (by fluids 1.3.1).
    vessel = Shell(132 * 0.0254, 10.0, "torispherical", "vertical")
    assert vessel.volume_m3(24 * 0.0254) / 3.785411784e-3 == pytest.approx(904.068828, rel=1e-7)


def test_a_flanged_and_dished_head_holds_0_081_of_the_cubed_diameter():
    # Handbooks round the coefficient to 0.0809; the depth 0.169337 D follows from crown 1.0 D and knuckle 0.06 D.
    with_heads, without = (Shell(1.0, 3.0, heads, "horizontal") for heads in ("torispherical", "flat"))
    assert (with_heads.total_volume_m3 - without.total_volume_m3) / 2 == pytest.approx(0.080999, abs=5e-7)
    assert with_heads.head_depth_m == pytest.approx(0.169337, abs=1e-6)


def test_segments_of_a_circle_agree_with_the_published_fractions():
    # Area below h/D over the whole circle; fluids.geometry.A_partial_circle, as in every handbook.
    ratios = np.array([0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.60, 0.70, 0.80, 0.90])
    fractions = [
        0.018693, 0.052044, 0.094060, 0.142378, 0.195501, 0.252316, 0.311919, 0.373530, 0.436444, 0.500000,
        0.626470, 0.747684, 0.857622, 0.947956,
    ]  # fmt: skip
    np.testing.assert_allclose(circle_segment_area(ratios) / (math.pi / 4), fractions, atol=5e-7)


def test_a_pair_of_heads_fills_by_3x2_less_2x3():
    ratios = np.array([0.1, 0.2, 0.3, 0.4, 0.45, 0.8, 0.9])
    for heads in ("2:1 ellipsoidal", "hemispherical"):
        ends, barrel = (Shell(2.0, 5.0, shape, "horizontal") for shape in (heads, "flat"))
        filled = ends.volume_m3(2.0 * ratios) - barrel.volume_m3(2.0 * ratios)
        full = ends.total_volume_m3 - barrel.total_volume_m3
        np.testing.assert_allclose(filled / full, [0.028, 0.104, 0.216, 0.352, 0.42525, 0.896, 0.972], rtol=1e-12)


def test_levels_of_known_fills_of_a_10_by_30_foot_vessel():
    # scipy.brentq on fluids' V_from_h; fluids' own inverse is only good to 2e-6.
    vessel = Shell(10 * FT, 30 * FT, "2:1 ellipsoidal", "horizontal")
    shares = np.array([0.10, 0.25, 0.75, 0.90])
    expected_ft = [1.602076614, 3.011179756, 6.988820244, 8.397923385]
    np.testing.assert_allclose(vessel.level_m(shares * vessel.total_volume_m3) / FT, expected_ft, atol=1e-9)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_levels_agree_with_bisection_of_fluids_volumes(orientation):
    vessel = Shell(1.22, 3.05, "torispherical", orientation)
    tank = fluids_tank(vessel)
    for share in (0.03, 0.4, 0.97):
        wanted = share * vessel.total_volume_m3
        expected = brentq(lambda h, v=wanted: tank.V_from_h(h) - v, 1e-6, vessel.height_m - 1e-6, xtol=1e-12)
        assert vessel.level_m(wanted) == pytest.approx(expected, abs=2e-7)


def test_one_dump_of_three_inches_is_13_884_barrels():
    vessel = Shell(10 * FT, 30 * FT, "2:1 ellipsoidal", "horizontal")
    assert (vessel.volume_m3(3.25 * FT) - vessel.volume_m3(3.0 * FT)) / BBL == pytest.approx(13.883827, rel=1e-7)


def test_the_plan_area_is_barrels_per_inch():
    vessel = Shell(10 * FT, 30 * FT, "2:1 ellipsoidal", "horizontal")
    assert vessel.area_m2(3.0 * FT) * 0.0254 / BBL == pytest.approx(4.57048, abs=1e-4)


@given(any_vessel(), st.floats(0.001, 0.999))
def test_the_plan_area_is_the_derivative_of_volume(vessel, share):
    level, step = share * vessel.height_m, 1e-6 * vessel.height_m
    around = vessel.volume_m3(np.array([level - step, level + step]))
    slope = (around[1] - around[0]) / (2.0 * step)
    assert vessel.area_m2(level) == pytest.approx(slope, rel=1e-5, abs=1e-6)


@given(any_vessel(), st.floats(0.0, 0.999))
@example(Shell(0.458984375, 1.0, "torispherical", "vertical"), 0.0)
@example(Shell(5.0, 0.3, "hemispherical", "vertical"), 1e-9)
def test_level_undoes_volume_to_a_nanometre(vessel, share):
    level = share * vessel.height_m
    assert vessel.level_m(vessel.volume_m3(level)) == pytest.approx(level, abs=1e-9)


@given(any_vessel(), st.floats(0.0, 1.0))
def test_volume_undoes_level(vessel, share):
    volume = share * vessel.total_volume_m3
    assert vessel.volume_m3(vessel.level_m(volume)) == pytest.approx(volume, abs=1e-11 * vessel.total_volume_m3)


@given(any_vessel(), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_level_is_never_less_volume(vessel, one, other):
    low, high = sorted((one * vessel.height_m, other * vessel.height_m))
    assert vessel.volume_m3(low) <= vessel.volume_m3(high) + 1e-12 * vessel.total_volume_m3


@given(any_vessel(), st.floats(0.0, 1.0))
def test_what_lies_below_a_level_and_above_its_mirror_fill_the_vessel(vessel, share):
    level = share * vessel.height_m
    both = vessel.volume_m3(level) + vessel.volume_m3(vessel.height_m - level)
    assert both == pytest.approx(vessel.total_volume_m3, rel=1e-12)


@given(any_vessel(), st.floats(0.2, 5.0))
def test_a_vessel_twice_as_large_holds_eight_times_as_much(vessel, level):
    twice = Shell(2 * vessel.inside_diameter_m, 2 * vessel.length_m, vessel.heads, vessel.orientation)
    assert twice.volume_m3(2 * level) == pytest.approx(8 * vessel.volume_m3(level), rel=1e-12)


@example(Shell(0.20000000000000004, 1.0, "2:1 ellipsoidal", "horizontal"), [1.1754943508222875e-38])
@given(any_vessel(), st.lists(st.floats(-1.0, 40.0), min_size=1, max_size=8))
def test_an_array_gives_what_its_members_give_one_by_one(vessel, levels):
    for function in (vessel.volume_m3, vessel.area_m2):
        np.testing.assert_array_equal(function(np.array(levels)), [function(level) for level in levels])


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("heads", HEADS)
def test_levels_outside_the_vessel_are_its_bottom_or_top_and_nan_passes(heads, orientation):
    vessel = Shell(1.5, 4.0, heads, orientation)
    levels = np.array([-1.0, 0.0, vessel.height_m + 1.0, np.nan])
    np.testing.assert_allclose(vessel.volume_m3(levels), [0.0, 0.0, vessel.total_volume_m3, np.nan], atol=1e-15)
    assert np.isnan(vessel.area_m2(levels)).tolist() == [False, False, False, True]
    volumes = np.array([-1.0, 0.0, 2.0 * vessel.total_volume_m3, np.nan])
    np.testing.assert_allclose(vessel.level_m(volumes), [0.0, 0.0, vessel.height_m, np.nan], atol=1e-9)


def test_a_float_gives_a_float():
    vessel = Shell(1.5, 4.0, "flat", "horizontal")
    assert {type(f(0.7)) for f in (vessel.volume_m3, vessel.area_m2, vessel.level_m)} == {float}


def test_an_empty_array_gives_an_empty_array():
    vessel = Shell(1.5, 4.0, "torispherical", "vertical")
    assert [f(np.empty(0)).size for f in (vessel.volume_m3, vessel.area_m2, vessel.level_m)] == [0, 0, 0]


def test_a_vessel_with_an_unknown_dimension_is_none():
    assert shell(None, 4.0, "flat", "horizontal") is None
    assert shell(1.5, 4.0, None, "horizontal") is None
    assert shell(1.5, 4.0, "flat", "vertical") == Shell(1.5, 4.0, "flat", "vertical")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((0.0, 4.0, "flat", "horizontal"), "both must be above 0"),
        ((1.5, float("nan"), "flat", "horizontal"), "both must be above 0"),
        ((1.5, 4.0, "conical", "horizontal"), "'conical' heads: no such shape"),
        ((1.5, 4.0, "flat", "leaning"), "shell is 'leaning'"),
    ],
)
def test_what_is_no_vessel_is_refused(arguments, told):
    with pytest.raises(ProgrammerError, match=told):
        Shell(*arguments)
