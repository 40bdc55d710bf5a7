import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import find_peaks

from nightgauge.derive.spans import SECOND_US
from nightgauge.derive.turning import NO_TURNS, Shape, least_fall, noise, prominent_peaks, timed, turns, without_spikes


def saw(*knots, per_leg=10):
    """Straight legs between knots, `per_leg` samples each, a second apart."""
    places = np.arange(len(knots)) * per_leg
    return np.interp(np.arange(places[-1] + 1), places, knots)


def found_in(level, least=0.05):
    found = turns(Shape.of(np.asarray(level, dtype=np.float64)), least)
    return list(zip(found.peak.tolist(), found.trough.tolist(), strict=True))


def test_each_fall_is_its_peak_and_its_trough():
    assert found_in(saw(0, 1, 0, 1, 0, 1)) == [(10, 20), (30, 40)]


def test_the_last_fall_has_no_trough_until_the_level_rises_again():
    assert found_in(saw(0, 1, 0, 1, 0)) == [(10, 20), (30, -1)]
    assert found_in(saw(0, 1, 0, 1, 0, 0.2)) == [(10, 20), (30, 40)]


def test_a_level_that_only_rises_or_stands_has_no_falls():
    assert found_in(saw(0, 1)) == []
    assert found_in([1.0] * 50) == []


@pytest.mark.parametrize("level", [[], [1.0], [1.0, 2.0]])
def test_too_few_samples_have_no_turns(level):
    assert turns(Shape.of(np.array(level)), 0.1) == NO_TURNS


def test_waves_on_the_rise_are_no_dumps():
    fill = [0.0, 0.3, 0.2, 0.5, 0.4, 0.8, 0.7, 1.0]
    assert found_in(saw(*fill, *fill, *fill)) == [(70, 80), (150, 160)]


def test_inflow_that_outruns_an_open_valve_for_a_while_does_not_part_a_dump():
    # Falls to 0.6, comes back to 0.9, falls on: less than half the usual fall is no fill.
    knots = (0, 1, 0, 1, 0, 1, 0.6, 0.9, 0, 1, 0, 1)
    assert found_in(saw(*knots)) == [(10, 20), (30, 40), (50, 80), (90, 100)]


def test_a_partial_opening_from_half_way_counts():
    knots = (0, 1, 0, 1, 0, 0.6, 0.2, 1, 0, 1, 0, 1)
    assert found_in(saw(*knots)) == [(10, 20), (30, 40), (50, 60), (70, 80), (90, 100)]


def test_a_gap_that_collapses_is_followed():
    large, small = [0.0, 1.0] * 20, [0.7, 1.0] * 60
    level = saw(*large, *small, per_leg=6)
    peaks = [peak for peak, _ in found_in(level)]
    before = sum(peak < 40 * 6 for peak in peaks)
    # Near the change the usual fall is that of the large dumps; all but a few of the small ones are found.
    assert before == 20
    assert len(peaks) - before >= 60 - 24


@settings(max_examples=60, deadline=None)
@given(tops=st.lists(st.floats(0.9, 1.1), min_size=4, max_size=12), seed=st.integers(0, 99))
def test_falls_are_those_of_a_walk_sample_by_sample(naive, tops, seed):
    noise_of = np.random.default_rng(seed).standard_normal
    knots = [v for top in tops for v in (0.0, top)]
    level = saw(*knots, 0.0, 1.0)
    level = level + 0.01 * noise_of(level.size)
    assert found_in(level, 0.3) == naive.falls(level.tolist(), 0.3)


def test_noise_is_told_by_its_swings():
    rng = np.random.default_rng(4)
    # Median swing of white noise between turning points, by simulation of a million samples: 1.6 standard deviations.
    assert noise(Shape.of(0.01 * rng.standard_normal(20_000)), 0.1) == pytest.approx(0.016, rel=0.05)
    assert noise(Shape.of(saw(*[0, 1] * 20)), 1.0) == 0.0


def test_noise_stored_by_exceptions_is_told_and_turning_points_alone_are_not():
    rng = np.random.default_rng(4)
    noisy, kept = rng.standard_normal(20_000), [0]
    for k, value in enumerate(noisy):
        if abs(value - noisy[kept[-1]]) > 3.0:
            kept.append(k)
    assert 3.0 < noise(Shape.of(noisy[kept]), 30.0) < 4.0
    assert noise(Shape.of(np.array([0.0, 1.0] * 50)), 1.0) == 0.0


def test_dumps_of_few_samples_are_not_taken_for_noise():
    assert noise(Shape.of(np.array([0.0, 0.3, 0.6, 1.0, 0.0] * 40)), 1.0) == 0.0


def test_the_least_fall_stands_above_noise_and_above_a_share_of_the_sawtooth():
    assert least_fall(0.0, 0.10) == pytest.approx(0.010)
    assert least_fall(0.016, 0.10) == pytest.approx(5.5 * 0.016)


def test_a_lone_sample_far_off_is_left_out():
    level = saw(0, 1, 0, 1, 0, per_leg=100)
    level[50], level[250] = 1.4, -0.5
    kept = without_spikes(level, np.arange(level.size) * SECOND_US, 1.0)
    assert np.flatnonzero(~kept).tolist() == [50, 250]


def test_turning_points_of_a_slow_sawtooth_are_no_spikes():
    level = np.array([0.0, 1.0] * 30)
    time = np.cumsum(np.where(level > 0.5, 1200, 60)) * SECOND_US
    assert without_spikes(level, time, 1.0).all()


def test_a_dump_between_two_samples_is_no_spike():
    level = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0] * 30)
    assert without_spikes(level, np.arange(level.size) * 60 * SECOND_US, 1.0).all()


def test_falls_are_timed_where_straight_lines_meet():
    # Rise 0.9 in 900 s, fall in 60 s, samples every 7 s: no sample is at a corner.
    knots = np.cumsum([0, 900, 60, 900, 60, 900])
    when = np.arange(0, knots[-1], 7.0)
    level = np.interp(when, knots, [0.1, 1.0, 0.1, 1.0, 0.1, 1.0])
    time = (when * SECOND_US).astype(np.int64)
    found = timed(time, level, turns(Shape.of(level), 0.1))
    assert (found.start_us / SECOND_US).tolist() == pytest.approx([900, 1860], abs=0.01)
    assert (found.end_us / SECOND_US).tolist() == pytest.approx([960, 1920], abs=0.01)


def test_noise_does_not_move_the_time_of_a_fall():
    rng = np.random.default_rng(7)
    knots = np.cumsum([0, *[900, 60] * 30, 900])
    when = np.arange(0, knots[-1], 5.0)
    level = np.interp(when, knots, [0.0, 1.0] * 31) + 0.03 * rng.standard_normal(when.size)
    time = (when * SECOND_US).astype(np.int64)
    found = timed(time, level, turns(Shape.of(level), least_fall(0.05, 1.0)))
    late = found.start_us / SECOND_US - knots[1::2][: found.start_us.size]
    # The highest of many noisy samples on the slow rise comes most of a minute early; the lines within a scan.
    assert np.abs(np.median(late)) < 1.0
    assert np.abs(late).max() < 10.0


def test_a_fall_that_has_begun_is_timed():
    level = np.append(saw(0, 1, 0, 1, per_leg=100), np.linspace(1, 0.3, 20))
    found = timed(np.arange(level.size) * SECOND_US, level, turns(Shape.of(level), 0.1))
    assert found.start_us[-1] / SECOND_US == pytest.approx(300, abs=1.0)


def test_the_bottom_is_left_when_the_level_rises_again():
    knots = np.cumsum([0, 900, 60, 3000, 900])
    level = np.interp(np.arange(knots[-1]), knots, [0.1, 1.0, 0.1, 0.1, 1.0])
    found = timed(np.arange(level.size) * SECOND_US, level, turns(Shape.of(level), 0.1))
    assert found.end_us[0] / SECOND_US == pytest.approx(960, abs=2.0)
    # A tenth of the fall is near: a hundred seconds of the rise.
    assert found.leaves_us[0] / SECOND_US == pytest.approx(3960 + 90, abs=15.0)


@given(
    st.lists(st.integers(-6, 6), min_size=3, max_size=60),
    st.sampled_from([0.5, 1.0, 2.0, 3.5]),
    st.booleans(),
)
def test_prominent_peaks_are_those_that_scipy_finds_among_all(
    steps: list[int], prominence: float, is_walk: bool
) -> None:
    level = np.cumsum(steps).astype(np.float64) if is_walk else np.array(steps, dtype=np.float64)
    floor = level.min() - 2.0 * prominence
    peaks, _ = find_peaks(np.concatenate([[floor], level, [floor]]), prominence=prominence)
    assert prominent_peaks(Shape.of(level), prominence).tolist() == (peaks - 1).tolist()
